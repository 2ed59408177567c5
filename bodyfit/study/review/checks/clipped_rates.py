"""Rates that stay at their largest value: what a gyroscope does when it reaches the end of its scale."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.spatial.transform import Rotation

from ....core.findings import Finding
from ....core.intervals import stretches
from ..limits import PLATEAU, SLOW_PLATEAU_DEG_S
from ..subject import Reviewed
from ..worst_stretches import worst_of

TOP, NEAR_TOP = 0.01, 0.1  # below the largest rate: at the top, and near it; by reasoning: see PLATEAU
FEWEST = 4  # frames at the top; chosen; not tried


def clipped_rates(reviewed: Reviewed) -> Iterator[Finding]:
    """Stretches in which a segment's rate about an axis of its unit stays at the largest of the capture.

    Yields
    ------
    Finding of kind rate-plateau

    Notes
    -----
    A smooth top, ω ≈ Ω (1 − (t/τ)²), is within 1 % of its height for a third of the time that it is within
    10 % (√(0.01/0.1) = 0.32); a clipped one nearly as long.
    """
    worn = {unit.segment: (name, unit.mounting_quat_xyzw) for name, unit in reviewed.units.items()}
    for segment in reviewed.poses.model.segments:
        if worn and segment not in worn:
            continue
        name, quat = worn[segment] if worn else ("", (0.0, 0.0, 0.0, 1.0))
        mounting = Rotation.from_quat(quat)
        rate = mounting.inv().apply(reviewed.turns[segment]) / np.diff(reviewed.time)[:, None]
        rate[reviewed.jumps[segment]] = 0.0
        for axis in range(3):
            for sign in (1.0, -1.0):
                yield from _plateaus(reviewed, segment, name, np.degrees(sign * rate[:, axis]))


def _plateaus(reviewed: Reviewed, segment: str, unit: str, rate: np.ndarray) -> Iterator[Finding]:
    top = float(rate.max())
    if top < SLOW_PLATEAU_DEG_S:
        return
    at_top, near_top = rate > (1 - TOP) * top, rate > (1 - NEAR_TOP) * top
    near = stretches(reviewed.time[1:], near_top, join=reviewed.step, shortest=0.0)
    flat = [s for s in near if _is_flat(at_top[s.frames])]
    kept = worst_of(flat, near_top.astype(float))
    for stretch, more in kept:
        share = float(at_top[stretch.frames].mean())
        yield Finding(
            "rate-plateau",
            "warning",
            f"{segment} stays at {top:.0f} deg/s about one axis for {100 * share:.0f} % of a fast turn, as a "
            f"gyroscope at the end of its scale does{more}",
            "Look at the unit's gyroscope; if it was clipped, set a larger range, and don't use this turn",
            units=(unit,) if unit else (),
            segments=(segment,),
            start=stretch.start,
            end=stretch.end,
            value=100 * share,
            threshold=100 * PLATEAU.value,
            measure="%",
            source=PLATEAU.source,
            harm_deg=5.0,
        )


def _is_flat(at_top: np.ndarray) -> bool:
    return int(at_top.sum()) >= FEWEST and float(at_top.mean()) > PLATEAU.value
