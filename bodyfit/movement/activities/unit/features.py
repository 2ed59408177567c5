"""What windows look like, every quarter second: posture, shake, rhythm, and how the body turns."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ....core.gravity import STANDARD_GRAVITY
from .heights import Heights, heights_of
from .samples import FREQUENCY
from .upright import directions, low_passed
from .waves import autocorrelation, highest_peak, windows

HOP_S = 0.24  # s, whole samples; common practice for what lasts seconds
QUARTER, HALF, LONG, RISE = (int(s * FREQUENCY) for s in (0.5, 1.28, 2.0, 1.6))  # tried: as POSTURE_CUTOFF
LOOKS_AHEAD_S = 2.0  # s, by definition half of the longest window
# Hz; tried: on activity_waist_phone, people left out
POSTURE_CUTOFF, PUSH_CUTOFF, RISE_CUTOFF, PITCH_CUTOFF = 1.5, 1.5, 3.0, 1.0
QUIET = 0.03  # m/s²: a floor under logarithms, by reasoning about what sensors' noise makes
QUIET_RATE = 0.01  # rad/s: the same of gyroscopes, by reasoning
# Hz, of the small turns of somebody who stands or sits, tried: three bands, on activity_waist_young_old and
# activity_waist_phone
SWAY_BANDS = {"slow": (0.3, 3.0), "fast": (1.0, 8.0)}  # tried: three bands, on activity_waist_young_old
LEAST_SWAY = 0.0005  # rad/s: by reasoning, below the noise of a good gyroscope in these bands
STEP_S, STRIDE_S = (0.3, 0.9), (0.7, 1.7)  # s; by reasoning: from running to old people's walking
BANDS = (0.3, 1.2, 2.6, 5.0, 10.0)  # Hz; by reasoning: slower than, at, twice and over step rate


@dataclass(frozen=True, eq=False)
class Features:
    """Numbers that describe windows.

    Attributes
    ----------
    time : (T,) s, middle of each window
    values : (T, F)
    names : F names, in the order of the columns
    heights : from rest to rest, for hindsight: the next rest must be known; None: not by these sensors
    """

    time: np.ndarray
    values: np.ndarray
    names: tuple[str, ...]
    heights: Heights | None = None

    def column(self, name: str) -> np.ndarray:
        """(T,) one of them."""
        return self.values[:, self.names.index(name)]


@dataclass(frozen=True, eq=False)
class _Body:
    """Signals in the body's frame, its level axes, and the middles of windows."""

    up: np.ndarray  # (N, 3)
    axes: dict[str, np.ndarray]  # v, f, l -> (N, 3) unit vectors: up, level forward, level left
    push: dict[str, np.ndarray]  # v, f, l -> (N,) m/s², gravity taken off
    centres: np.ndarray


def features_of(
    time: np.ndarray,
    force: np.ndarray,
    rate: np.ndarray | None,
    up: np.ndarray,
    body_from_unit: np.ndarray,
    known: np.ndarray | None = None,
) -> Features:
    """Features of windows every `HOP_S`.

    Parameters
    ----------
    time : (N,) s, at `samples.FREQUENCY`
    force, up : (N, 3) m/s² and length one, unit frame
    rate : (N, 3) rad/s, unit frame, or None: fewer features
    body_from_unit : (3, 3), rows forward, left, up of the upright body
    known : (N,) bool, False inside gaps that are too long to bridge; None: all

    Returns
    -------
    Features
    """
    body = _in_body(force @ body_from_unit.T, up @ body_from_unit.T)
    out = _posture(body) | _shake(body)
    rhythm, cross = _rhythm(body)
    out |= rhythm | _rise(body)
    heights = None
    if rate is not None:
        out |= _turning(body, rate @ body_from_unit.T, cross)
        heights = heights_of(force, rate, up, round(HOP_S * FREQUENCY), known)
    return Features(time[body.centres], np.column_stack(list(out.values())), tuple(out), heights)


