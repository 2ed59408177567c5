"""Clocks of recorders that start anew with each trial: another offset in each is found and taken off."""

from __future__ import annotations

import dataclasses

import numpy as np
from scripted_motion import simulated

from bodyfit.calibration.clocks.trial_clocks import clocks_by_trial, in_each_trial, trial_clock_findings
from bodyfit.calibration.clocks.unit_clocks import neighbours
from bodyfit.recording.capture import Unit
from bodyfit.recording.single_units import unaided
from bodyfit.recording.trials import Trial

TRIALS = (Trial("one", 0.0, 15.0), Trial("two", 20.0, 35.0))


def twice(late_in_second: float) -> dict[str, Unit]:
    """The swinging arm twice; in the second trial the hand's stamps are late."""
    out = {}
    for name, unit in simulated("right_arm").capture.units.items():
        late = late_in_second if unit.segment == "r_hand" else 0.0
        start = TRIALS[1].start - unit.time[0]
        time = np.concatenate([unit.time, unit.time + start + late])
        both = {s: np.concatenate([getattr(unit, s)] * 2) for s in unit.sensors}
        out[name] = dataclasses.replace(unit, time=time, **both)
    return out


def test_an_offset_of_one_trial_is_taken_off_there() -> None:
    units = twice(0.06)
    some = list(units.values())
    pairs = neighbours(some, simulated("right_arm").capture.model)
    clocks = clocks_by_trial(unaided(some), pairs, None, TRIALS)
    hand = next(name for name, unit in units.items() if unit.segment == "r_hand")
    u = list(units).index(hand)
    assert not clocks[0].apart.any() and clocks[1].apart[u]
    mended = in_each_trial(units, clocks, TRIALS)[hand].time
    true = twice(0.0)[hand].time
    first = true < 17
    np.testing.assert_array_equal(mended[first], true[first])
    np.testing.assert_allclose(mended[~first], true[~first], rtol=0, atol=0.008)
    found = [f for f in trial_clock_findings(clocks, TRIALS) if f.kind == "clock-offset"]
    assert [f.units for f in found] == [(hand,)]
    assert found[0].what.startswith("trial two: ") and found[0].start == TRIALS[1].start


def test_without_trials_it_is_one_recording() -> None:
    units = dict(simulated("right_arm").capture.units)
    some = list(units.values())
    clocks = clocks_by_trial(unaided(some), neighbours(some, simulated("right_arm").capture.model), None, ())
    assert len(clocks) == 1 and not clocks[0].apart.any()
    assert all(in_each_trial(units, clocks, ())[name] is unit for name, unit in units.items())
    assert trial_clock_findings(clocks, ()) == ()
