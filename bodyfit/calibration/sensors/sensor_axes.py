"""Axes of a unit's sensors that don't belong together: swapped, flipped, left-handed, rates mislabelled."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ...core.findings import Finding
from ...core.rotations import exp, vector_norm
from ...recording.signals import Signals
from .axes_by_rate import unexplained_change

WINDOW_S = 4.0  # as WINDOW_S of gravity windows
MOST_WINDOWS = 40  # those with the largest turns count; more cost time and say no more; chosen; not tried
# loss between the best and the worst axes from which a window tells axes apart; chosen; not tried
DECIDES = 0.3
LEAST_WINDOWS = 3  # that tell axes apart; fewer: not decidable; chosen; not tried
WRONG = 0.08  # mean loss above which axes as declared count as wrong; tried: at most 0.036 on real units
# share of that loss that other axes must stay below; also what tells two candidates apart; chosen; not
# tried
BETTER = 0.5
SLOW_MEASURE = "% of a constant vector's change, averaged over 4 s, that turning leaves unexplained"
DEGREES = 180.0 / np.pi  # by definition
RATE_FACTORS = (1.0, DEGREES, 1 / DEGREES)  # rad/s read as deg/s and the other way round


def _axes() -> np.ndarray:
    """(48, 3, 3) signed permutations: 24 rotations, the identity first, then minus each of them."""
    signs = itertools.product((1.0, -1.0), repeat=3)
    every = [np.diag(s)[list(p)] for p, s in itertools.product(itertools.permutations(range(3)), signs)]
    proper = sorted((Q for Q in every if np.linalg.det(Q) > 0), key=lambda Q: -np.trace(Q))
    return np.stack([*proper, *(-Q for Q in proper)])


AXES = _axes()


@dataclass(frozen=True, eq=False)
class UnitAxes:
    """How a gyroscope's axes fit another sensor of its unit.

    Attributes
    ----------
    unit, sensor : names; the sensor is "accelerometer" or "magnetometer"
    windows : number of windows that tell axes apart; where slow, thirds of the recording
    loss : of the axes as declared, mean over these windows: share of a constant vector that turning the
        way the gyroscope says averages away; NaN where no window decides
    axes : (n, 3, 3) signed permutations that make the gyroscope fit, best first; more than one where the
        motion does not tell them apart; only the identity where nothing is wrong
    factor : by which the gyroscope's readings must be multiplied too
    best_loss : of the first of them
    slow : told by the rate at which the vector changes (`unexplained_change`), since hardly anything turned;
        losses are then shares of that change
    """

    unit: str
    sensor: str
    windows: int
    loss: float
    axes: np.ndarray
    factor: float
    best_loss: float
    slow: bool = False

    @property
    def decidable(self) -> bool:
        """Whether the motion tells axes apart."""
        return self.windows >= LEAST_WINDOWS

    @property
    def wrong(self) -> bool:
        """Whether other axes, or another unit of rate, fit much better than those declared."""
        return self.factor != 1.0 or not np.array_equal(self.axes[0], np.eye(3))


def unit_axes(signals: Signals, g: float) -> tuple[UnitAxes, ...]:
    """How each gyroscope fits the accelerometer and the magnetometer of its unit.

    Parameters
    ----------
    signals : on one clock
    g : m/s²

    Returns
    -------
    tuple of UnitAxes, for each pair of sensors that a unit carries

    Notes
    -----
    A vector that is constant in the world (gravity; the field) obeys dv/dt = −ω × v. Over four seconds R is
    integrated from the gyroscope alone; were its axes Q ω instead, it would be Q R Qᵀ, so that one mean
    tensor, mean(R ⊗ v), gives |mean(Q R Qᵀ v)| for all 24 rotations Q, and one made with −ω for the
    other 24 signed permutations, whose determinant is −1. The loss is |1 − that / |v||: motion averages out
    within seconds, turning about wrong axes does not. Windows count in which some axes lose 0.3 more than
    others.
    """
    out = []
    for own in map(signals.of_unit, range(len(signals.units))):
        if not own.has["gyroscope"][0]:
            continue
        if own.has["accelerometer"][0]:
            out.append(_fitted(own, "accelerometer", own.specific_force[:, 0], g))
        if own.has["magnetometer"][0]:
            field = own.field[:, 0]
            length = float(np.median(np.linalg.norm(field, axis=-1)))
            out.append(_fitted(own, "magnetometer", field, length))
    return tuple(out)


def _fitted(signals: Signals, sensor: str, vector: np.ndarray, length: float) -> UnitAxes:
    """One gyroscope against one vector; other units of rate are tried where it does not fit gravity."""
    name, step = signals.units[0], signals.step * signals.stride
    known = signals.known["gyroscope"][:, 0] & signals.known[sensor][:, 0]
    rate, vector = _windows(signals.rate[:, 0], vector, known, step)
    if not len(rate):
        return UnitAxes(name, sensor, 0, np.nan, AXES[:1], 1.0, np.nan)
    declared = _losses(rate, vector, step, length)
    found = _judged(name, sensor, declared[np.ptp(declared, axis=1) > DECIDES], 1.0)
    if not found.decidable and (slow := _by_slow_change(signals, sensor)) is not None:
        return slow
    if sensor == "magnetometer" or (found.best_loss < WRONG and not found.wrong):
        return found
    # gravity moved in the unit frame: a gyroscope that reads next to nothing then is as wrong as one too fast
    moved = np.abs(1 - np.linalg.norm(vector.mean(1), axis=-1) / length) > 0.5 * DECIDES
    limit = min(WRONG, BETTER * declared[moved, 0].mean()) if moved.any() else 0.0
    others = [
        _judged(name, sensor, _losses(factor * rate[moved], vector[moved], step, length), factor)
        for factor in RATE_FACTORS[1:]
        if moved.any()
    ]
    # another unit of rate counts only where it leaves the axes as they are: one fault, not two
    fitting = [o for o in others if o.best_loss < limit and (o.axes == AXES[0]).all((1, 2)).any()]
    if fitting:
        best = min(fitting, key=lambda o: o.best_loss)
        return dataclasses.replace(best, axes=AXES[:1], loss=float(declared[moved, 0].mean()))
    return found if found.best_loss < WRONG else dataclasses.replace(found, axes=AXES[:1])


def _by_slow_change(signals: Signals, sensor: str) -> UnitAxes | None:
    """The same where the unit hardly turns, by the rate at which the vector changes; None: does not tell."""
    vector = {"accelerometer": signals.specific_force, "magnetometer": signals.field}[sensor][:, 0]
    known = signals.known["gyroscope"][:, 0] & signals.known[sensor][:, 0]
    step = signals.step * signals.stride
    left = unexplained_change(signals.rate[:, 0], vector, known, step, AXES)
    if left is None:
        return None
    judged = _judged(signals.units[0], sensor, left, 1.0)
    if judged.wrong and (left[:, left.mean(0).argmin()] > BETTER * left[:, 0]).any():
        return None  # other axes win in one part, not in each
    return dataclasses.replace(judged, slow=True)


def _windows(
    rate: np.ndarray, vector: np.ndarray, known: np.ndarray, step: float
) -> tuple[np.ndarray, np.ndarray]:
    """Rate and vector, each (k, n, 3), in the four-second windows that turn most."""
    count = round(WINDOW_S / step)
    starts = np.arange(0, len(rate) - count + 1, max(1, count // 2))
    at = starts[:, None] + np.arange(count)
    at = at[known[at].all(1)]
    moved = vector_norm(rate[at]).mean(1)
    at = at[np.argsort(-moved, kind="stable")[:MOST_WINDOWS]]
    return rate[at], vector[at]


def _losses(rate: np.ndarray, vector: np.ndarray, step: float, length: float) -> np.ndarray:
    """(k, 48) share of a constant vector that turning averages away, with each choice of axes."""
    k, n, _ = rate.shape
    taper = (1 - np.cos(2 * np.pi * (np.arange(n) + 0.5) / n)) / n
    turns = exp(rate * step)
    turns = np.concatenate([turns, np.swapaxes(turns, -1, -2)])  # with ω, with −ω
    R = np.empty((2 * k, n, 3, 3))
    R[:, 0] = np.eye(3)
    for i in range(1, n):  # over the samples of a window, all windows at once
        np.matmul(R[:, i - 1], turns[:, i - 1], out=R[:, i])
    tapered = np.concatenate([taper[:, None] * vector] * 2)
    mean = (R.reshape(2 * k, n, 9).swapaxes(1, 2) @ tapered).reshape(2 * k, 3, 3, 3)
    # the length of Q R Qᵀ v is that of R Qᵀ v, and (Qᵀ v)_j = Q_lj v_l
    carried = np.einsum("kijl,qlj->kqi", mean, AXES[:24], optimize=True)
    loss = np.minimum(1.0, np.abs(1 - vector_norm(carried) / length))
    return np.concatenate([loss[:k], loss[k:]], 1)


def _judged(unit: str, sensor: str, loss: np.ndarray, factor: float) -> UnitAxes:
    """The axes that fit best and those that fit nearly as well; those declared, unless they plainly lose."""
    if len(loss) < LEAST_WINDOWS:
        return UnitAxes(unit, sensor, len(loss), np.nan, AXES[:1], factor, np.nan)
    mean = loss.mean(0)
    order = np.argsort(mean, kind="stable")
    best = float(mean[order[0]])
    near = order[mean[order] <= best / BETTER]
    if factor == 1.0 and not (mean[0] > WRONG and best < BETTER * mean[0]):
        near = np.array([0])
    return UnitAxes(unit, sensor, len(loss), float(mean[0]), AXES[near], factor, float(mean[near[0]]))


def axes_findings(found: Sequence[UnitAxes]) -> tuple[Finding, ...]:
    """What to say about axes that don't belong together.

    Parameters
    ----------
    found : from `unit_axes`

    Returns
    -------
    tuple of Finding, at most one a unit; units whose motion does not decide give none

    Notes
    -----
    Where gyroscope and magnetometer agree and the accelerometer does not, the accelerometer is off, and the
    advice is for its columns; turning does not show which way it counts as up, so fewer flips are advised.
    Without a magnetometer that tells, it is the one or the other, and the finding says so. Harm: turning
    about a wrong axis, 90° off.
    """
    by_unit: dict[str, dict[str, UnitAxes]] = {}
    for one in found:
        by_unit.setdefault(one.unit, {})[one.sensor] = one
    return tuple(f for name, pair in by_unit.items() if (f := _finding(name, pair)) is not None)


def _finding(unit: str, pair: Mapping[str, UnitAxes]) -> Finding | None:
    wrong = [one for one in pair.values() if one.wrong]
    if not wrong:
        return None
    one = wrong[0]
    others = [o for o in pair.values() if o.sensor != one.sensor and o.decidable]
    blamed = one.sensor if others and not others[0].wrong else "gyroscope"
    Q, R = one.axes[0], one.axes[0].T * np.sign(one.axes[0].sum())  # of the gyroscope, of the other sensor
    told = columns_said(Q if blamed == "gyroscope" else R)
    what = f"{unit}: the gyroscope's axes do not turn what its {one.sensor} feels as they should"
    advice = f"in setup.toml, give units.{unit} {blamed} the columns {told} of those it has"
    if not others:
        what += f"; it is the {one.sensor} or the gyroscope"
        advice += f", or its {one.sensor} the columns {columns_said(R)}"
    if one.factor != 1.0:
        read, true = ("rad/s", "deg/s") if one.factor < 1 else ("deg/s", "rad/s")
        what = f"{unit}: the gyroscope's rates are {true} that were read as {read}"
        advice = f'in setup.toml, give units.{unit} gyroscope the unit "{true}"'
    elif np.array_equal(one.axes[0], -np.eye(3)):
        what = f"{unit}: the gyroscope turns the wrong way about all axes, or the unit's axes are left-handed"
        advice += "; if they are left-handed, flip the same one axis of every sensor of the unit instead"
    if len(one.axes) > 1:
        advice += (
            f" ({len(one.axes) - 1} other choices fit nearly as well: turn it about all three axes to tell)"
        )
    return Finding(
        "axes-mixed",
        "serious",
        what,
        advice,
        units=(unit,),
        value=100 * one.loss,
        threshold=100 * WRONG,
        measure=SLOW_MEASURE if one.slow else "% of a constant vector lost over 4 s",
        source="real units with their axes in order lose up to 4 % of gravity",
        harm_deg=90.0,
    )


def columns_said(Q: np.ndarray) -> str:
    """The columns to write so that a sensor's new axes are Q times those declared.

    Parameters
    ----------
    Q : (3, 3) signed permutation

    Returns
    -------
    such as "[y, -x, z]": a minus flips a column's sign
    """
    names = ["-" * bool(row.sum() < 0) + "xyz"[int(np.argmax(np.abs(row)))] for row in Q]
    return "[" + ", ".join(names) + "]"