def _in_body(force: np.ndarray, up: np.ndarray) -> _Body:
    level = np.array([1.0, 0.0, 0.0]) - up[:, :1] * up
    forward = level / np.maximum(
        np.linalg.norm(level, axis=1, keepdims=True), 0.2
    )  # fades where forward is up
    axes = {"v": up, "f": forward, "l": np.cross(up, forward)}
    push = {name: np.sum(force * axis, 1) for name, axis in axes.items()}
    push["v"] = push["v"] - STANDARD_GRAVITY
    return _Body(up, axes, push, np.arange(0, len(force), round(HOP_S * FREQUENCY)))


def _at(values: np.ndarray, centres: np.ndarray, seconds: float) -> np.ndarray:
    """Values that long after each centre."""
    return values[np.clip(centres + int(seconds * FREQUENCY), 0, len(values) - 1)]


def _posture(body: _Body) -> dict[str, np.ndarray]:
    """Where up is for the body, and how that changes."""
    short = windows(body.up, body.centres, QUARTER).mean(1)
    mean = windows(body.up, body.centres, HALF).mean(1)
    out = {}
    for number, axis in enumerate("flu"):
        out[f"up_{axis}"], out[f"up2_{axis}"] = short[:, number], mean[:, number]
    out["up_u2"], out["up_h"] = mean[:, 2] ** 2, np.hypot(mean[:, 0], mean[:, 1])
    out["up_low"] = np.minimum(mean[:, 2], 0.5)
    smooth = directions(low_passed(body.up, POSTURE_CUTOFF))
    for reach in (1.0, 2.0):
        before, after = _at(smooth, body.centres, -reach), _at(smooth, body.centres, reach)
        out[f"turn{reach:.0f}"] = np.arccos(np.clip(np.sum(before * after, 1), -1, 1))
        out[f"df{reach:.0f}"], out[f"du{reach:.0f}"] = (after - before)[:, 0], (after - before)[:, 2]
    path = windows(smooth[:, 0], body.centres, LONG)
    ends = 0.5 * (path[:, 0] + path[:, -1])
    return out | {"dip": path.min(1) - ends, "bump": path.max(1) - ends}


def _shake(body: _Body) -> dict[str, np.ndarray]:
    """How much, how lopsided and how sharp acceleration is."""
    out = {}
    for axis, push in body.push.items():
        piece = windows(push, body.centres, HALF)
        piece = piece - piece.mean(1, keepdims=True)
        sd = piece.std(1)
        shape = piece / np.maximum(sd, 0.05)[:, None]
        out[f"sd_{axis}"] = np.log(sd + QUIET)
        out[f"sd1_{axis}"] = np.log(windows(push, body.centres, QUARTER).std(1) + QUIET)
        out[f"skew_{axis}"] = np.mean(shape * shape * shape, 1)
        out[f"q05_{axis}"], out[f"q95_{axis}"] = _quantiles(shape)
        out[f"jerk_{axis}"] = np.log(np.diff(piece, axis=1).std(1) * FREQUENCY + 1) - np.log(sd + QUIET)
    return out


