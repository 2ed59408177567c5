"""Common signals: every unit's samples brought onto one time line."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from scipy.ndimage import uniform_filter1d

from ..core.arrays.scratch import give_back, let_go, room, rows_at_once
from ..core.cubic_spline import CubicSpline
from ..core.rotations import cross, log, vector_norm
from ..errors import CannotReconstructError, InputError
from .capture import Unit
from .pauses import pauses_of
from .rest import REST_S, REST_SD, rest_rate
from .sampling import BRIDGED_S, CUBIC_S, GAP, Coverage, covered, usable
from .signals import Signals
from .stamp_span import check_span

SAMPLE_HZ = 40.0  # accelerations of limbs lie below about 10 Hz (common practice)
# by reasoning: limbs move below some 2 Hz; the gyroscope carries the rotation between keyframes
KEYFRAME_HZ = 8.0
KEYFRAME_HZ_WITHOUT_GYROSCOPE = 20.0  # by reasoning: nothing carries the rotation between them
# share of free turning that interpolation over 0.25 s leaves open; tried: measured on 6 captures
INTERPOLATED = 0.1
SHORTEST_S = 0.5  # common time of all units below which nothing can be fitted; by reasoning: four keyframes


def common_signals(
    units: Sequence[Unit],
    clock: Iterable[Unit],
    latency: float = 0.0,
    late: tuple[np.ndarray, np.ndarray] | None = None,
) -> Signals:
    """Signals of units on one clock.

    Parameters
    ----------
    units : whose signals are wanted; one without sensors stands for a segment that carries none
    clock : units whose common time and stamps the output takes
    latency : s by which gyroscopes lag behind accelerometers; taken off the gyroscopes' stamps
    late : (U,) s by which each unit's stamps are late at the middle of the output times, and (U,) s that its
        clock gains from there to the end; taken off the unit's stamps

    Returns
    -------
    Signals

    Raises
    ------
    CannotReconstructError
        Nothing to fit: no units, or they share less than half a second.
    InputError
        Stamps do not increase, or a sensor has hardly any values.
    """
    clock = list(clock)
    _check_common(clock)
    pauses = pauses_of(clock)
    time = _output_times([pauses.of(unit) for unit in clock])
    step = (time[-1] - time[0]) / (len(time) - 1)
    has = {s: np.array([getattr(u, s) is not None for u in units]) for s in _SENSORS}
    turning = has["gyroscope"] | has["orientation"] | ~np.any([*has.values()], axis=0)
    stride, per_key = _layout(step, KEYFRAME_HZ if turning.all() else KEYFRAME_HZ_WITHOUT_GYROSCOPE)
    intervals = -(-(len(time) - 1) // (stride * per_key))
    frames = time[0] + step * np.arange(intervals * stride * per_key + 1)
    units = [pauses.of(unit) for unit in units]
    if late is not None:
        units = [_read_later(u, time, *of) for u, *of in zip(units, *late, strict=True)]
    left_out = {k for k, s in (("field", "magnetometer"), ("attitude", "orientation")) if not has[s].any()}
    stacked = _together(
        (_resampled(unit, frames, stride, per_key, latency) for unit in units), left_out, len(units)
    )
    return Signals(
        pauses.true(time),
        step,
        stride,
        per_key,
        tuple(unit.name for unit in units),
        stacked["turns"],
        stacked["rate"],
        stacked["rate_derivative"],
        stacked["specific_force"],
        stacked.get("field", np.broadcast_to(0.0, stacked["rate"].shape)),
        stacked.get("attitude"),
        {s: stacked[f"{s}_known"] for s in _SENSORS},
        _by_interval(stacked["turn_unknown"], intervals).mean(1),
        stacked["rest_rate"],
        np.full((intervals + 1, len(units)), REST_SD * np.sqrt(max(1.0, REST_S / (step * stride * per_key)))),
        has,
        np.any(_by_interval(stacked["lost"], intervals), axis=1),
        covered([pauses.of(unit) for unit in clock], time + 1e-6 * step),  # not before a sample by rounding
        pauses,
    )


def _together(parts: Iterable[dict[str, Any]], left_out: set[str], count: int) -> dict[str, np.ndarray]:
    """Key -> (…, count, …): the signals of so many units side by side, one unit's in memory at a time."""
    out: dict[str, np.ndarray] = {}
    for u, part in enumerate(parts):
        for key in part.keys() - left_out:
            values = part.pop(key)
            if key not in out:
                out[key] = room((count, *values.shape), values.dtype)
            out[key][u] = values
            let_go(out[key])
    stacked = {key: _time_first(out.pop(key)) for key in [*out]}
    give_back()
    return stacked


