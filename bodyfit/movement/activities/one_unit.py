"""Activities from one worn unit, turned anyhow."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from ...core.findings import Finding
from ...errors import InputError
from ...recording.capture import Capture, Unit
from .chain.names import UNKNOWN
from .chain.timeline import named, shares, timeline, within
from .result import Activities
from .table.evidence import evidence_of
from .table.shipped import activity_table
from .unit.features import HOP_S, LOOKS_AHEAD_S, features_of
from .unit.placed import placed
from .unit.samples import Samples, samples_of
from .unit.upright import up_of, without_bias
from .unit.worn_frame import worn_frame

PLACES = {"pelvis": "waist", "l_thigh": "thigh", "r_thigh": "thigh"}  # segment -> table, the surest first
LEAST_FOR_BIAS_S = 60.0  # s: shorter recordings hold too few turns to tell a bias (by reasoning)


def of_capture(capture: Capture, table: str | Path | None, delay: float | None) -> Activities:
    """Activities from the best placed unit of a capture.

    Parameters
    ----------
    capture : with a unit at the pelvis or a thigh
    table : of another training; None: the one that comes with bodyfit for the place
    delay : s after which an activity has to be told, as if online; None: with hindsight

    Returns
    -------
    Activities

    Raises
    ------
    InputError
        No unit is worn where a table is for, or the delay is too short.
    """
    unit, place = _best_placed(capture, table)
    lag = None if delay is None else _lag(delay)
    samples = samples_of(unit)
    rate = samples.rate
    if rate is not None and samples.time[-1] - samples.time[0] > LEAST_FOR_BIAS_S:
        rate = without_bias(samples.force, rate)
    up = up_of(samples.force, rate)
    frame, told_by = worn_frame(samples.force, up, unit.mounting)
    shipped = place if rate is not None else f"{place}_accelerometer"
    trained = activity_table(shipped if table is None else table)
    features = features_of(samples.time, samples.force, rate, up, frame, samples.known)
    if delay is not None:
        features = replace(features, heights=None)  # the rest that ends a rise is not known in time
    evidence = evidence_of(features, trained, adapt=delay is None)
    values = np.where(_unseen(samples, features.time)[:, None], _nothing(evidence.states), evidence.values)
    smoothed = evidence.chain.probabilities(values)
    shown = smoothed if lag is None else evidence.chain.probabilities(values, lag)
    states, probabilities = named(evidence.states, shown)
    spans = timeline(features.time, HOP_S, states, probabilities)
    if place == "waist" and delay is None:
        spans = placed(spans, features)
    return Activities(
        within(spans, samples.time[0], samples.time[-1]),
        features.time,
        states,
        probabilities,
        shares(evidence.chain, values, smoothed),
        f"one unit at the {place}: {unit.name}",
        _findings(unit.name, told_by),
    )


def _best_placed(capture: Capture, table: str | Path | None) -> tuple[Unit, str]:
    worn = {
        unit.segment: unit
        for unit in reversed(list(capture.units.values()))
        if unit.accelerometer is not None
    }
    for segment, place in PLACES.items():
        if segment in worn:
            return worn[segment], place
    found = ", ".join(f"{unit.name} on {unit.segment}" for unit in capture.units.values()) or "none"
    raise InputError(
        f"units: found {found}; activities of a capture are told by a unit with an accelerometer on one of "
        f"{', '.join(PLACES)}; fit the capture and give the fit, if thighs or trunk are known"
    )


def _lag(delay: float) -> int:
    if not delay >= LOOKS_AHEAD_S:
        raise InputError(
            f"delay: found {delay:g} s, expected at least {LOOKS_AHEAD_S:g} s, for which a window looks ahead"
        )
    return round((delay - LOOKS_AHEAD_S) / HOP_S)


def _unseen(samples: Samples, time: np.ndarray) -> np.ndarray:
    """(T,) windows in the middle of a gap."""
    return ~samples.known[np.clip(np.searchsorted(samples.time, time), 0, len(samples.known) - 1)]


def _nothing(states: tuple[str, ...]) -> np.ndarray:
    """(n,) evidence of a window that was not seen: unknown."""
    return np.array([0.0 if name == UNKNOWN else -10.0 for name in states])  # by reasoning: 1 in e^10


def _findings(unit: str, told_by: str) -> tuple[Finding, ...]:
    if told_by in ("walking", "mounting"):
        return ()
    guess = told_by == "guess"
    return (
        Finding(
            "activity-frame-unsure",
            "warning",
            f"{unit}: nobody walks in this recording, so up and forward of the body are taken from "
            + ("its start alone" if guess else "its start and how the wearer leans"),
            "let the wearer stand upright at the start and walk ten steps, or give the unit's mounting",
            units=(unit,),
            source="at least three windows of regular walking show them",
        ),
    )