def _quantiles(piece: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """5 and 95 % of each row: the nearest samples, several times as fast as interpolating ones."""
    n = piece.shape[1]
    low, high = round(0.05 * (n - 1)), round(0.95 * (n - 1))
    part = np.partition(piece, (low, high), axis=1)
    return part[:, low], part[:, high]


def _rhythm(body: _Body) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Regularity, cadence, the other axes against the vertical at step rate; and (T, n) that step's wave."""
    vertical = windows(body.push["v"], body.centres, HALF)
    vertical = vertical - vertical.mean(1, keepdims=True)
    regular, lag = highest_peak(autocorrelation(vertical), STEP_S[0] * FREQUENCY, STEP_S[1] * FREQUENCY)
    cadence = np.where(regular > 0.2, FREQUENCY / lag, 0.0)
    out = {"regular": regular, "cadence": cadence, "cadence2": cadence**2}
    for axis in "lv":
        long = autocorrelation(windows(body.push[axis], body.centres, LONG))
        out[f"stride_{axis}"] = highest_peak(long, STRIDE_S[0] * FREQUENCY, STRIDE_S[1] * FREQUENCY)[0]
    count = vertical.shape[1]
    hann = np.hanning(count)
    wave = np.exp(-2j * np.pi * np.arange(count) / lag[:, None]) * hann
    of_vertical = np.sum(vertical * wave, 1)
    against = wave * (of_vertical.conj() / np.maximum(np.abs(of_vertical) ** 2, 0.02 * count))[:, None]
    for axis in "fl":
        out[f"cr_{axis}"], out[f"ci_{axis}"] = _ratio(body, body.push[axis], against, 4.0)
    power = np.abs(np.fft.rfft(vertical * hann, axis=1)) ** 2
    at = np.fft.rfftfreq(count, 1 / FREQUENCY)
    whole = power[:, at > BANDS[0]].sum(1) + 0.5
    for low, high in pairwise(BANDS):
        out[f"band{low:g}"] = power[:, (at >= low) & (at < high)].sum(1) / whole
    return out, against


def _ratio(
    body: _Body, values: np.ndarray, against: np.ndarray, most: float
) -> tuple[np.ndarray, np.ndarray]:
    """Real and imaginary part of a signal at step rate over the vertical acceleration there."""
    piece = windows(values, body.centres, HALF)
    ratio = np.sum((piece - piece.mean(1, keepdims=True)) * against, 1)
    return ratio.real.clip(-most, most), ratio.imag.clip(-most, most)


def _rise(body: _Body) -> dict[str, np.ndarray]:
    """Net height and largest change of speed within 3.2 s, and the slow push before, now and after."""
    piece = windows(low_passed(body.push["v"], RISE_CUTOFF), body.centres, RISE)
    speed = np.cumsum(piece - piece.mean(1, keepdims=True), 1) / FREQUENCY
    speed = speed - speed[:, :1]
    out = {"height": (speed.sum(1) / FREQUENCY).clip(-1.5, 1.5), "vpp": np.ptp(speed, axis=1).clip(0, 2)}
    slow = low_passed(body.push["v"], PUSH_CUTOFF)
    return out | {f"push{shift:+g}": _at(slow, body.centres, shift) for shift in (0, -0.5, 0.5)}


def _turning(body: _Body, rate: np.ndarray, against: np.ndarray) -> dict[str, np.ndarray]:
    """How much the body yaws, pitches and rolls, and its pitch before, now, after and at step rate."""
    out = {}
    about = {"y": "v", "p": "l", "r": "f"}
    turns = {name: np.sum(rate * body.axes[axis], 1) for name, axis in about.items()}
    for name, turn in turns.items():
        out[f"w2_{name}"] = np.log(windows(turn, body.centres, HALF).std(1) + QUIET_RATE)
        out[f"w1_{name}"] = np.log(windows(turn, body.centres, QUARTER).std(1) + QUIET_RATE)
    slow = low_passed(turns["p"], PITCH_CUTOFF)
    out |= {f"pitch{shift:+g}": _at(slow, body.centres, shift) for shift in (0, -0.6, 0.6)}
    out["cr_w"], out["ci_w"] = _ratio(body, turns["p"], against, 2.0)
    piece = windows(turns["p"], body.centres, HALF)
    piece = piece - piece.mean(1, keepdims=True)
    shape = piece / (piece.std(1, keepdims=True) + 0.02)
    return out | {"skew_w": np.mean(shape * shape * shape, 1)} | _sway(turns, body.centres)


def _sway(turns: dict[str, np.ndarray], centres: np.ndarray) -> dict[str, np.ndarray]:
    """Logarithm of how much the pelvis yaws over how much it rolls, while nothing much happens.

    Notes
    -----
    Who stands turns about the vertical a little all the time, over both hips; a seat holds the pelvis against
    that, and less against rolling. In standing yaw is about twice roll, in sitting not more.
    """
    out = {}
    for name, (low, high) in SWAY_BANDS.items():
        yaw, roll = (
            windows(low_passed(turns[axis], high) - low_passed(turns[axis], low), centres, LONG).std(1)
            for axis in "yr"
        )
        out[f"yaw_roll_{name}"] = np.log((yaw + LEAST_SWAY) / (roll + LEAST_SWAY))
    return out
