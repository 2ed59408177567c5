"""Samples at the end of a sensor's range: found by the declared full scale or by flat tops, then redrawn."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from ...core.cubic_spline import CubicSpline
from ...core.findings import Finding
from ...core.intervals import runs
from ...errors import CannotReconstructError
from ...recording.capture import Unit

CLIPS = ("accelerometer", "gyroscope")
# share of a declared full scale from which a sample counts as clipped: rounding, calibration; by reasoning
AT_LIMIT = 0.999
# share of an extreme value by which samples of one flat top may differ: printed decimals; by reasoning
EQUAL = 1e-5
FLAT_TOPS = 3  # so many tops at one and the same value are no chance; by reasoning
# nor are so many samples on tops of two or more while other axes go on changing; by reasoning
FLAT_SAMPLES = 6
# axes share one range: none ends at less than this share of what another reads; chosen; not tried
ONE_RANGE = 0.9
# steps of resolution by which a signal jumps on or off a flat top; a rounded peak creeps; chosen; not tried
STEEP = 5.0
# s, longest top that a cubic redraws; tried: 0.1 to 2 on simulated swings clipped at 90 %: 0.1 leaves 0.91 of
# the error, 0.25 and more 0.18
REDRAWN_S = 0.25
# share of clipped samples of an axis above which a sensor says nothing; by reasoning: its median is unknown
SATURATED = 0.5


@dataclass(frozen=True, eq=False)
class Clipping:
    """Where one sensor of one unit was at the end of its range.

    Attributes
    ----------
    unit, sensor : names
    time : (N,) s
    axes : (N, 3) bool, clipped samples by axis
    limit : SI, the range as it shows
    declared : whether the range was declared, rather than recognised from flat tops
    """

    unit: str
    sensor: str
    time: np.ndarray
    axes: np.ndarray
    limit: float
    declared: bool

    @property
    def mask(self) -> np.ndarray:
        """(N,) bool, samples with any axis clipped."""
        return np.asarray(self.axes.any(1))

    @property
    def share(self) -> float:
        """Clipped share of the samples."""
        return float(self.mask.mean())

    @property
    def stretches(self) -> list[tuple[float, float]]:
        """Start and end, s, of each run of clipped samples."""
        return [(float(self.time[a]), float(self.time[b - 1])) for a, b in runs(self.mask)]


def clipping(unit: Unit) -> tuple[Clipping, ...]:
    """Clipped samples of a unit's accelerometer and gyroscope; sensors without any are left out.

    Parameters
    ----------
    unit : samples as recorded

    Returns
    -------
    tuple of Clipping

    Notes
    -----
    A top is a run of samples at one axis's largest or smallest value that the signal reaches or leaves by a
    jump of several steps of its resolution: a rounded peak and a quantised sensor at rest creep. Three tops
    at the very same value, or six samples on tops longer than runs of equal samples elsewhere, during which
    another axis changes (else the device held its samples), make it the end of a range. One peak never does.
    """
    found = [_sensor(unit, sensor) for sensor in CLIPS if getattr(unit, sensor) is not None]
    return tuple(clip for clip in found if clip is not None)


def _sensor(unit: Unit, sensor: str) -> Clipping | None:
    """What of one sensor is clipped, or None."""
    values, declared = getattr(unit, sensor), unit.full_scale.get(sensor)
    axes = np.zeros(values.shape, bool)
    if declared is not None:
        axes = np.abs(values) >= AT_LIMIT * declared
    flat = _flat_tops(values)
    if not (axes | flat).any():
        return None
    limit = declared if axes.any() and declared is not None else float(np.max(np.abs(values[flat])))
    return Clipping(unit.name, sensor, unit.time, axes | flat, float(limit), bool(axes.any()))


def _flat_tops(values: np.ndarray) -> np.ndarray:
    """(N, 3) bool: samples in flat tops, at either end of an axis's range."""
    values = np.where(np.isfinite(values), values, 0.0)
    changes, largest = np.asarray(np.diff(values, axis=0) != 0), float(np.abs(values).max())
    out = np.zeros(values.shape, bool)
    for axis, sign in itertools.product(range(3), (1.0, -1.0)):
        x = sign * values[:, axis]
        top = float(x.max())
        if top > 0 and top >= ONE_RANGE * largest:
            at = x >= top * (1 - EQUAL)
            out[:, axis] |= at & _is_limit(x, runs(at), changes, axis)
    return out


def _is_limit(x: np.ndarray, at_top: np.ndarray, changes: np.ndarray, axis: int) -> bool:
    """Whether runs (k, 2) at an axis's extreme are flat tops."""
    few = len(at_top) < FLAT_TOPS
    if few and np.sum(at_top[:, 1] - at_top[:, 0]) < FLAT_SAMPLES:
        return False
    resolution = _resolution(x)
    tops = [run for run in at_top if _jump(x, *run) > STEEP * resolution]
    if len(tops) >= FLAT_TOPS and any(b - a > 1 for a, b in tops):  # a motion played twice peaks alike
        return len(tops) > 0.5 * len(at_top)
    others = np.asarray(np.delete(changes, axis, 1).any(1))
    usual = np.percentile(np.diff(np.flatnonzero(np.concatenate([[True], changes[:, axis], [True]]))), 95)
    long = [b - a for a, b in tops if b - a > usual and others[a : b - 1].mean() > 0.5]
    return sum(long) >= FLAT_SAMPLES


