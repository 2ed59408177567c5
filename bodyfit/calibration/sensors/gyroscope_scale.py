"""Scale of gyroscopes: turning must carry gravity from where it was to where it is next."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from ...core.arrays.scratch import let_go
from ...core.findings import Finding
from ...core.robust import NORMAL_MEDIAN, huber
from ...core.rotations import apply, log
from ...recording.attitude import filtered
from ...recording.capture import Unit
from ...recording.signals import Signals
from ...recording.single_units import Unaided
from .gravity_windows import Bins, GravityWindows

# Spread of what gyroscopes come with, before this capture says more.
SCALE_SD = 0.05  # share: raw chips 1 to 3 % (from memory), doubled
AXES_SD = np.radians(1.0)  # rad, axes against each other and against the accelerometer's (from memory)
ACCELEROMETER_SD = 0.01  # share and rad, scale and axes of the accelerometer (from memory)
ACCELEROMETER_BIAS_SD = 0.1  # m/s²: 10 mg; chosen; not tried
BIAS_SD = np.radians(3.0)  # rad/s; data sheet of a wearable-class chip ±0.5 °/s, 3 °/s seen in use
STRETCH_S = 60.0  # over which a gyroscope's bias is one value: it wanders by 0.3° of angle (from memory)
SURE_SD = 0.005  # below this a scale counts as known; by reasoning: half of what is worth telling
# share; a gyroscope further off is left as it is, and reported; by reasoning: three times the raw chips'
# spread
LARGEST = 0.15
WINDOWS = 8  # fewer say nothing; chosen; not tried
BINS_AT_ONCE = 2048  # worked on at once, some nine minutes, to bound memory; chosen; not tried
ROUNDS = 5  # of reweighted least squares; chosen; not tried
WORTH_TELLING = 0.01  # share: data sheets 0.3 to 1 % (from memory)
# standard deviations by which two axes at least are off alike; tried: on four demos and 17 recordings one
# axis alone reaches 16 (a swing, whose force never leaves its rod), a second one beside it 2.3
DOUBTED_BY = 3.0
USUAL_TURN_DEG = 90.0  # a limb's; by reasoning: a knee or an elbow bends so far


@dataclass(frozen=True, eq=False)
class GyroscopeScale:
    """What makes one gyroscope read true: true rate = factor × (reading − bias), axis by axis.

    Attributes
    ----------
    unit : name
    factor, sd : (3,), and the factor's standard deviation
    sure : (3,) bool, axes whose factor is known, where one of them differs from one by three sd: applied
    windows : number of windows that it rests on
    """

    unit: str
    factor: np.ndarray
    sd: np.ndarray
    sure: np.ndarray
    windows: int

    @property
    def doubted(self) -> bool:
        """Whether it is off for certain, but too far or by too little known a factor to be corrected.

        A wrong unit, range or sensitivity is one for all axes.
        """
        beyond = (self.factor - 1) / self.sd
        alike = max(int(np.sum(beyond > DOUBTED_BY)), int(np.sum(beyond < -DOUBTED_BY)))
        return alike >= 2 and not bool(self.sure.any())


def gyroscope_scales(unaided: Unaided, windows: GravityWindows, g: float) -> tuple[GyroscopeScale, ...]:
    """Scale of each gyroscope's axes from the directions that gravity takes.

    Parameters
    ----------
    unaided : each unit by itself
    windows : gravity of the same units
    g : m/s²

    Returns
    -------
    one per unit; without large turns the standard deviations stay wide

    Notes
    -----
    R, the rotation of the unit by itself, follows the gyroscope and, slowly, gravity. In the world frame let
    P(t) be the integral of what the gyroscope turned beyond R, and θ(t) the small tilt by which R is still
    wrong, seen in the mean force of a window. If the gyroscope reads ω + E ω + b, then

        P(t) − θ(t) = ∫ R E ω dt + ∫ R b dt + constant

    in both horizontal directions: linear least squares (robust, Huber) for E, with b and the constant free in
    every minute. All terms are averaged over the same windows. Scale, axes and bias of the accelerometer tilt
    θ with the unit and are solved for too; the off-diagonal E, axes against each other, likewise.
    Each window counts by how far motion may reach into its mean; more scatter widens the covariance.
    Where an error of over 1 % shows, R is made again from corrected rates and the rest is found about it.
    """
    bins = Bins.of(unaided)
    out = []
    for unit in range(len(unaided.units)):
        out.append(_scale(unaided, windows, unit, g, bins))
        unaided.let_go()
    return tuple(out)


def _scale(unaided: Unaided, windows: GravityWindows, unit: int, g: float, bins: Bins) -> GyroscopeScale:
    """Of one unit."""
    ok = windows.known[:, unit]
    if ok.sum() < WINDOWS:
        return GyroscopeScale(
            unaided.units[unit], np.ones(3), np.full(3, SCALE_SD), np.zeros(3, bool), int(ok.sum())
        )
    sd_g, time = windows.sd[ok, unit] / g, windows.time[ok]
    signals, factor, R = unaided.signals.of_unit(unit), np.ones(3), unaided.R[:, unit]
    for again in (True, False):
        y, columns = _equations(signals, R, factor, g, bins)
        e, sd = _solved(y[ok], columns[ok], sd_g, time)
        factor = factor / (1 + e)
        if not again or np.abs(e).max() < WORTH_TELLING or sd.min() > WORTH_TELLING:
            break
        R = filtered(dataclasses.replace(signals, rate=signals.rate * factor))
    off = np.abs(factor - 1)
    known = sd < SURE_SD
    sure = known & bool(np.any(known & (off > 3 * sd)) and off.max() < LARGEST)
    return GyroscopeScale(unaided.units[unit], factor, sd, sure, int(ok.sum()))


HORIZONTAL = [0, 2]  # by definition: +Y is up


def _equations(
    signals: Signals, R: np.ndarray, factor: np.ndarray, g: float, bins: Bins
) -> tuple[np.ndarray, np.ndarray]:
    """Right-hand sides (K, 2) rad and columns (K, 2, 24) of what is unknown, of signals of one unit.

    Columns: E by rows (9), matrix (9) and bias (3) of the accelerometer, bias of the gyroscope (3).
    """
    step = signals.step * signals.stride
    by_force, turned, by_beyond, by_turn = _by_bin(signals, R, factor, bins)
    tilt = _tilt(bins.smooth(by_force)[bins.middles].reshape(-1, 3, 9), g)
    by_offset = _tilt(bins.smooth(turned)[bins.middles], g)

    def integrated(values: np.ndarray) -> np.ndarray:
        """Means over windows of the integral of what every bin holds, from bin means (count, 3, ...)."""
        total = np.cumsum(values, axis=0) - 0.5 * values
        return bins.smooth(bins.samples * total[:, HORIZONTAL])[bins.middles]

    y = integrated(by_beyond) - tilt[..., [0, 4, 8]].sum(-1)
    by_error = integrated(by_turn.reshape(-1, 3, 9))
    return y, np.concatenate([by_error, -tilt, -by_offset, integrated(turned * step)], -1)


def _by_bin(signals: Signals, R: np.ndarray, factor: np.ndarray, bins: Bins) -> tuple[np.ndarray, ...]:
    """Means over bins, made some at a time: R ⊗ f, R, R times what was turned beyond R, R ⊗ turn."""
    force, turns, n = signals.specific_force[:, 0], signals.turns[:, 0], bins.samples
    parts = []
    for first in range(0, bins.count, BINS_AT_ONCE):
        some = dataclasses.replace(bins, count=min(BINS_AT_ONCE, bins.count - first))
        at = slice(first * n, (first + some.count) * n)
        of_frames = turns[at.start * signals.stride : at.stop * signals.stride]
        turn = factor * of_frames.reshape(-1, signals.stride, 3).sum(1)
        here, then = R[at], R[at.start + 1 : at.stop + 1]
        beyond = turn - log(np.swapaxes(here, -1, -2) @ then)
        means = some.product(here, force[at]), some.mean(here)
        parts.append((*means, some.mean(apply(here, beyond)), some.product(here, turn)))
        let_go(force, turns, R)
    return tuple(np.concatenate(of) for of in zip(*parts, strict=True))


def _tilt(force: np.ndarray, g: float) -> np.ndarray:
    """(K, 2, ...) horizontal components of f × ŷ / g, how far the world is tilted that sees a force f."""
    return np.stack([-force[:, 2], force[:, 0]], 1) / g


def _solved(
    y: np.ndarray, columns: np.ndarray, sd: np.ndarray, time: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Scale errors (3,) and their standard deviations; bias and constant free in each stretch.

    What is a stretch's own is eliminated there, S = H − Σ Cᵀ O⁻¹ C, so that hours cost as much as their
    minutes together.
    """
    first = np.flatnonzero(np.diff((time - time[0]) // STRETCH_S, prepend=-1.0))
    at = np.repeat(np.arange(len(first)), np.diff(np.r_[first, len(time)]))
    shared = columns[..., :21]
    own = np.concatenate([columns[..., 21:], np.broadcast_to(np.eye(2), (len(y), 2, 2))], -1)
    spread = np.where(np.eye(3, dtype=bool).ravel(), SCALE_SD, AXES_SD)
    spread = np.array([*spread, *[ACCELEROMETER_SD] * 9, *[ACCELEROMETER_BIAS_SD] * 3])
    loose = np.diag(np.array([*[BIAS_SD] * 3, 1e3, 1e3]) ** -2.0)
    weight, scatter = np.ones((len(y), 2)), 1.0
    x, S = np.zeros(len(spread)), np.diag(spread**-2.0)
    for _ in range(ROUNDS):
        w = weight / (scatter * sd[:, None]) ** 2
        weighted = np.swapaxes(own * w[..., None], 1, 2)
        O = np.add.reduceat(weighted @ own, first) + loose
        C = np.add.reduceat(weighted @ shared, first)
        b = np.add.reduceat((weighted @ y[..., None])[..., 0], first)
        through = np.swapaxes(np.linalg.solve(O, C), 1, 2)
        H = np.tensordot(shared * w[..., None], shared, ((0, 1), (0, 1))) + np.diag(spread**-2.0)
        S = H - (through @ C).sum(0)
        rhs = np.tensordot(shared, w * y, ((0, 1), (0, 1))) - apply(through, b).sum(0)
        x = np.linalg.solve(S, rhs)
        own_x = np.linalg.solve(O, (b - C @ x)[..., None])[..., 0]
        off = np.abs(y - shared @ x - apply(own, own_x[at])) / sd[:, None]
        scatter = max(1.0, float(np.median(off)) / NORMAL_MEDIAN)
        weight = huber(off[..., None], scatter)
    return x[[0, 4, 8]], np.sqrt(np.diag(np.linalg.inv(S))[[0, 4, 8]])


def turning_true(unit: Unit, scales: Iterable[GyroscopeScale]) -> Unit:
    """The unit with its gyroscope's axes corrected, where their scale is sure.

    Parameters
    ----------
    unit : as recorded
    scales : of any units; those of others are passed over

    Returns
    -------
    Unit
    """
    own = next((s for s in scales if s.unit == unit.name and s.sure.any()), None)
    if own is None or unit.gyroscope is None:
        return unit
    return dataclasses.replace(unit, gyroscope=unit.gyroscope * np.where(own.sure, own.factor, 1.0))


def gyroscope_findings(scales: Sequence[GyroscopeScale], handled: bool = True) -> tuple[Finding, ...]:
    """What to say about gyroscopes whose scale is off.

    Parameters
    ----------
    scales : from `gyroscope_scales`
    handled : whether `turning_true` was applied

    Returns
    -------
    tuple of Finding

    Notes
    -----
    Harm: a turn of 90°, usual for a limb, seen too large or too small by the scale.
    """
    return tuple(
        _finding(scale, handled and not scale.doubted)
        for scale in scales
        if scale.doubted or np.any(np.abs(scale.factor - 1) * scale.sure > WORTH_TELLING)
    )


def _finding(scale: GyroscopeScale, handled: bool) -> Finding:
    percent = 100 * (1 / scale.factor - 1)
    axes = [i for i in range(3) if scale.sure[i] or scale.doubted]
    found = ", ".join(f"{'xyz'[i]} {percent[i]:+.1f} %" for i in axes)
    left = scale.sd[axes].max() if handled else np.abs(percent[axes]).max() / 100
    return Finding(
        "gyroscope-scale",
        "note" if handled else "warning",
        f"{scale.unit} gyroscope: turns off by {found} (± {100 * scale.sd[axes].max():.1f} %)",
        "check the unit and range of its columns, or calibrate the device on a turntable",
        units=(scale.unit,),
        value=float(percent[axes][np.argmax(np.abs(percent[axes]))]),
        threshold=100 * WORTH_TELLING,
        measure="%",
        source="data sheets: 0.3 to 1 % (from memory)",
        handled="scale taken off" if handled else "",
        harm_deg=float(left * USUAL_TURN_DEG),
    )
