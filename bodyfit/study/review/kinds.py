"""Every kind of finding that a review gives: the unit of its number, and its limit where it is one number."""

from __future__ import annotations

from dataclasses import dataclass

from .limits import (
    ASYMMETRY,
    FASTEST_RUN,
    FLOAT,
    FRICTION,
    GAP,
    GIMBAL,
    HEADING,
    IMPACT,
    JUMP_DEG,
    PLATEAU,
    PULL,
    SLIDE,
    SLIP_DEG,
    SOFT_TISSUE,
    SWAP,
    UNDER,
    ZERO_RATE,
)


@dataclass(frozen=True)
class Kind:
    """What a kind's number is.

    Attributes
    ----------
    measure : unit of value and threshold
    limit : the threshold, or None: it depends on the joint or on the two segments
    """

    measure: str
    limit: float | None


# to percent, by definition
KINDS = {
    "joint-range": Kind("deg", None),
    "stiff-angle": Kind("deg", None),
    "sides-swapped": Kind("times", SWAP.value),
    "unit-slip": Kind("deg", SLIP_DEG),
    "rate-plateau": Kind("%", 100 * PLATEAU.value),
    "rotation-jump": Kind("deg", JUMP_DEG),
    "root-jump": Kind("m/s", FASTEST_RUN.value),
    "joint-rate": Kind("deg/s", None),
    "joint-acceleration": Kind("deg/s²", None),
    "joint-centre": Kind("mm", GAP.value),
    "heading-undetermined": Kind("deg", HEADING.value),
    "heading-drift": Kind("deg/s", ZERO_RATE.value),
    "soft-tissue": Kind("deg", SOFT_TISSUE.value),
    "interpenetration": Kind("mm", None),
    "foot-under-ground": Kind("mm", UNDER.value),
    "foot-sliding": Kind("m", SLIDE.value),
    "foot-floating": Kind("mm", FLOAT.value),
    "joint-torque": Kind("N·m/kg", None),
    "ground-pull": Kind("body weights", -PULL.value),
    "ground-friction": Kind("times", FRICTION.value),
    "ground-impact": Kind("body weights", IMPACT.value),
    "gimbal": Kind("deg", GIMBAL.value),
    "asymmetry": Kind("%", ASYMMETRY.value),
}
