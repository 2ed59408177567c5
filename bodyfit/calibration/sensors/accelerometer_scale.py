"""Scale and bias of accelerometers: averaged over seconds, what they read must be gravity."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from ...core.findings import Finding
from ...core.gravity import STANDARD_GRAVITY
from ...core.robust import NORMAL_MEDIAN, huber
from ...recording.capture import Unit
from .gravity_windows import GravityWindows

# Spread of what accelerometers come with, before this capture says more.
SCALE_SD = 0.05  # share, all axes together: raw chips (from memory)
AXIS_SD = 0.01  # share, axes against each other: 0.3 to 1 % (from memory)
BIAS_SD = 0.2  # m/s²: 20 mg; raw chips 20 to 60 mg (from memory)
USUAL_AXIS_SD, USUAL_BIAS_SD = 0.005, 0.03  # the same after a maker's calibration: 1 to 5 mg (from memory)
# below this the scale of each axis counts as known; by reasoning: half of what is worth telling
SURE_SCALE_SD = 0.005
SURE_MEAN_SD = 0.01  # likewise one for all axes; as WORTH_TELLING
# m/s², likewise a bias: 3 mg, 0.2° of inclination, what a calibrated chip keeps; by reasoning
SURE_BIAS_SD = 0.03
# share; an accelerometer further off is left as it is, and reported; by reasoning: three times the raw
# chips' spread
LARGEST = 0.15
WINDOWS = 3  # fewer say nothing; chosen; not tried
ROUNDS = 8  # of reweighted least squares; chosen; not tried
WORTH_TELLING = 0.01  # share: a calibrated accelerometer stays within (from memory: 0.3 to 1 %)
HIGH_BIAS = 0.06 * STANDARD_GRAVITY  # m/s²; 60 mg, the upper end of raw chips (from memory)


@dataclass(frozen=True, eq=False)
class AccelerometerScale:
    """What makes one accelerometer read gravity: true force = factor × reading + offset, axis by axis.

    Attributes
    ----------
    unit : name
    factor : (3,); offset : (3,) m/s²
    factor_sd, offset_sd : (3,) standard deviations; of one common factor where the axes are not told apart
    by_axis : whether enough attitudes were held to tell axes and offsets apart
    sure : whether it is known, and differs from none by over two standard deviations: it is applied
    windows : number of windows that it rests on
    """

    unit: str
    factor: np.ndarray
    offset: np.ndarray
    factor_sd: np.ndarray
    offset_sd: np.ndarray
    by_axis: bool
    sure: bool
    windows: int

    @property
    def read(self) -> float:
        """What it reads, as a share of the true force, mean of the axes."""
        return float(1 / np.mean(self.factor))


def accelerometer_scales(windows: GravityWindows, g: float) -> tuple[AccelerometerScale, ...]:
    """Scale of each accelerometer, axis by axis and with offsets where the attitudes suffice.

    Parameters
    ----------
    windows : means of specific force over seconds
    g : m/s²

    Returns
    -------
    one per unit of the windows

    Notes
    -----
    With F the mean of what each axis adds to the force in the world frame and T the mean rotation,
    |F (1 + e) + T b| = g. Robust least squares (Huber) over windows, weighted by how far motion may
    reach into each mean, with the prior that accelerometers come with: e of all axes 5 %, against each other
    1 %, b 20 mg. The covariance is that of the windows as weighted; where they scatter more, wider. If
    e is then known to 0.5 % and b to 3 mg on every axis, they count. Else only the mean of e does, with the
    priors of a calibrated accelerometer, 0.5 % and 3 mg, in place of the other two: in few attitudes a bias
    can't be told from a scale, and its share widens the standard deviation.
    """
    return tuple(_scale(windows, unit, g) for unit in range(len(windows.units)))


def _scale(windows: GravityWindows, unit: int, g: float) -> AccelerometerScale:
    """Of one unit: six parameters when they are sure, else one."""
    ok = windows.known[:, unit]
    name, F, T, sd = (
        windows.units[unit],
        windows.by_axis[ok, unit],
        windows.turned[ok, unit],
        windows.sd[ok, unit],
    )
    if len(F) < WINDOWS:
        return AccelerometerScale(name, np.ones(3), np.zeros(3), *_unknown(), False, False, len(F))
    x, C = _solved(F, T, sd, g, AXIS_SD, BIAS_SD)
    spread = np.sqrt(np.diag(C))
    by_axis = bool(spread[:3].max() < SURE_SCALE_SD and spread[3:].max() < SURE_BIAS_SD)
    if not by_axis:
        x, C = _solved(F, T, sd, g, USUAL_AXIS_SD, USUAL_BIAS_SD)
        x = np.repeat([x[:3].mean(), 0.0], 3)
        spread = np.repeat([np.sqrt(C[:3, :3].mean()), BIAS_SD], 3)
    known = by_axis or spread[0] < SURE_MEAN_SD
    sure = known and bool(np.any(np.abs(x) > 2 * spread) and np.abs(x[:3]).max() < LARGEST)
    return AccelerometerScale(name, 1 + x[:3], x[3:], spread[:3], spread[3:], by_axis, sure, len(F))


def _unknown() -> tuple[np.ndarray, np.ndarray]:
    return np.full(3, SCALE_SD), np.full(3, BIAS_SD)


def _solved(
    F: np.ndarray, T: np.ndarray, sd: np.ndarray, g: float, axis_sd: float, bias_sd: float
) -> tuple[np.ndarray, np.ndarray]:
    """Scale errors and biases (6,) and covariance, by robust Gauss–Newton with a prior."""
    together = SCALE_SD**2 * np.ones((3, 3)) + axis_sd**2 * np.eye(3)
    prior = np.zeros((6, 6))
    prior[:3, :3], prior[3:, 3:] = np.linalg.inv(together), np.eye(3) / bias_sd**2
    x, columns = np.zeros(6), np.concatenate([F, T], -1)
    for _ in range(ROUNDS):
        mean = F.sum(-1) + columns @ x
        norm = np.linalg.norm(mean, axis=-1)
        J = np.einsum("ki,kij->kj", mean / norm[:, None], columns) / sd[:, None]
        off = (norm - g) / sd
        scatter = max(1.0, float(np.median(np.abs(off))) / NORMAL_MEDIAN)
        weight = huber(off[:, None], scatter) / scatter**2
        H = (J * weight[:, None]).T @ J + prior
        x = x - np.linalg.solve(H, (J * weight[:, None]).T @ off + prior @ x)
    return x, np.linalg.inv(H)


def reading_gravity(unit: Unit, scales: Iterable[AccelerometerScale]) -> Unit:
    """The unit with its accelerometer corrected, where its scale is sure.

    Parameters
    ----------
    unit : as recorded
    scales : of any units; those of others are passed over

    Returns
    -------
    Unit
    """
    own = next((s for s in scales if s.unit == unit.name and s.sure), None)
    if own is None or unit.accelerometer is None:
        return unit
    return dataclasses.replace(unit, accelerometer=unit.accelerometer * own.factor + own.offset)


def accelerometer_findings(scales: Sequence[AccelerometerScale], handled: bool = True) -> tuple[Finding, ...]:
    """What to say about accelerometers that do not read gravity.

    Parameters
    ----------
    scales : from `accelerometer_scales`
    handled : whether `reading_gravity` was applied

    Returns
    -------
    tuple of Finding

    Notes
    -----
    Harm: an offset of b tilts by b / g, and a scale that is off by e leaves e g of every acceleration at a
    joint in disagreement, taken for a tilt of up to e: half of the sum. Corrected, what the
    standard deviations leave.
    """
    out = []
    for scale in scales:
        off = np.max(np.abs(scale.factor - 1))
        if off > max(WORTH_TELLING, 3 * scale.factor_sd.max()):
            out.append(_scale_finding(scale, handled and scale.sure))
        if scale.by_axis and np.abs(scale.offset).max() > HIGH_BIAS:
            out.append(_bias_finding(scale, handled and scale.sure))
    return tuple(out)


def _scale_finding(scale: AccelerometerScale, handled: bool) -> Finding:
    percent = 100 * (1 / scale.factor - 1)
    found = f"{percent.mean():+.1f} %"
    if scale.by_axis:
        found = ", ".join(f"{axis} {p:+.1f} %" for axis, p in zip("xyz", percent, strict=True))
    left = scale.factor_sd.max() if handled else np.max(np.abs(scale.factor - 1))
    return Finding(
        "accelerometer-scale",
        "note" if handled else "warning",
        f"{scale.unit} accelerometer: reads gravity off by {found} (± {100 * scale.factor_sd.max():.1f} %)",
        "check the unit and range of its columns, or calibrate the device: six still attitudes of 5 s each",
        units=(scale.unit,),
        value=float(percent[np.argmax(np.abs(percent))]),
        threshold=100 * WORTH_TELLING,
        measure="%",
        source="calibrated accelerometers stay within 0.3 to 1 % (from memory)",
        handled="scale taken off" if handled else "",
        harm_deg=float(np.degrees(left) / 2),
    )


def _bias_finding(scale: AccelerometerScale, handled: bool) -> Finding:
    worst = scale.offset[np.argmax(np.abs(scale.offset))]
    left = scale.offset_sd.max() if handled else abs(worst)
    return Finding(
        "bias-high",
        "note" if handled else "warning",
        f"{scale.unit} accelerometer: a bias of {-worst:+.2f} m/s² (± {scale.offset_sd.max():.2f} m/s²)",
        "calibrate the device: six still attitudes of 5 s each",
        units=(scale.unit,),
        value=float(abs(worst)),
        threshold=HIGH_BIAS,
        measure="m/s²",
        source="uncalibrated chips: 20 to 60 mg (from memory)",
        handled="bias taken off" if handled else "",
        harm_deg=float(np.degrees(left / STANDARD_GRAVITY)),
    )