def _time_first(values: np.ndarray) -> np.ndarray:
    """(N, U, …) of (U, N, …), in memory as it is written: most is read time by time."""
    out = room((values.shape[1], len(values), *values.shape[2:]), values.dtype)
    for at in rows_at_once(len(out)):
        out[at] = np.moveaxis(values[:, at], 0, 1)
        let_go(values, out)
    return out


def _by_interval(values: np.ndarray, intervals: int) -> np.ndarray:
    """(K, frames of an interval, U) of (T, U)."""
    return values.reshape(intervals, -1, values.shape[1])


def _layout(step: float, keyframe_hz: float) -> tuple[int, int]:
    """Frames from sample to sample, and samples from keyframe to keyframe."""
    stride = max(1, int(1 / (step * SAMPLE_HZ)))
    return stride, max(1, round(1 / (step * stride * keyframe_hz)))


def _read_later(unit: Unit, time: np.ndarray, offset: float, drift: float) -> Unit:
    """The unit with what its stamps are late by taken off."""
    if offset == 0 and drift == 0:
        return unit
    middle, half = 0.5 * (time[0] + time[-1]), 0.5 * (time[-1] - time[0])
    return dataclasses.replace(unit, time=unit.time - offset - drift * (unit.time - middle) / half)


_SENSORS = ("accelerometer", "gyroscope", "magnetometer", "orientation")


def _check_common(units: list[Unit]) -> None:
    """Refuses units that share too little time; times as they were recorded."""
    if not units:
        raise CannotReconstructError("no unit is left to fit; wear at least one, or leave out fewer")
    for unit in units:
        check_stamps(unit)
    start, end = max(u.time[0] for u in units), min(u.time[-1] for u in units)
    if end - start < SHORTEST_S:
        spans = ", ".join(f"{u.name} {u.time[0]:.2f} to {u.time[-1]:.2f} s" for u in units)
        raise CannotReconstructError(
            f"the units share {max(0.0, end - start):.2f} s ({spans}), expected at least {SHORTEST_S} s; "
            "record them together, or leave out the unit that does not overlap"
        )


def _output_times(units: list[Unit]) -> np.ndarray:
    """The units' own stamps when they share regular ones, else a regular grid over their common time."""
    start, end = max(u.time[0] for u in units), min(u.time[-1] for u in units)
    step = min(float(np.mean(np.diff(u.time)[_usual(u)])) for u in units)
    own = units[0].time[(units[0].time >= start) & (units[0].time <= end)]
    regular = np.linspace(own[0], own[-1], len(own))
    same = len(own) == round((own[-1] - own[0]) / step) + 1
    if same and np.abs(own - regular).max() < 0.05 * step:
        return own
    return start + step * np.arange(int((end - start) / step * (1 + 1e-9)) + 1)


def _usual(unit: Unit) -> np.ndarray:
    """(N − 1,) bool: steps that are no gaps."""
    steps = np.diff(unit.time)
    return steps < 1.5 * np.median(steps)


