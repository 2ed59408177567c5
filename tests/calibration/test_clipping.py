"""Clipped samples: recognised by full scale and by flat tops, redrawn, refused when there is nothing else."""
# pyright: reportOptionalOperand=false, reportOptionalSubscript=false, reportArgumentType=false
# pyright: reportCallIssue=false, reportOperatorIssue=false

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from bodyfit.calibration.sensors.clipping import clipping, clipping_findings, redrawn
from bodyfit.errors import CannotReconstructError
from bodyfit.recording.capture import Unit

STAMPS = np.arange(0.0, 20.0, 0.01)
FREQUENCIES = np.array([0.6, 0.9, 1.3])


def swinging(size: float = 5.0, noise: float = 0.01) -> Unit:
    rate = size * np.sin(2 * np.pi * FREQUENCIES * STAMPS[:, None] + np.arange(3))
    rate += noise * np.random.default_rng(0).standard_normal(rate.shape)
    return Unit("a", None, STAMPS, rate + np.array([0.0, 9.8, 0.0]), rate)


def clipped(unit: Unit, limit: float, declare: bool) -> Unit:
    return dataclasses.replace(
        unit,
        gyroscope=np.clip(unit.gyroscope, -limit, limit),
        full_scale={"gyroscope": limit} if declare else {},
    )


@pytest.mark.parametrize("declare", [True, False])
def test_every_clipped_sample_is_found_and_no_other(declare):
    unit = swinging()
    (found,) = clipping(clipped(unit, 4.0, declare))
    limit = 0.999 * 4.0 if declare else 4.0  # a declared range is taken with room for rounding
    np.testing.assert_array_equal(found.axes, np.abs(unit.gyroscope) >= limit)
    assert found.sensor == "gyroscope" and found.declared == declare and found.limit == pytest.approx(4.0)
    assert found.share == pytest.approx((np.abs(unit.gyroscope) >= limit).any(1).mean())
    start, end = found.stretches[0]
    inside = (start <= STAMPS) & (end >= STAMPS)
    assert found.mask[inside].all() and not found.mask[start > STAMPS].any()


def test_signals_that_only_peak_rest_or_are_held_are_not_clipped():
    rng = np.random.default_rng(1)
    quiet = np.round(rng.standard_normal((len(STAMPS), 3)))  # a few steps of resolution
    still = Unit("a", None, STAMPS, 9.8 + 0.002 * quiet, 0.001 * quiet)
    peaks = np.round(np.sin(2 * np.pi * 0.3 * STAMPS)[:, None] * [100.0, 80.0, 60.0])
    rounded = dataclasses.replace(still, gyroscope=peaks / 32.0)
    bump = dataclasses.replace(
        still, gyroscope=still.gyroscope + 8 * np.exp(-((STAMPS - 9) ** 2) / 0.01)[:, None]
    )
    held = dataclasses.replace(swinging(), gyroscope=np.repeat(swinging().gyroscope[::8], 8, 0))
    for unit in (still, rounded, bump, held, swinging()):
        assert clipping(unit) == ()


def test_redrawn_tops_come_close_to_what_was_lost():
    unit = swinging()
    spoiled = clipped(unit, 4.5, declare=True)
    repaired = redrawn(spoiled, clipping(spoiled))
    lost, left = (np.sqrt(np.mean((u.gyroscope - unit.gyroscope) ** 2)) for u in (spoiled, repaired))
    assert left < 0.4 * lost
    unclipped = np.abs(unit.gyroscope) < 4.5
    np.testing.assert_array_equal(repaired.gyroscope[unclipped], unit.gyroscope[unclipped])
    assert (np.abs(repaired.gyroscope) >= np.abs(spoiled.gyroscope)).all()
    assert repaired.accelerometer is unit.accelerometer


def test_long_tops_are_left_as_they_are_and_said_to_be_serious():
    slow = dataclasses.replace(swinging(), gyroscope=swinging().gyroscope * [0.52, 0.3, 0.3])
    unit = clipped(slow, 2.0, declare=True)
    found = clipping(unit)
    repaired = redrawn(unit, found)
    assert max(end - start for start, end in found[0].stretches) > 0.25
    assert np.abs(repaired.gyroscope).max() < 2.5
    (finding,) = clipping_findings(found)
    assert (
        finding.kind == "clipping" and finding.severity == "serious" and "set a wider range" in finding.advice
    )
    assert "115 °/s (declared)" in finding.what and finding.harm_deg > 0


def test_a_sensor_saturated_throughout_is_refused_with_what_is_missing():
    unit = clipped(swinging(), 0.5, declare=True)
    with pytest.raises(
        CannotReconstructError, match=r"units\.a gyroscope: at the end of its range \(29 °/s\) in"
    ):
        redrawn(unit, clipping(unit))


def test_recordings_are_not_clipped(recordings):
    import bodyfit

    for name in ("chain_rigid", "knee_landing", "pendulum_a", "robot_arm_circle_100"):
        for unit in bodyfit.read_capture(recordings / name).units.values():
            assert clipping(unit) == ()
