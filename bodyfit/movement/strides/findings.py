"""What to be wary of in strides: samples lost in swings, sensors at their limit, a late gyroscope."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ...core.findings import Finding
from .foot_motion import FootMotion
from .swings import Swings

LATE_S = 0.01  # s, of a gyroscope behind its accelerometer worth telling (by reasoning: half a keyframe)
LONG_GAP_S = 0.06  # s, of a gap that a swing's events may fall into (by reasoning: six times their spread)


def stride_findings(motions: Mapping[str, FootMotion], found: Mapping[str, Swings]) -> list[Finding]:
    """Findings on the strides of feet.

    Parameters
    ----------
    motions : side -> motion
    found : side -> swings

    Returns
    -------
    list of Finding
    """
    out = []
    for side, motion in motions.items():
        out += _gaps(side, motion, found[side])
        if motion.path is not None:
            out += _late(side, motion.path.state.lag) + _clipped(side, motion.path.samples.clipped)
    return out


def _gaps(side: str, motion: FootMotion, swings: Swings) -> list[Finding]:
    """Swings with samples missing."""
    t = motion.rate_time
    worst = np.array(
        [
            motion.gap[slice(*np.searchsorted(t, [off - 0.1, strike + 0.1]))].max(initial=0.0)
            for off, strike in zip(swings.times["toe_off"], swings.times["heel_strike"], strict=True)
        ]
    )
    hit = worst > LONG_GAP_S
    if not hit.any():
        return []
    return [
        Finding(
            "stride-gaps",
            "warning",
            f"{hit.sum()} of {len(hit)} swings of the {_foot(side)} have gaps of up to {worst.max():.2f} s",
            "record again with all samples, or leave these strides out",
            value=float(worst.max()),
            threshold=LONG_GAP_S,
            measure="s",
            source="six times the spread of an event (by reasoning)",
            handled="their events have wider standard deviations",
        )
    ]


def _late(side: str, lag: float) -> list[Finding]:
    if abs(lag) < LATE_S:
        return []
    return [
        Finding(
            "gyroscope-late",
            "note",
            f"the gyroscope on the {_foot(side)} seems {1000 * lag:.0f} ms behind its accelerometer",
            "ask the unit's maker whether both are stamped alike; a foot that slips can look like this",
            value=1000 * lag,
            threshold=1000 * LATE_S,
            measure="ms",
            source="half a keyframe (by reasoning)",
            handled="taken off",
        )
    ]


def _clipped(side: str, clipped: np.ndarray) -> list[Finding]:
    if not clipped.any():
        return []
    return [
        Finding(
            "stride-clipping",
            "warning",
            f"the unit on the {_foot(side)} was at the end of its range in {100 * clipped.mean():.1f} %",
            "set a wider range on the device and record again",
            value=float(100 * clipped.mean()),
            threshold=0.0,
            measure="%",
            source="any clipped sample counts",
            handled="short tops redrawn, and believed less",
        )
    ]


def _foot(side: str) -> str:
    return "foot" if side == "none" else f"{side} foot"