def check_stamps(unit: Unit) -> None:
    """Refuses a unit without samples, and stamps that do not increase.

    Parameters
    ----------
    unit : any

    Raises
    ------
    CannotReconstructError, InputError
        One of these does not hold.
    """
    if len(unit.time) < 2:
        raise CannotReconstructError(
            f"units.{unit.name}: {len(unit.time)} samples in the stretch that was asked for, expected more; "
            "choose a stretch inside the recording, or leave the unit out"
        )
    if (back := np.flatnonzero(np.diff(unit.time) <= 0)).size:
        raise InputError(
            f"units.{unit.name} time: sample {back[0] + 1} at t = {unit.time[back[0] + 1]:.4f} s does not "
            f"come after the one before (t = {unit.time[back[0]]:.4f} s), expected increasing time stamps"
        )
    check_span(unit.name, unit.time)


def _resampled(unit: Unit, frames: np.ndarray, stride: int, per_key: int, latency: float) -> dict[str, Any]:
    """One unit's signals: turns at every frame, rest at keyframes, all else at every `stride`-th frame."""
    samples, step, count = frames[::stride], frames[1] - frames[0], len(frames[::stride])
    out: dict[str, Any] = {f"{s}_known": np.zeros(count, bool) for s in _SENSORS}
    nothing = np.broadcast_to(0.0, (count, 3))
    out |= {"specific_force": nothing, "field": nothing, "rate": nothing, "rate_derivative": nothing}
    out |= {"turns": np.zeros((len(frames) - 1, 3)), "turn_unknown": np.ones(len(frames) - 1)}
    out["lost"] = np.zeros(len(frames) - 1, bool)
    out["rest_rate"] = np.full((len(samples[::per_key]), 3), np.nan)
    out["attitude"] = np.broadcast_to(np.eye(3), (count, 3, 3))
    if unit.accelerometer is not None:
        spline, known = sensor_spline(unit, "accelerometer", unit.time, frames)
        out |= {"specific_force": _thinned(spline(frames), stride), "accelerometer_known": known(samples)}
        del spline  # the next one is as large
    if unit.magnetometer is not None:
        spline, known = sensor_spline(unit, "magnetometer", unit.time, frames)
        values, near = spline(samples), known(samples)
        norm = vector_norm(values)
        usual = np.median(norm[near]) if near.any() else 1.0
        out |= {"field": values / usual, "magnetometer_known": near}
    if unit.orientation is not None:
        out |= _from_orientation(unit, frames, stride)
    if unit.gyroscope is not None:
        spline, known = sensor_spline(unit, "gyroscope", unit.time - latency, frames)
        rate, change, gap = spline(frames), spline(frames, 1), known.gap(frames)
        gone = gap > known.longest_bridged
        rate[gone] = change[gone] = 0.0
        turns = _turns(spline, rate, frames, step)
        lost = gone[:-1] | gone[1:]
        turns[lost] = 0.0
        unknown = INTERPOLATED * np.minimum(1.0, known.step(frames[:-1]) / BRIDGED_S) ** 4
        unknown = np.where(lost | known.beyond(frames[:-1]), 1.0, unknown)
        rate, change = _thinned(rate, stride), _thinned(change, stride)
        out |= {"turns": turns, "turn_unknown": unknown, "lost": lost}
        out |= {"rate": rate, "rate_derivative": change, "gyroscope_known": gap[::stride] <= CUBIC_S}
        rest = rest_rate(rate, out["specific_force"], samples[1] - samples[0], gone[::stride])
        out["rest_rate"] = rest[::per_key].copy()
    unit.let_go()
    return out


def _turns(spline: CubicSpline, rate: np.ndarray, frames: np.ndarray, step: float) -> np.ndarray:
    """(T − 1, 3) rad, rotation vector from each frame to the next, by the Magnus expansion to second order.

    ∫ω + (Δt²/12) ω₀ × ω₁ (Iserles et al. 2000, Acta Numerica 9:215).
    """
    out, whole = room((len(frames) - 1, 3)), spline.integral(frames)
    for at in rows_at_once(len(out)):
        ends = whole[at.start : at.stop + 1]
        out[at] = np.diff(ends, axis=0) + step**2 / 12 * cross(rate[at], rate[at.start + 1 : at.stop + 1])
        let_go(out, whole, rate)
    return out


