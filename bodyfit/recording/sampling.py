"""How each unit was sampled: rate, jitter, what was dropped or repeated, and gaps."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from ..errors import InputError
from .capture import Unit
from .stamp_rate import usual_step
from .trials import Trial, within

BRIDGED_S = 0.25  # s, longest gap that is bridged; by reasoning: two keyframes
# s, longest gap over which a cubic is as good as a straight line; tried: compared on 6 captures
CUBIC_S = 0.12
GAP = 2.5  # median steps from which a step is a gap; by reasoning: one lost sample is no gap
# median steps from which a step has lost a sample; by definition: nearer to two steps than to one
DROPPED = 1.5
JITTER_SHARE = 0.1  # of a step; stamps further off a regular grid are irregular; chosen; not tried
LOCAL = 50  # steps over which a clock is taken to be even; chosen; not tried
MOTION = ("accelerometer", "gyroscope", "orientation")


class Coverage:
    """Where a sensor was sampled: `at` (n,) s, n ≥ 2, between the first and last time that matter."""

    def __init__(self, at: np.ndarray, first: float | None = None, last: float | None = None):
        self.at, self.steps = at, np.diff(at)
        self.usual = float(np.median(self.steps))
        self.lead = at[0] - first if first is not None else 0.0
        self.tail = last - at[-1] if last is not None else 0.0

    @property
    def longest_bridged(self) -> float:
        """s, longest gap that is bridged; a slow sensor has longer steps than others have gaps."""
        return max(BRIDGED_S, GAP * self.usual)

    def step(self, t: np.ndarray) -> np.ndarray:
        """Length in s of the step between samples that each time lies in; zero where none is missing."""
        after = np.clip(np.searchsorted(self.at, t, side="right") - 1, 0, len(self.steps) - 1)
        return np.where(self.steps[after] > DROPPED * self.usual, self.steps[after], 0.0)

    def beyond(self, t: np.ndarray) -> np.ndarray:
        """Whether each time lies before the first sample or after the last."""
        return np.maximum(self.at[0] - t, t - self.at[-1]) > self.usual

    def gap(self, t: np.ndarray) -> np.ndarray:
        """Length in s of the gap that each time lies in; zero between neighbouring samples."""
        step = self.step(t)
        inside = np.where(step > GAP * self.usual, step, 0.0)
        ends = np.where(t < self.at[0], max(BRIDGED_S, self.lead), max(BRIDGED_S, self.tail))
        return np.where(self.beyond(t), ends, inside)

    def lost(self, t: np.ndarray) -> np.ndarray:
        """Whether each time lies in a gap that is too long to bridge."""
        return self.gap(t) > self.longest_bridged

    def __call__(self, t: np.ndarray) -> np.ndarray:
        """Whether each time lies between samples that are near enough for a cubic."""
        return self.gap(t) <= CUBIC_S


def usable(unit: Unit, sensor: str) -> np.ndarray:
    """Samples of a sensor that hold numbers.

    Parameters
    ----------
    unit : with that sensor
    sensor : name

    Returns
    -------
    (N,) bool

    Raises
    ------
    InputError
        There are hardly any.
    """
    finite = np.isfinite(np.ascontiguousarray(getattr(unit, sensor).T))
    good = np.logical_and.reduce(finite, axis=0)  # fast along the longer axis
    if good.sum() < 4:
        raise InputError(
            f"units.{unit.name} {sensor}: {good.sum()} usable samples, expected at least 4; "
            f"leave the sensor out of the unit's table in setup.toml"
        )
    return good


def covered(units: Iterable[Unit], time: np.ndarray) -> np.ndarray:
    """Times at which at least one unit was measured, short gaps bridged.

    Parameters
    ----------
    units : of one capture
    time : (T,) s, within the units' common time

    Returns
    -------
    (T,) bool
    """
    out = np.zeros(len(time), bool)
    for unit in units:
        for sensor in sorted(unit.sensors & set(MOTION)) or sorted(unit.sensors):
            if out.all():  # after the first sensor already, as a rule
                return out
            out |= ~Coverage(unit.time[usable(unit, sensor)], time[0], time[-1]).lost(time)
    return out


@dataclass(frozen=True, eq=False)
class Sampling:
    """How one unit was sampled.

    Attributes
    ----------
    unit : name
    frequency : Hz, by a line through stamps over sample numbers
    jitter : s, standard deviation of stamps against a regular grid, dropped samples allowed for
    dropped : share of the samples of a regular grid that are missing, outside the gaps
    gaps : (g, 2) s, start and end of stretches without a value of some motion sensor
    split : (g,) bool, gaps too long to be bridged
    """

    unit: str
    frequency: float
    jitter: float
    dropped: float
    gaps: np.ndarray
    split: np.ndarray

    @property
    def irregular(self) -> bool:
        """Whether stamps are far off a regular grid."""
        return self.jitter * self.frequency > JITTER_SHARE


def sampling_of(unit: Unit, trials: Sequence[Trial] = ()) -> Sampling:
    """How a unit was sampled.

    Parameters
    ----------
    unit : with at least four usable samples of each sensor
    trials : of the capture; pauses between them are no gaps

    Returns
    -------
    Sampling

    Notes
    -----
    Steps are counted in whole medians, n; what a step of n medians has lost is n − 1 samples. Stamps that are
    each off a regular grid by σ have steps that are off n times the usual step about them, a mean over
    fifty, by √2 σ; steps over gaps are left out.
    """
    steps = np.diff(unit.time)
    usual = float(np.median(steps))
    steps = steps[steps <= GAP * usual]
    whole = np.maximum(1, np.round(steps / usual))
    about = uniform_filter1d(steps, LOCAL, mode="nearest") / uniform_filter1d(whole, LOCAL, mode="nearest")
    jitter = float(np.std(steps - whole * about) / np.sqrt(2))
    lost = float(np.sum(whole - 1))
    gaps, split = gaps_of(unit, trials)
    return Sampling(unit.name, 1 / usual_step(unit.time), jitter, lost / (lost + len(unit.time)), gaps, split)


def gaps_of(unit: Unit, trials: Sequence[Trial] = ()) -> tuple[np.ndarray, np.ndarray]:
    """Stretches without a value of some motion sensor, and which of them are too long to be bridged.

    Parameters
    ----------
    unit, trials : as of `sampling_of`

    Returns
    -------
    gaps, split : (g, 2) s and (g,) bool, as in `Sampling`
    """
    return _within_trials(*_gaps(unit), trials)


def _gaps(unit: Unit) -> tuple[np.ndarray, np.ndarray]:
    """(g, 2) s gaps of any motion sensor, those of several merged, and which are too long to bridge."""
    found = []
    for sensor in sorted(unit.sensors & set(MOTION)) or sorted(unit.sensors):
        at = unit.time[usable(unit, sensor)]
        seen = Coverage(at)
        edges = np.concatenate([[unit.time[0]], at, [unit.time[-1]]])
        k = np.flatnonzero(np.diff(edges) > GAP * seen.usual)
        found.append(np.stack([edges[k], edges[k + 1], np.diff(edges)[k] > seen.longest_bridged], -1))
    every = np.concatenate(found)
    every = every[np.argsort(every[:, 0], kind="stable")]
    out: list[list[float]] = []
    for start, end, long in every:
        if out and start <= out[-1][1]:
            out[-1] = [out[-1][0], max(out[-1][1], end), max(out[-1][2], long)]
        else:
            out.append([start, end, long])
    merged = np.array(out).reshape(-1, 3)
    return merged[:, :2], merged[:, 2] > 0


def _within_trials(
    gaps: np.ndarray, split: np.ndarray, trials: Sequence[Trial]
) -> tuple[np.ndarray, np.ndarray]:
    """Gaps without the pauses between trials; what sticks out of those counts when it is not bridged."""
    cut, of = within(gaps, trials)
    length = np.diff(cut, axis=1)[:, 0]
    whole = length == np.diff(gaps, axis=1)[of, 0]
    kept = whole | (length > BRIDGED_S)
    return cut[kept], split[of][kept]
