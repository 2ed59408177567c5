"""What is told, and how wide angles become, where nobody can tell which way a unit faces."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bodyfit.alignment.facing.grid import GRID, HEADINGS
from bodyfit.alignment.facing.known import Facing
from bodyfit.alignment.facing.lean import by_gravity
from bodyfit.body.motion.joint_angles import joint_angles
from bodyfit.core.rotations import heading_matrix
from bodyfit.estimator.uncertainty.other_facings import facing_variance
from bodyfit.files.model.model_file import read_model
from bodyfit.fitting.facing_findings import facing_findings

KNEE = read_model("whole_body").joints["r_knee"]
SURE = -50.0  # log probability of what is ruled out


def a_leg(other_way: float, sd: float | None = None) -> tuple[Any, Facing]:
    """Thigh and calf, units that both may face the other way round together with some probability.

    Their deviation, rad, is that of both ways together, if not given.
    """
    pair = np.full((1, HEADINGS, HEADINGS), SURE)
    pair[0, 0, 0] = np.log1p(-other_way)
    pair[0, HEADINGS // 2, HEADINGS // 2] = np.log(other_way)
    unit = np.logaddexp.reduce(pair[0], axis=1)
    probability = np.full(2, 1 - other_way)
    eye = np.tile(np.eye(3), (2, 1, 1))
    two = np.zeros(2)
    facing = Facing(
        by_gravity(eye, two, np.ones(2, bool)),
        np.ones(2, bool),
        two,
        two + (np.hypot(0.1, np.sqrt(other_way) * np.pi) if sd is None else sd),
        probability,
        (0,),
        np.zeros((1, 4)),
        np.zeros((1, 2, 3)),
        np.stack([unit, unit]),
        pair,
        np.zeros(2, int),
    )
    tie = SimpleNamespace(parent=0, child=1, joint=KNEE)
    return SimpleNamespace(ties=[tie], signals=SimpleNamespace(units=("thigh", "calf"))), facing


def test_a_knee_that_may_be_reversed_is_as_uncertain_as_both_ways_differ():
    problem, facing = a_leg(0.25)
    bend = np.radians([0.0, 30.0, 60.0])
    straight, bent = Rotation.identity(3), Rotation.from_euler("Z", -bend[:, None])
    found = facing_variance(problem, facing, 0, {KNEE.parent: straight, KNEE.child: bent})
    relative = bent.as_matrix()
    about = heading_matrix(GRID[HEADINGS // 2])
    other = joint_angles(KNEE, about @ relative @ about.T)["flexion"]
    one = joint_angles(KNEE, relative)["flexion"]
    np.testing.assert_allclose(other, -one, atol=1e-9)  # the mirror-image knee
    np.testing.assert_allclose(np.sqrt(found["flexion"]), np.sqrt(0.25) * 2 * bend, atol=1e-6)


def test_nothing_is_added_where_both_facings_are_known():
    problem, facing = a_leg(1e-6)
    assert facing_variance(problem, facing, 0, {}) == {}


def test_one_finding_for_each_unit_says_what_would_tell():
    problem, facing = a_leg(0.25)
    thigh, calf = facing_findings(problem, facing)
    assert thigh.units == ("thigh",) and calf.units == ("calf",) and calf.kind == "mounting-open"
    assert "cannot tell which way calf faces" in calf.what and "0.75" in calf.what
    assert "bend r_knee by 60°" in calf.advice and calf.joints == ("r_knee",)
    assert calf.value == pytest.approx(90.2, abs=0.1) and calf.harm_deg == 60  # half of half a turn, and 6°
    assert facing_findings(problem, None) == () and facing_findings(*a_leg(1e-6)) == ()


def test_a_finding_says_how_well_a_unit_is_known_after_all():
    rough, _ = facing_findings(*a_leg(0.1, np.radians(35.0)))
    assert "cannot tell to better than 35° which way thigh faces" in rough.what
    assert rough.value == pytest.approx(35.0) and rough.harm_deg == pytest.approx(35.0)
    nothing, _ = facing_findings(*a_leg(0.4, np.pi))
    assert nothing.value == pytest.approx(103.9, abs=0.1)  # of an even angle, 180° / √3
