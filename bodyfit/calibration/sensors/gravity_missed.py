"""How far accelerometers miss gravity in the attitudes they were in: what they may be off by in others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ...core.findings import Finding
from ...core.gravity import STANDARD_GRAVITY
from .accelerometer_scale import BIAS_SD, HIGH_BIAS, WINDOWS, AccelerometerScale
from .gravity_windows import GravityWindows

ROUNDS = 10  # of the fixed point; chosen; not tried
FAR = 3.0  # standard deviations beyond which a window counts no more; chosen; not tried


def gravity_missed(
    windows: GravityWindows, scales: Sequence[AccelerometerScale], g: float
) -> dict[str, float]:
    """Standard deviation of what each accelerometer may be off by, beyond what calibrated ones are.

    Parameters
    ----------
    windows : means of specific force over seconds
    scales : of the same units; where the axes of one are told apart, what is left counts
    g : m/s²

    Returns
    -------
    unit -> m/s² in any direction; 0 where nothing beyond motion and chance is seen

    Notes
    -----
    |f| − g is an accelerometer's error along gravity. It is seen; the error across, which tilts the unit, is
    not, and is taken for as large: biases, scales and askew axes know no up. With d = |f| − g of every window
    and s how far motion may reach into it, σ² = Σ w² (d² − s²) / Σ w², w = 1 / (s² + σ²), the most likely
    spread beside s (DerSimonian & Laird 1986, doi:10.1016/0197-2456(86)90046-2, to convergence), less its
    standard error √(2 / Σ w²). One attitude may hide an error by chance, so a unit counts as no better than
    the middle one of its capture. A factor common to all axes is not taken off: in few attitudes a bias looks
    like one.
    """
    own = {scale.unit: _missed(windows, scale, g) for scale in scales}
    told = [value for value in own.values() if value is not None]
    usual = float(np.median(told)) if told else 0.0
    return {unit: max(value or 0.0, usual) for unit, value in own.items()}


def _missed(windows: GravityWindows, scale: AccelerometerScale, g: float) -> float | None:
    """Of one unit; None where too little was held to tell."""
    u = windows.units.index(scale.unit)
    ok = windows.known[:, u]
    if ok.sum() < WINDOWS:
        return None
    corrected = scale.sure and scale.by_axis
    factor, offset = (scale.factor, scale.offset) if corrected else (np.ones(3), np.zeros(3))
    force = (windows.by_axis[ok, u] * factor).sum(-1) + windows.turned[ok, u] @ offset
    off, motion = (np.linalg.norm(force, axis=-1) - g) ** 2, windows.sd[ok, u] ** 2
    spread = np.median(off)
    for _ in range(ROUNDS):
        weight = 1 / (motion + spread) ** 2
        inside = np.minimum(off, FAR**2 * (motion + spread))
        spread = max(0.0, np.sum(weight * (inside - motion)) / np.sum(weight))
    chance = np.sqrt(2 / np.sum((motion + spread) ** -2.0))
    return float(np.sqrt(max(0.0, spread - chance)))


def missed_findings(missed: Mapping[str, float]) -> tuple[Finding, ...]:
    """What to say of accelerometers that miss gravity by more than raw chips usually do.

    Parameters
    ----------
    missed : from `gravity_missed`

    Returns
    -------
    tuple of Finding, kind "gravity-missed"
    """
    return tuple(_finding(unit, off) for unit, off in missed.items() if off > BIAS_SD)


def _finding(unit: str, off: float) -> Finding:
    return Finding(
        "gravity-missed",
        "warning" if off > HIGH_BIAS else "note",
        f"{unit} accelerometer: misses gravity by {off:.2f} m/s² in the attitudes that it was in",
        "calibrate the device: six still attitudes of 5 s each",
        units=(unit,),
        value=off,
        threshold=HIGH_BIAS,
        measure="m/s²",
        source="biases of uncalibrated chips: 20 to 60 mg (from memory)",
        handled="standard deviations count with as much across gravity",
        harm_deg=float(np.degrees(off / STANDARD_GRAVITY)),
    )
