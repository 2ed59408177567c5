"""The motion without all else that a fit tells is that of the fit, slips included."""

from __future__ import annotations

from pathlib import Path

import numpy as np

import bodyfit
from bodyfit.fitting.fit import motion_alone
from bodyfit.weights import Weights

DEMO = Path(__file__).resolve().parents[2] / "demo_captures" / "cello_arm"


def test_its_angles_are_those_of_the_fit():
    capture = bodyfit.read_capture(DEMO).between(0, 8)
    whole = bodyfit.fit(capture)
    poses, slips = motion_alone(capture, Weights())
    assert len(slips) == sum(finding.kind == "unit-slipped" for finding in whole.findings)
    for joint, angles in whole.joint_angles.items():
        for name, value in angles.items():
            np.testing.assert_array_equal(poses.joint_angles[joint][name], value, err_msg=f"{joint} {name}")


def test_it_weighs_as_it_is_told():
    capture = bodyfit.read_capture(DEMO).between(0, 8)
    usual, loose = (motion_alone(capture, w)[0] for w in (Weights(), Weights(mounting=1.0)))
    apart = usual.joint_angles["r_elbow"]["flexion"] - loose.joint_angles["r_elbow"]["flexion"]
    assert np.abs(apart).max() > 1e-4
