"""Joint angles beyond published ranges, and angles that hardly move in people held far from neutral."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.ndimage import median_filter

from ....body.parts import Joint
from ....core.findings import Finding
from ....core.intervals import Stretch, stretches
from ..limits import OFF_AXIS, RANGE_SDS, RANGE_SERIOUS_DEG, RANGE_SPREAD, RANGE_TOLD_DEG, RANGE_WARNING_DEG
from ..subject import Reviewed
from ..worst_stretches import worst_of

HELD_S = 1.0  # s over which an angle that hardly moves is averaged (median) before it is judged
ADVICE = (
    "Look at the stretch in the playback; if the pose can't be the person's, check the neutral pose, the "
    "mounting and whether the unit slipped; ranges are of healthy groups, so a person may differ"
)


def joint_ranges(reviewed: Reviewed) -> Iterator[Finding]:
    """Stretches in which a joint angle lies beyond its range.

    Parameters
    ----------
    reviewed : with ranges in its model

    Yields
    ------
    Finding of kind joint-range
    """
    for joint in reviewed.poses.model.joints.values():
        for angle, limits in joint.range.items():
            values = np.degrees(reviewed.poses.joint_angles[joint.name][angle])
            low, high = np.degrees(limits)
            beyond = np.maximum(np.maximum(low - values, values - high), 0.0)
            found = worst_of(stretches(reviewed.time, beyond > RANGE_TOLD_DEG), beyond)
            for stretch, more in found:
                yield _range_finding(reviewed, joint, angle, values, beyond, stretch, more)


def _range_finding(
    reviewed: Reviewed,
    joint: Joint,
    angle: str,
    values: np.ndarray,
    beyond: np.ndarray,
    stretch: Stretch,
    more: str,
) -> Finding:
    at = stretch.first + int(np.argmax(beyond[stretch.frames]))
    low, high = np.degrees(joint.range[angle])
    limit = low if values[at] < low else high
    sd = reviewed.joint_angle_sd.get(joint.name, {}).get(angle)
    sds = None if sd is None else beyond[at] / max(float(np.degrees(sd[at])), 1e-6)
    sure = sds is None or sds >= RANGE_SDS
    severity = "note" if beyond[at] < RANGE_WARNING_DEG or not sure else "warning"
    severity = "serious" if beyond[at] >= RANGE_SERIOUS_DEG and sure else severity
    how_sure = "" if sds is None else f", {sds:.1f} standard deviations of the estimate"
    return Finding(
        "joint-range",
        severity,
        f"{joint.name} {angle.replace('_', ' ')} reaches {values[at]:.1f}°, {beyond[at]:.1f}° beyond its "
        f"range of {low:.1f}° to {high:.1f}°{how_sure} (positive as the angle is named){more}",
        ADVICE,
        joints=(joint.name,),
        segments=(joint.child,),
        start=stretch.start,
        end=stretch.end,
        value=float(values[at]),
        threshold=float(limit),
        measure="deg",
        source=f"{joint.range_source or 'range in the body model'}; {RANGE_SPREAD}",
        harm_deg=float(beyond[at]),
    )


def stiff_angles(reviewed: Reviewed) -> Iterator[Finding]:
    """Stretches in which an angle with a stiffness stays over three of its spreads from neutral.

    Parameters
    ----------
    reviewed : with stiffness in its model

    Yields
    ------
    Finding of kind stiff-angle
    """
    width = 2 * round(0.5 * HELD_S / reviewed.step) + 1
    for joint in reviewed.poses.model.joints.values():
        for angle, spread in joint.stiffness.items():
            values = np.degrees(reviewed.poses.joint_angles[joint.name][angle])
            held = median_filter(values, min(width, len(values)), mode="nearest")
            limit = OFF_AXIS.value * float(np.degrees(spread))
            found = worst_of(stretches(reviewed.time, np.abs(held) > limit, shortest=HELD_S), abs(held))
            for stretch, more in found:
                yield _stiff_finding(joint, angle, held, limit, stretch, more)


def _stiff_finding(
    joint: Joint, angle: str, held: np.ndarray, limit: float, stretch: Stretch, more: str
) -> Finding:
    worst = float(held[stretch.frames][np.argmax(np.abs(held[stretch.frames]))])
    return Finding(
        "stiff-angle",
        "note",
        f"{joint.name} {angle.replace('_', ' ')} stays near {worst:.1f}°, where people hardly leave 0° "
        f"(usual spread {limit / OFF_AXIS.value:.0f}°, positive as the angle is named){more}",
        "Check the mounting of the units on both sides of the joint, and whether one slipped at the start of "
        "the stretch; a bent knee may turn this far, and how frames are laid into a segment shifts the angle",
        joints=(joint.name,),
        segments=(joint.parent, joint.child),
        start=stretch.start,
        end=stretch.end,
        value=worst,
        threshold=float(np.copysign(limit, worst)),
        measure="deg",
        source=OFF_AXIS.source,
        harm_deg=abs(worst) - limit,
    )
