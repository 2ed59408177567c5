"""Accelerometers whose readings can't be m/s² at all: gravity is missing, or the unit changes on the way."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from ...core.findings import Finding
from ...core.intervals import runs
from ...recording.capture import Unit

BLOCK_S = 2.0  # s over which the median is taken; a jump's free fall lasts under 1 s (from memory)
# of g; the calmest of all blocks reads within; tried: 0.55 to 1.02 on real units
LOWEST, HIGHEST = 0.5, 2.0
CALM = 1.0  # rad/s, median of a block; tried: 3.4 to 7 on recorded runs where they read above 2 g
# of g; no motion of people keeps these for seconds; tried: 0.55 to 4.3 on real units
FAR_LOW, FAR_HIGH = 0.3, 6.0
LASTING = 3  # blocks in a row that far off, 6 s: a shake ends sooner (by reasoning)


@dataclass(frozen=True, eq=False)
class GravityLevel:
    """Where one accelerometer does not read gravity.

    Attributes
    ----------
    unit : name
    wrong : (N,) bool, samples that can't be m/s²
    ratio : median reading of these, as a share of g
    start, end : s, of these
    throughout : whether that is all of them
    limit : of g, that the readings are beyond
    """

    unit: str
    wrong: np.ndarray
    ratio: float
    start: float
    end: float
    throughout: bool
    limit: float


def gravity_level(unit: Unit, g: float) -> GravityLevel | None:
    """Whether an accelerometer reads gravity where the unit is calm; None where it does.

    Parameters
    ----------
    unit : samples as recorded
    g : m/s²

    Returns
    -------
    GravityLevel or None

    Notes
    -----
    The median of |f| over two seconds is near g while a unit is calm, whatever its attitude, and shaking only
    adds to it. All blocks above 2 g, or all below g / 2: a wrong unit throughout. Some blocks in a row below
    0.3 g or above 6 g, others not: the unit changes on the way. A foot that runs all along reads 3 to 4 g in
    every block: where the gyroscope shows no calm block, or there is none, only 6 g counts. Blocks that are
    too few to hold a landing beside a flight count below 0.3 g only.
    """
    if unit.accelerometer is None or len(unit.time) < 2:
        return None
    length = np.linalg.norm(unit.accelerometer, axis=1) / g
    block = np.floor((unit.time - unit.time[0]) / BLOCK_S)
    starts = np.flatnonzero(np.r_[True, np.diff(block) > 0])
    level = np.array([_median(part) for part in np.split(length, starts[1:])])
    known = level[np.isfinite(level)]
    if not len(known):
        return None
    low = LOWEST if len(known) >= LASTING else FAR_LOW
    high = HIGHEST if _turns_slowly(unit, starts) else FAR_HIGH
    if known.min() > high or known.max() < low:
        wrong = np.ones(len(level), bool)
    else:
        low, high = FAR_LOW, FAR_HIGH
        wrong = _lasting(level < FAR_LOW) | _lasting(level > FAR_HIGH)
    if not wrong.any():
        return None
    rows = np.repeat(wrong, np.diff(np.r_[starts, len(length)]))
    time, ratio = unit.time[rows], _median(length[rows])
    limit = high if ratio > 1 else low
    return GravityLevel(unit.name, rows, ratio, float(time[0]), float(time[-1]), bool(wrong.all()), limit)


def _turns_slowly(unit: Unit, starts: np.ndarray) -> bool:
    """Whether a block that begins at one of these samples is calm, by the gyroscope."""
    if unit.gyroscope is None:
        return False
    rate = np.linalg.norm(unit.gyroscope, axis=1)
    return any(_median(part) < CALM for part in np.split(rate, starts[1:]))


def _median(values: np.ndarray) -> float:
    """Median of what is known; NaN where nothing is."""
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else np.nan


def _lasting(flags: np.ndarray) -> np.ndarray:
    """Only runs of at least `LASTING`."""
    out = np.zeros(len(flags), bool)
    for a, b in runs(flags):
        out[a:b] = b - a >= LASTING
    return out


def with_gravity(unit: Unit, levels: Iterable[GravityLevel]) -> Unit:
    """The unit without what can't be m/s²: those samples, or the accelerometer where it is all of them.

    Parameters
    ----------
    unit : as recorded
    levels : of any units; those of others are passed over

    Returns
    -------
    Unit
    """
    own = next((level for level in levels if level.unit == unit.name), None)
    if own is None or unit.accelerometer is None:
        return unit
    if own.throughout:
        return dataclasses.replace(unit, accelerometer=None)
    return dataclasses.replace(unit, accelerometer=np.where(own.wrong[:, None], np.nan, unit.accelerometer))


def gravity_level_findings(levels: Sequence[GravityLevel]) -> tuple[Finding, ...]:
    """What to say about accelerometers that don't read gravity.

    Parameters
    ----------
    levels : from `gravity_level`

    Returns
    -------
    tuple of Finding: "gravity-not-read", "units-change"
    """
    return tuple(_finding(level) for level in levels)


def _finding(level: GravityLevel) -> Finding:
    """One accelerometer."""
    kind, when = "gravity-not-read", "throughout"
    if not level.throughout:
        kind = "units-change"
        when = f"from {level.start:.2f} to {level.end:.2f} s, and not otherwise: its unit changes on the way"
    return Finding(
        *(kind, "serious"),
        f"{level.unit} accelerometer: reads {level.ratio:.3g} g where it should read about 1 g, {when}",
        'check the unit of its columns in setup.toml ("m/s^2", "g"), and the recorder\'s settings',
        units=(level.unit,),
        start=None if level.throughout else level.start,
        end=None if level.throughout else level.end,
        value=level.ratio,
        threshold=level.limit,
        measure="g",
        source="medians over 2 s of real units: 0.55 to 4.3 g, the calmest of each unit 0.55 to 1.02 g; "
        "running feet 3 to 3.6 g",
        handled="accelerometer left out" if level.throughout else "these samples left out",
        harm_deg=90.0,
    )
