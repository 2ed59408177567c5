"""A fit that has not converged never looks like one that has: its head, its findings and its bands say so."""

from __future__ import annotations

import dataclasses
import io
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console

import bodyfit
from bodyfit.commands.terminal.fit_table import print_fit
from bodyfit.estimator import estimate
from bodyfit.estimator.problem.schedule import SCHEDULE
from bodyfit.fitting import accuracy

DEMO = Path(__file__).resolve().parents[2] / "demo_captures" / "cello_arm"
WITHIN_SD, SHARE = 3.0, 0.95


@pytest.fixture(scope="module")
def capture():
    return bodyfit.read_capture(DEMO).between(0.0, 12.0)


def stopped_early(capture, **changed):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(estimate, "SCHEDULE", dataclasses.replace(SCHEDULE, most=3))
        for name, value in changed.items():
            patch.setattr(accuracy, name, value)
        return bodyfit.fit(capture)


@pytest.fixture(scope="module")
def stopped(capture):
    return stopped_early(capture)


def head(fit: bodyfit.Fit) -> str:
    text = io.StringIO()
    print_fit(fit.summary, [], console=Console(file=text, highlight=False))
    return next(line for line in text.getvalue().splitlines() if line.startswith("solver"))


def test_the_head_says_it(capture, stopped):
    assert not stopped.summary.solver.converged
    assert "NOT CONVERGED" in head(stopped)
    assert "NOT CONVERGED" not in head(bodyfit.fit(capture))
    assert "not-converged" in [f.kind for f in stopped.findings]


def test_bands_hold_the_way_that_was_left(capture, stopped):
    whole, narrow = bodyfit.fit(capture), stopped_early(capture, STEPS_LEFT=0.0)
    (told,) = (f for f in stopped.findings if f.kind == "not-converged")
    assert told.joints and told.value == pytest.approx(stopped.summary.solver.last_step_deg, rel=3.0)
    for joint, angles in whole.joint_angles.items():
        for angle, values in angles.items():
            spread = stopped.joint_angle_sd[joint][angle]
            off = (stopped.joint_angles[joint][angle] - values + np.pi) % (2 * np.pi) - np.pi
            wider = spread - narrow.joint_angle_sd[joint][angle]
            known = spread < np.pi
            assert ((wider[known] > 0) == (joint in told.joints)).all(), (joint, angle)
            assert np.mean(np.abs(off) <= WITHIN_SD * spread) >= SHARE, (joint, angle)