def _jump(x: np.ndarray, a: int, b: int) -> float:
    """The larger step onto or off a flat top x[a:b]."""
    onto = abs(x[a] - x[a - 1]) if a > 0 else 0.0
    return max(onto, abs(x[b] - x[b - 1]) if b < len(x) else 0.0)


def _resolution(x: np.ndarray) -> float:
    """Smallest step between neighbouring samples of an axis, float rounding aside."""
    steps = np.abs(np.diff(x))
    steps = steps[steps > 1e-9 * max(1e-12, float(np.abs(x).max()))]
    return float(steps.min()) if len(steps) else np.inf


def redrawn(unit: Unit, clipped: Iterable[Clipping]) -> Unit:
    """The unit with short flat tops drawn anew: a cubic spline through the samples of that axis around them.

    Parameters
    ----------
    unit : as recorded
    clipped : of any units; those of others are passed over

    Returns
    -------
    Unit; tops of more than 0.25 s stay as they are, where a cubic knows nothing

    Raises
    ------
    CannotReconstructError
        An axis was at its limit for more than half of the time.

    Notes
    -----
    A sample at its limit still says that the truth is no smaller, and the other axes say theirs. Rows made
    NaN and bridged lose both: clipped to 80 % of its largest rate, `single_06` went from 0.8° to 1.8° as it
    was, 2.8° with such rows left out, 1.0° redrawn.
    """
    changed = {}
    for clip in clipped:
        if clip.unit != unit.name:
            continue
        _refuse_saturated(clip)
        columns = [
            _axis_redrawn(unit.time, x, at)
            for x, at in zip(getattr(unit, clip.sensor).T, clip.axes.T, strict=True)
        ]
        changed[clip.sensor] = np.stack(columns, -1)
    return dataclasses.replace(unit, **changed) if changed else unit


def _axis_redrawn(time: np.ndarray, x: np.ndarray, clipped: np.ndarray) -> np.ndarray:
    """(N,) one axis with its short tops redrawn, never below what was read."""
    known, short = ~clipped & np.isfinite(x), clipped.copy()
    for a, b in runs(clipped):
        short[a:b] = time[b - 1] - time[a] <= REDRAWN_S
    if not short.any() or known.sum() < 4:
        return x
    out = x.copy()
    drawn = np.sign(x[short]) * CubicSpline(time[known], x[known])(time[short])
    out[short] = np.sign(x[short]) * np.maximum(drawn, np.abs(x[short]))
    return out


def _refuse_saturated(clip: Clipping) -> None:
    share = clip.axes.mean(0).max()
    if share > SATURATED:
        raise CannotReconstructError(
            f"units.{clip.unit} {clip.sensor}: at the end of its range ({_printed(clip)}) in "
            f"{100 * share:.0f} % of the samples of an axis, expected less than {100 * SATURATED:.0f} %; "
            "what it should have read is missing. Check the unit of its columns in setup.toml, set a wider "
            "range on the device and record again, or leave the sensor out"
        )


def _printed(clip: Clipping) -> str:
    if clip.sensor == "gyroscope":
        return f"{np.degrees(clip.limit):.0f} °/s"
    return f"{clip.limit:.1f} m/s²"


def clipping_findings(clipped: Sequence[Clipping], handled: bool = True) -> tuple[Finding, ...]:
    """What to say about clipped samples.

    Parameters
    ----------
    clipped : from `clipping`
    handled : whether `redrawn` was applied

    Returns
    -------
    tuple of Finding, one a sensor

    Notes
    -----
    Harm, from four simulated and real captures clipped on purpose: a gyroscope as it is costs about 30° times
    the clipped share to the power of 0.7, an accelerometer a tenth of that; redrawn, a quarter is left where
    tops are short.
    """
    return tuple(_finding(clip, handled) for clip in clipped)


def _finding(clip: Clipping, handled: bool) -> Finding:
    parts, count = clip.stretches, int(clip.mask.sum())
    longest = max(b - a for a, b in parts) + float(np.median(np.diff(clip.time)))
    too_long = sum(b - a > REDRAWN_S for a, b in parts)
    how = "declared" if clip.declared else "recognised from flat tops"
    harm = (30.0 if clip.sensor == "gyroscope" else 3.0) * clip.share**0.7
    repaired = "tops redrawn from the samples around them"
    return Finding(
        "clipping",
        "serious" if clip.share > 0.05 or too_long else "warning",
        f"{clip.unit} {clip.sensor}: {count} samples ({100 * clip.share:.2g} %) in {len(parts)} stretches, "
        f"the longest {longest:.2f} s, are at the end of the range, {_printed(clip)} ({how})",
        "set a wider range on the device, or move less hard",
        units=(clip.unit,),
        start=parts[0][0],
        end=parts[-1][1],
        value=100 * clip.share,
        threshold=0.0,
        measure="% of the samples",
        source=f"range {how}",
        handled=f"{repaired}, {too_long} longer than {REDRAWN_S} s left as they are" * handled,
        harm_deg=float(harm * (0.25 if handled and not too_long else 1.0)),
    )
