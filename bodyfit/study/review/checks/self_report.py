"""What a fit says about itself in its summary, as findings: joint centres, headings, field, soft tissue."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from ....core.filters import low_passed
from ....core.findings import Finding
from ....results.units import UnitFigures
from ..limits import DRIFT_TOLD_DEG, GAP, HEADING, SOFT_TISSUE, ZERO_RATE
from ..subject import Reviewed

SLOWEST_HZ = 0.3  # Hz, below which a motion says nothing about a gap; chosen; not tried


def joint_centres(reviewed: Reviewed) -> Iterator[Finding]:
    """Joints whose two segments disagree about how their common centre is accelerated.

    Yields
    ------
    Finding of kind joint-centre

    Notes
    -----
    A gap that swings as the joint does, d = a / (2πf)², with 2πf the ratio of the root mean squares of the
    child's angular acceleration and rate (Rice's mean frequency).
    """
    for name, joint in reviewed.joints.items():
        residual = joint.centre and joint.centre.residual_m_s2
        frequency = _frequency(reviewed, reviewed.poses.model.joints[name].child)
        if residual is None or frequency is None:
            continue
        gap = 1000 * residual / (2 * np.pi * frequency) ** 2
        if gap > GAP.value:
            yield _gap_finding(reviewed, name, residual, frequency, gap)


def _frequency(reviewed: Reviewed, segment: str) -> float | None:
    """Mean frequency of a segment's turning, Hz, or None where it hardly turns."""
    rate = reviewed.turns[segment] / np.diff(reviewed.time)[:, None]
    rate = low_passed(rate, 1 / reviewed.step, 10.0) if len(rate) > 30 else rate
    size = float(np.sqrt(np.mean(np.sum(rate**2, 1))))
    if size < np.radians(5.0):
        return None
    change = np.gradient(rate, reviewed.step, axis=0)
    return max(SLOWEST_HZ, float(np.sqrt(np.mean(np.sum(change**2, 1)))) / size / (2 * np.pi))


def _gap_finding(reviewed: Reviewed, joint: str, residual: float, frequency: float, gap: float) -> Finding:
    child = reviewed.poses.model.joints[joint].child
    return Finding(
        "joint-centre",
        "serious" if gap > 2 * GAP.value else "warning",
        f"{joint}: the segments disagree by {residual:.2f} m/s² (root mean square) about its centre, as if "
        f"it gaped by {gap:.0f} mm at the {frequency:.1f} Hz of {child}'s motion",
        "Check that both units are on the segments they are said to be on, tight, and on the same clock",
        joints=(joint,),
        segments=(reviewed.poses.model.joints[joint].parent, child),
        value=float(gap),
        threshold=GAP.value,
        measure="mm",
        source=GAP.source,
    )


def headings(reviewed: Reviewed) -> Iterator[Finding]:
    """Joints whose relative heading is not determined.

    Yields
    ------
    Finding of kind heading-undetermined
    """
    for name, joint in reviewed.joints.items():
        sd = joint.heading and joint.heading.relative_heading_sd_deg
        if sd is None or sd <= HEADING.value:
            continue
        yield Finding(
            "heading-undetermined",
            "warning",
            f"{name}: the heading of its child against its parent is known to ± {min(sd, 180):.0f}° only "
            "(one standard deviation)",
            "Move more, or wear a magnetometer away from iron; angles about the vertical are not to be used",
            joints=(name,),
            segments=(reviewed.poses.model.joints[name].child,),
            value=float(sd),
            threshold=HEADING.value,
            measure="deg",
            source=HEADING.source,
            harm_deg=float(min(sd, 180)),
        )


def drift(reviewed: Reviewed) -> Iterator[Finding]:
    """Units whose gyroscope offset would have turned the heading.

    Yields
    ------
    Finding of kind heading-drift
    """
    for name, unit in reviewed.units.items():
        removed, bias = unit.heading_drift_removed_deg, unit.gyroscope_bias_deg_per_s
        if removed is None or abs(removed) < DRIFT_TOLD_DEG:
            continue
        rate = float(np.linalg.norm(bias)) if bias else 0.0
        yield Finding(
            "heading-drift",
            "warning" if rate > ZERO_RATE.value else "note",
            f"{name}: the gyroscope's offset of {rate:.2f} deg/s would have turned the heading by "
            f"{removed:.0f}° (positive: to the left, seen from above)",
            "Nothing, when the offset is usual; else let the unit warm up, or calibrate it at rest",
            **_about(name, unit, (rate, ZERO_RATE.value, "deg/s"), ZERO_RATE.source),
            handled="taken off",
        )


def soft_tissue(reviewed: Reviewed) -> Iterator[Finding]:
    """Units that rock on their segment with the force more than skin does.

    Yields
    ------
    Finding of kind soft-tissue
    """
    for name, unit in reviewed.units.items():
        level = float(np.linalg.norm(unit.elastic_deg_per_g, 2))
        if level <= SOFT_TISSUE.value:
            continue
        yield Finding(
            "soft-tissue",
            "warning",
            f"{name}: rocks by {level:.1f}° on its segment for each g of force",
            "Fasten it tighter, or over bone rather than muscle",
            **_about(name, unit, (level, SOFT_TISSUE.value, "deg"), SOFT_TISSUE.source),
            handled="its part that follows the force is taken off",
        )


def _about(name: str, unit: UnitFigures, number: tuple[float, float, str], source: str) -> dict[str, Any]:
    """Fields of a finding about a unit and its segment; number is value, threshold and measure."""
    return {
        "units": (name,),
        "segments": (unit.segment,),
        "value": float(number[0]),
        "threshold": float(number[1]),
        "measure": number[2],
        "source": source,
    }