def _thinned(values: np.ndarray, stride: int) -> np.ndarray:
    """Every `stride`-th row of running means over as many; a copy, which lets the rest go."""
    return uniform_filter1d(values, stride, axis=0, mode="nearest")[::stride].copy() if stride > 1 else values


def sensor_spline(
    unit: Unit, sensor: str, stamps: np.ndarray, frames: np.ndarray
) -> tuple[CubicSpline, Coverage]:
    """Cubic spline through a sensor's valid samples, and where it was sampled.

    Parameters
    ----------
    unit : with that sensor
    sensor : name
    stamps : (N,) s, of its samples
    frames : (T,) s, times that matter

    Returns
    -------
    spline : of time in s, held constant beyond both ends; straight through gaps too long for a cubic
    coverage : where it was sampled

    Raises
    ------
    InputError
        There are hardly any samples.
    """
    good = usable(unit, sensor)
    at, values = stamps[good], getattr(unit, sensor)[good]
    known = Coverage(at, frames[0], frames[-1])
    at, values = _filled(at, values, known)
    # held beyond both ends, where a cubic would run away
    lead = np.array([at[0] - 1.0, at[0] - 0.5]), np.array([at[-1] + 0.5, at[-1] + 1.0])
    ends = np.repeat(values[:1], 2, 0), np.repeat(values[-1:], 2, 0)
    padded = np.concatenate([lead[0], at, lead[1]])
    return CubicSpline(padded, np.concatenate([ends[0], values, ends[1]])), known


def _filled(at: np.ndarray, values: np.ndarray, known: Coverage) -> tuple[np.ndarray, np.ndarray]:
    """Samples with a straight line through every longer gap, where a cubic would run wild."""
    gaps = np.flatnonzero(known.steps > max(CUBIC_S, GAP * known.usual))
    if not gaps.size:
        return at, values
    count = np.ceil(known.steps[gaps] / known.usual - 0.5).astype(int)
    share = np.concatenate([np.arange(1, n) / n for n in count])
    gap = np.repeat(gaps, count - 1)
    more = at[gap] + share * known.steps[gap]
    line = values[gap] + share[:, None] * (values[gap + 1] - values[gap])
    return np.insert(at, gap + 1, more), np.insert(values, gap + 1, line, axis=0)


def _from_orientation(unit: Unit, frames: np.ndarray, stride: int) -> dict[str, Any]:
    """Rotations fused on the unit, and the turns between frames that they imply."""
    from scipy.spatial.transform import Rotation, Slerp

    assert unit.orientation is not None
    good = usable(unit, "orientation")
    at = unit.time[good]
    known = Coverage(at, frames[0], frames[-1])
    slerp = Slerp(at, Rotation.from_quat(unit.orientation[good]))
    R = slerp(np.clip(frames, at[0], at[-1])).as_matrix()
    step = frames[1] - frames[0]
    turns = log(np.swapaxes(R[:-1], -1, -2) @ R[1:])
    lost = known.lost(frames[:-1]) | known.lost(frames[1:])
    turns[lost] = 0.0
    rate = np.concatenate([turns[:1], 0.5 * (turns[1:] + turns[:-1]), turns[-1:]]) / step
    both = np.stack([rate, np.gradient(rate, step, axis=0)], 1)
    both = uniform_filter1d(both, max(stride, 3), axis=0, mode="nearest")[::stride]
    return {
        "rate": both[:, 0],
        "rate_derivative": both[:, 1],
        "attitude": R[::stride],
        "orientation_known": ~known.lost(frames[::stride]),
        "turns": turns,
        "turn_unknown": lost.astype(float),
        "lost": lost,
    }
