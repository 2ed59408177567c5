"""Left against right: ranges of motion that differ, and segments that were taken for the other side's."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ....body.anatomy import LEFT, mirrored
from ....core.findings import Finding
from ..limits import ASYMMETRY, ASYMMETRY_WORTH_DEG, SWAP
from ..subject import Reviewed

# rad/s, root mean square rate of a segment below which sides can't be told apart; chosen; not tried
MOVING = np.radians(10.0)


def asymmetry(reviewed: Reviewed) -> Iterator[Finding]:
    """Joint angles whose range of motion differs between left and right.

    Yields
    ------
    Finding of kind asymmetry

    Notes
    -----
    Index 100 |L − R| / (½ (L + R)), Herzog et al. 1989; L, R from the 2nd to the 98th percentile.
    """
    angles = reviewed.poses.joint_angles
    for left, right in ((name, mirrored(name)) for name in angles if name.startswith(LEFT)):
        if right is None or right not in angles:
            continue
        joint = reviewed.poses.model.joints[left]
        euler = joint.sequence[0] == joint.sequence[2]  # its outer angles turn around near the gimbal
        names = [a for a in (joint.angles[1:2] if euler else joint.angles) if a in angles[right]]
        pairs = [(a, _span(angles[left][a]), _span(angles[right][a])) for a in names]
        found = [(_index(l, r), a, l, r) for a, l, r in pairs]
        index, angle, l_deg, r_deg = max(found, default=(0.0, "", 0.0, 0.0))
        if index > ASYMMETRY.value and abs(l_deg - r_deg) > ASYMMETRY_WORTH_DEG:
            yield _asymmetry_finding(left, right, angle, index, l_deg, r_deg)


def _span(values: np.ndarray) -> float:
    """Range of motion, deg; of an angle that turns around, the continuous one."""
    low, high = np.percentile(np.unwrap(values), (2, 98))
    return float(np.degrees(high - low))


def _index(left: float, right: float) -> float:
    """Difference in percent of the mean; what moves too little on both sides counts as alike."""
    if abs(left - right) <= ASYMMETRY_WORTH_DEG:
        return 0.0
    return 100 * abs(left - right) / (0.5 * (left + right))


def _asymmetry_finding(
    left: str, right: str, angle: str, index: float, l_deg: float, r_deg: float
) -> Finding:
    return Finding(
        "asymmetry",
        "note",
        f"{left} {angle.replace('_', ' ')} moves through {l_deg:.0f}° and {right} through {r_deg:.0f}°, a "
        f"difference of {index:.0f} % of their mean",
        "Of a task that is alike on both sides, compare repetitions and the units' mounting; of a one-sided "
        "task this is as it should be",
        joints=(left, right),
        value=index,
        threshold=ASYMMETRY.value,
        measure="%",
        source=ASYMMETRY.source,
    )


def swapped_sides(reviewed: Reviewed) -> Iterator[Finding]:
    """Feet or hands (ends of limbs) that turn with the other side's neighbour rather than with their own.

    Yields
    ------
    Finding of kind sides-swapped

    Notes
    -----
    Neighbours turn together, so of E|ω_child − ω_parent|² the one with the right parents is the smaller.
    Rates are compared by their length and along the vertical and horizontal plane of the world, so headings
    that are off do no harm; nor does a segment that a fit, misled by the exchange, turned front to back.
    """
    model = reviewed.poses.model
    parents = {joint.parent for joint in model.joints.values()}
    for name, joint in model.joints.items():
        other = model.joints.get(mirrored(name) or "") if name.startswith(LEFT) else None
        if other is None or joint.parent == other.parent or joint.child in parents:
            continue
        ratio = _swap_ratio(reviewed, (joint.parent, joint.child), (other.parent, other.child))
        if ratio > SWAP.value:
            yield _swap_finding(reviewed, (name, other.name), (joint.child, other.child), ratio)


def _swap_ratio(reviewed: Reviewed, left: tuple[str, str], right: tuple[str, str]) -> float:
    """Mean square rate of the children against their own parents, over that against the other side's."""
    (lp, lc), (rp, rc) = (tuple(_world_rate(reviewed, s) for s in side) for side in (left, right))
    if min(_mean_square(lc), _mean_square(rc)) < MOVING**2:
        return 0.0
    own = _apart(lc, lp) + _apart(rc, rp)
    return own / max(_apart(lc, rp) + _apart(rc, lp), 1e-12)


def _apart(child: np.ndarray, parent: np.ndarray) -> float:
    """Mean square difference of two segments' rates; the child's level axis may point either way."""
    return min(_mean_square(child * [1.0, sign] - parent) for sign in (1.0, -1.0))


def _world_rate(reviewed: Reviewed, segment: str) -> np.ndarray:
    """(T − 1, 2) rad/s: rate about the vertical, and about whatever horizontal axis is the body's right."""
    R = reviewed.poses.rotations[segment][:-1]
    rate = R.apply(reviewed.turns[segment]) / np.diff(reviewed.time)[:, None]
    right = R.apply([0.0, 0.0, 1.0]) * [1.0, 0.0, 1.0]
    right /= np.maximum(np.linalg.norm(right, axis=1, keepdims=True), 1e-9)
    rate = np.stack([rate[:, 1], np.sum(rate * right, axis=1)], -1)
    return np.where(reviewed.jumps[segment][:, None], 0.0, rate)


def _mean_square(values: np.ndarray) -> float:
    return float(np.mean(np.sum(np.square(values), axis=-1)))


def _swap_finding(
    reviewed: Reviewed, joints: tuple[str, str], segments: tuple[str, str], ratio: float
) -> Finding:
    return Finding(
        "sides-swapped",
        "serious",
        f"{segments[0]} and {segments[1]} turn with the other side's neighbour: {ratio:.1f} times as much "
        "motion (mean square rate) against their own",
        f"Check whether the units of {segments[0]} and {segments[1]} were exchanged; "
        "exchange them in setup.toml",
        segments=segments,
        joints=joints,
        start=float(reviewed.time[0]),
        end=float(reviewed.time[-1]),
        value=ratio,
        threshold=SWAP.value,
        measure="times",
        source=SWAP.source,
        harm_deg=30.0,
    )
