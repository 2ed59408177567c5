"""Clocks of units in several trials: recorders that start anew may be apart by another offset each time."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence

import numpy as np

from ...core.findings import Finding
from ...recording.capture import Calibration, Unit
from ...recording.single_units import Unaided
from ...recording.trials import Trial
from .seconds_apart import SecondsApart, adrift_findings, seconds_apart
from .unit_clocks import Clocks, clock_findings, on_one_clock, true_stamps, unit_clocks


def clocks_by_trial(
    one: Unaided,
    pairs: Sequence[tuple[int, int]],
    by_rate: Sequence[int] | None,
    trials: Sequence[Trial],
) -> tuple[Clocks, ...]:
    """Clocks of every trial by itself; of a capture without trials, of all of it.

    Parameters
    ----------
    one : each unit by itself
    pairs, by_rate : as `unit_clocks`
    trials : of the capture

    Returns
    -------
    Clocks, one a trial, in their order
    """
    parts = [one.between(trial.start, trial.end) for trial in trials] or [one]
    return tuple(unit_clocks(part, pairs, by_rate) for part in parts)


def apart_by_trial(
    units: Sequence[Unit], clocks: Sequence[Clocks], trials: Sequence[Trial], still: Sequence[Calibration]
) -> tuple[SecondsApart, ...]:
    """Units that are seconds late in every trial by itself; of a capture without trials, in all of it.

    Parameters
    ----------
    units : those of which `clocks` are, in that order
    clocks, trials : as from `clocks_by_trial`
    still : declared stretches of the capture
    """
    parts = [[u.between(trial.start, trial.end) for u in units] for trial in trials] or [units]
    return tuple(seconds_apart(part, of.pairs, still) for part, of in zip(parts, clocks, strict=True))


def put_back(
    units: Mapping[str, Unit], apart: Sequence[SecondsApart], trials: Sequence[Trial]
) -> dict[str, Unit]:
    """The units with the seconds by which they are late taken off their stamps, trial by trial.

    Parameters
    ----------
    units : name -> Unit
    apart, trials : as from `apart_by_trial`

    Returns
    -------
    dict name -> Unit; samples that would come to lie in another trial are left out
    """
    out = dict(units)
    spans = [(trial.start, trial.end) for trial in trials] or [(-np.inf, np.inf)]
    for name in {name for of in apart for name in of.late}:
        unit, time = units[name], units[name].time.copy()
        for (start, end), of in zip(spans, apart, strict=True):
            time[(unit.time >= start) & (unit.time <= end)] -= of.late.get(name, 0.0)
        kept = time > np.r_[-np.inf, np.maximum.accumulate(time)[:-1]]
        values = {sensor: getattr(unit, sensor)[kept] for sensor in unit.sensors}
        out[name] = dataclasses.replace(unit, time=time[kept], **values)
    return out


def in_each_trial(
    units: Mapping[str, Unit], clocks: Sequence[Clocks], trials: Sequence[Trial]
) -> dict[str, Unit]:
    """The units with offsets and rates taken off their stamps, trial by trial, where clocks are apart.

    Parameters
    ----------
    units : name -> Unit
    clocks, trials : as from `clocks_by_trial`
    """
    if not trials:
        return on_one_clock(units, clocks[0])
    out = dict(units)
    for name, unit in units.items():
        time = unit.time.copy()
        for trial, of in zip(trials, clocks, strict=True):
            inside = (time >= trial.start) & (time <= trial.end)
            time[inside] = true_stamps(time[inside], name, of)
        out[name] = dataclasses.replace(unit, time=time) if np.any(time != unit.time) else unit
    return out


def trial_clock_findings(
    clocks: Sequence[Clocks], trials: Sequence[Trial], apart: Sequence[SecondsApart] = ()
) -> tuple[Finding, ...]:
    """What is to be said about clocks, of which trial; that nothing tells them only where no trial does.

    Parameters
    ----------
    clocks, trials : as from `clocks_by_trial`
    apart : as from `apart_by_trial`, or none
    """
    adrift = [adrift_findings(of) for of in apart] or [()] * len(clocks)
    if not trials:
        return (*clock_findings(clocks[0]), *adrift[0])
    out: list[Finding] = []
    for trial, of, more in zip(trials, clocks, adrift, strict=True):
        told = (f for f in (*clock_findings(of), *more) if f.kind != "clock-unknown")
        moved = {"start": trial.start, "end": trial.end}
        out += [dataclasses.replace(f, what=f"trial {trial.name}: {f.what}", **moved) for f in told]
    surest = min(clocks, key=lambda of: float(np.sum(np.minimum(of.offset_sd, 1.0))))
    return (*out, *(f for f in clock_findings(surest) if f.kind == "clock-unknown"))
