"""What a unit's accelerometer and gyroscope read while it lies still: noise, bias, drift of the bias."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from ...core.findings import Finding
from ...core.gravity import STANDARD_GRAVITY
from ...core.intervals import runs
from ...recording.capture import Unit
from ...recording.rest import REST_FORCE, REST_RATE, REST_S
from .allan_deviation import AllanCurve, allan_curve

CALM_S = 0.25  # noise is averaged over so long before a unit is asked whether it moves; chosen; not tried
HIGH_FORCE_NOISE = 0.25e-3 * STANDARD_GRAVITY  # m/s²/√Hz; from memory, see NOISE_SOURCE
HIGH_RATE_NOISE = np.radians(0.015)  # rad/s/√Hz; from memory, see NOISE_SOURCE
NOISE_SOURCE = (
    "data sheet of a wearable-class chip: 0.007 °/s/√Hz, 0.16 mg/√Hz; usual 0.004 to 0.015 °/s/√Hz, "
    "80 to 250 µg/√Hz (from memory)"
)
MUCH = 3.0  # times the usual noise from which it is told: filters and mounting make some; chosen; not tried
HIGH_BIAS = np.radians(0.5)  # rad/s; data sheet of a wearable-class chip
SEEN_BIAS = np.radians(3.0)  # rad/s; from memory: seen in use
BIAS_SOURCE = "data sheet of a wearable-class chip: ±0.5 °/s; 3 °/s seen in use"
# rad/s in a capture; more than `Weights.bias_walk` expects in two minutes; by reasoning
DRIFT = np.radians(0.1)
APART_S = 10.0  # least time between the stretches that a drift is taken from; chosen; not tried


@dataclass(frozen=True, eq=False)
class AtRest:
    """One sensor of one unit while the unit lay still.

    Attributes
    ----------
    unit, sensor : names
    stretches : start, end in s, of each still stretch of two seconds or more
    mean : (k, 3) SI, reading in each stretch
    noise : (3,) SI/√Hz, white noise density, or None: no stretch was long enough (some 8 s)
    curve : Allan deviation of all stretches, or None
    """

    unit: str
    sensor: str
    stretches: tuple[tuple[float, float], ...]
    mean: np.ndarray
    noise: np.ndarray | None
    curve: AllanCurve | None

    @property
    def seconds(self) -> float:
        """Time at rest, s."""
        return float(sum(end - start for start, end in self.stretches))

    @property
    def bias(self) -> np.ndarray | None:
        """(3,) rad/s, what a gyroscope read at rest; None for an accelerometer, which reads gravity."""
        if self.sensor != "gyroscope":
            return None
        return np.average(self.mean, axis=0, weights=[end - start for start, end in self.stretches])

    @property
    def drift(self) -> float | None:
        """rad/s, change of the bias from the first still stretch to the last; None where these are near."""
        if self.sensor != "gyroscope" or self.stretches[-1][0] - self.stretches[0][1] < APART_S:
            return None
        return float(np.linalg.norm(self.mean[-1] - self.mean[0]))


def at_rest(unit: Unit) -> tuple[AtRest, ...]:
    """What a unit's accelerometer and gyroscope read while it lay still.

    Parameters
    ----------
    unit : samples as recorded, with a gyroscope and an accelerometer

    Returns
    -------
    tuple of AtRest; empty for a unit that never lay still for two seconds, or lacks a sensor

    Notes
    -----
    Still is what `signals` calls rest, on means over a quarter of a second, so that a noisy chip can be still
    too. A still stretch holds no gap.
    """
    if unit.gyroscope is None or unit.accelerometer is None or len(unit.time) < 4:
        return ()
    runs = _still_runs(unit)
    if not len(runs):
        return ()
    times = tuple((float(unit.time[a]), float(unit.time[b - 1])) for a, b in runs)
    step = float(np.median(np.diff(unit.time)))
    out = []
    for sensor in ("accelerometer", "gyroscope"):
        parts = [getattr(unit, sensor)[a:b] for a, b in runs]
        curve = allan_curve(parts, step)
        mean = np.array([part.mean(0) for part in parts])
        out.append(AtRest(unit.name, sensor, times, mean, None if curve is None else curve.noise, curve))
    return tuple(out)


def _still_runs(unit: Unit) -> np.ndarray:
    """(k, 2) first sample and one past the last of each still stretch."""
    steps = np.diff(unit.time)
    step = float(np.median(steps))
    calm = max(1, round(CALM_S / step))
    count, window = len(unit.time) // calm, max(3, round(REST_S / (calm * step)))
    both = np.concatenate([unit.gyroscope, unit.accelerometer], -1)  # type: ignore[list-item]
    bins = both[: count * calm].reshape(count, calm, 6).mean(1)
    late = np.concatenate([[False], steps > 2.5 * step])[: count * calm].reshape(count, calm).any(1)
    whole = np.isfinite(bins).all(1) & ~late
    bins = np.where(whole[:, None], bins, 0.0)
    level = _running(bins, window)
    spread = np.sqrt(
        np.maximum(_running((bins - bins.mean(0)) ** 2, window) - (level - bins.mean(0)) ** 2, 0.0)
    )
    still = (spread[:, :3].max(1) < REST_RATE) & (spread[:, 3:].max(1) < REST_FORCE)
    still &= (np.abs(level[:, :3]).max(1) < SEEN_BIAS) & (
        _running(whole.astype(float), window) > 1 - 0.5 / window
    )
    # a window about each still middle lies still as a whole
    covered = (_running(still.astype(float), window) > 0.5 / window) & whole
    edges = runs(covered)
    long = edges[(edges[:, 1] - edges[:, 0]) >= window]
    return calm * (long + np.array([1, -1]))  # where it starts and ends lies inside a bin


def _running(values: np.ndarray, window: int) -> np.ndarray:
    """Running means along time."""
    return uniform_filter1d(values, window, axis=0, mode="constant")


def rest_findings(rests: Sequence[AtRest]) -> tuple[Finding, ...]:
    """What to say about noise and bias at rest.

    Parameters
    ----------
    rests : from `at_rest`, of any units

    Returns
    -------
    tuple of Finding

    Notes
    -----
    Harm: white noise of one-sided density n walks by n / √2 a √s: a gyroscope turns by that times √60 in a
    minute; an accelerometer tilts by that over g in a second.
    A gyroscope's bias is estimated by the fit; a tenth of it is taken to stay, over a second,
    and of a drift what ten seconds make of a tenth.
    """
    out = []
    for rest in rests:
        if rest.noise is not None and (found := _noise_finding(rest)):
            out.append(found)
        if rest.bias is not None and np.abs(rest.bias).max() > HIGH_BIAS:
            out.append(_bias_finding(rest))
        if rest.drift is not None and rest.drift > DRIFT:
            out.append(_drift_finding(rest))
    return tuple(out)


def _noise_finding(rest: AtRest) -> Finding | None:
    worst = float(np.max(rest.noise))  # type: ignore[arg-type]
    turning = rest.sensor == "gyroscope"
    limit = MUCH * (HIGH_RATE_NOISE if turning else HIGH_FORCE_NOISE)
    if worst < limit:
        return None
    said, top = (np.degrees(worst), np.degrees(limit)) if turning else (worst, limit)
    measure = "°/s/√Hz" if turning else "m/s²/√Hz"
    walk = worst / np.sqrt(2)
    harm = walk * np.sqrt(60) if turning else walk / STANDARD_GRAVITY
    return Finding(
        "noise-high",
        "warning",
        f"{rest.unit} {rest.sensor}: noise of {said:.2g} {measure} at rest ({rest.seconds:.0f} s)",
        "look for vibration (a fan, a motor, a loose mount) where it lay still; else the device is noisy",
        units=(rest.unit,),
        start=rest.stretches[0][0],
        end=rest.stretches[-1][1],
        value=float(said),
        threshold=float(top),
        measure=measure,
        source=NOISE_SOURCE,
        harm_deg=float(np.degrees(harm)),
    )


def _bias_finding(rest: AtRest) -> Finding:
    worst = float(np.abs(rest.bias).max())  # type: ignore[arg-type]
    bias = ", ".join(f"{b:+.2f}" for b in np.degrees(rest.bias))  # type: ignore[arg-type]
    return Finding(
        "bias-high",
        "warning" if worst > SEEN_BIAS else "note",
        f"{rest.unit} gyroscope: a bias of {bias} °/s at rest",
        "let the device warm up and calibrate its bias before the next capture",
        units=(rest.unit,),
        start=rest.stretches[0][0],
        end=rest.stretches[-1][1],
        value=float(np.degrees(worst)),
        threshold=float(np.degrees(HIGH_BIAS)),
        measure="°/s",
        source=BIAS_SOURCE,
        handled="estimated by the fit",
        harm_deg=float(np.degrees(worst)) * 0.1,
    )


def _drift_finding(rest: AtRest) -> Finding:
    drift = float(np.degrees(rest.drift or 0.0))
    start, end = rest.stretches[0][1], rest.stretches[-1][0]
    return Finding(
        "bias-drift",
        "note",
        f"{rest.unit} gyroscope: its bias drifts by {drift:.2f} °/s in {end - start:.0f} s",
        "let the device warm up for some minutes before the next capture",
        units=(rest.unit,),
        start=start,
        end=end,
        value=drift,
        threshold=float(np.degrees(DRIFT)),
        measure="°/s",
        source="ten times a chip's random walk of 0.001 °/s/√s over 100 s (from memory)",
        handled="followed by the fit",
        harm_deg=drift,
    )
