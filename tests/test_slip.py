"""A unit that slips: found with its time and size in simulation, and never where nothing slipped."""
# pyright: reportArgumentType=false, reportCallIssue=false, reportOptionalSubscript=false, reportOptionalMemberAccess=false

from __future__ import annotations

import dataclasses
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import bodyfit
from bodyfit.slip import Slip, slip_finding, without_slip

sys.path.append(str(Path(__file__).parents[1] / "docs"))
from mounting_honesty import KINDS, TWO, slipping

CASES = [(KINDS[0], 1), (KINDS[0], 4), (KINDS[1], 2), (KINDS[1], 0), (KINDS[2], 1), (KINDS[2], 3)]


@pytest.mark.parametrize(("kind", "seed"), CASES)
def test_a_slip_of_30_degrees_is_found_within_a_second(kind, seed):
    """Any of three units, at any time, about any axis across the segment; soft tissue of 3° per g.

    A turn about the line from a unit to its only joint leaves the arm as it is, so the size is a lower bound.
    """
    made, unit, when = slipping(kind, seed, 30.0, across=True)
    slips = bodyfit.fit(made.capture, sensors=TWO).summary["slips"]
    assert [slip["unit"] for slip in slips][:1] == [unit]
    assert abs(slips[0]["time_s"] - when) < 1.0
    assert 10 <= slips[0]["angle_deg"] < 40


@pytest.mark.parametrize(("kind", "seed"), [(kind, seed) for kind in KINDS for seed in (1, 2)])
def test_nothing_slips_where_nothing_slipped(kind, seed):
    made, _, _ = slipping(kind, seed, 0.0)
    assert bodyfit.fit(made.capture, sensors=TWO).summary["slips"] == []


def test_later_samples_are_turned_into_the_frame_before_and_earlier_ones_left():
    capture = slipping(KINDS[0], 1, 0.0)[0].capture
    turn = Rotation.from_euler("x", 90, degrees=True).as_matrix()
    after = without_slip(capture, Slip("b_unit", 10.0, turn, np.pi / 2, 100.0)).units["b_unit"]
    before = capture.units["b_unit"]
    late = before.time > 10.0
    np.testing.assert_array_equal(after.gyroscope[~late], before.gyroscope[~late])
    x, y, z = before.gyroscope[late].T
    np.testing.assert_allclose(after.gyroscope[late], np.stack([x, -z, y], -1), atol=1e-12)  # by hand
    assert (
        capture.units["a_unit"].time
        is without_slip(capture, dataclasses.replace(Slip("b_unit", 10.0, turn, 1.0, 1.0)))
        .units["a_unit"]
        .time
    )


def test_the_finding_names_unit_time_and_size():
    found = slip_finding(Slip("shin", 12.34, np.eye(3), np.radians(25), 100.0))
    assert found.kind == "unit-slipped" and found.units == ("shin",) and found.start == 12.34
    assert "12.3 s" in found.what and "25°" in found.what and found.severity == "serious"
