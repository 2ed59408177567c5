"""Left or right: how likely each sense of a limb's joints makes a side."""

from __future__ import annotations

import numpy as np
from scipy.special import i0e, ndtr

from ...core.rotations import as_complex
from .body_tree import MOUNTED_SD, Bends
from .joint_likelihood import PLACE_SD, Evidence, log_mixed

SIDE_OUTLIER = 0.02  # the same for directions that tell left from right; chosen; not tried
SENSE_SD = 0.15  # of the sine of the mean angle of flexion; chosen; not tried
# from the left joint centre to the right one: direction, and m; chosen; not tried
SIDE_SD, SIDE_M = np.radians(10.0), 0.03
HEADINGS = 72  # as HEADINGS of alignment/joint_centre.py


def side_score(known: Evidence, assignment: np.ndarray) -> float:
    """How well left and right fit which way knees and elbows bend, and stated mountings of the trunk.

    Parameters
    ----------
    known : evidence
    assignment : (S,) unit on each segment, U for none

    Returns
    -------
    log-likelihood ratio

    Notes
    -----
    In each set of connected units, the heading φ of the body's right is unknown: the mean over φ of the
    product of what every knee, elbow and mounting says of φ, and what the joint centres left and right of
    the trunk say.
    """
    tree, U = known.tree, len(known.mean_world)
    group, heading = _aligned(known, assignment)
    phi = np.arange(HEADINGS) * 2 * np.pi / HEADINGS
    logs = {g: np.zeros(HEADINGS) for g in set(group.values())}
    for bend in tree.bends:
        p, c = map(int, assignment[tree.ends[bend.joint]])
        if p < U and c < U:
            logs[group[p]] += _bending(known, assignment, bend, heading[p], phi)
    for (s, u), axis in known.right.items():
        if assignment[s] == u:
            logs[group[u]] += _towards(known.mean_world[u] @ axis, heading[u], MOUNTED_SD, phi)
    for left, right in tree.mirrored:
        trunk = int(assignment[tree.ends[left, 0]])
        l, r = assignment[tree.ends[[left, right], 1]]
        if max(trunk, l, r) < U:
            d = known.pairs.lever[trunk, r] - known.pairs.lever[trunk, l]
            C = known.pairs.lever_covariance[trunk, [l, r]].sum(0)
            sd = np.hypot(SIDE_SD, np.sqrt(SIDE_M**2 + np.trace(C) / 3) / max(np.linalg.norm(d), 1e-3))
            logs[group[trunk]] += _towards(known.mean_world[trunk] @ d, heading[trunk], sd, phi)
    return float(sum(np.logaddexp.reduce(x) - np.log(HEADINGS) for x in logs.values()))


def _aligned(known: Evidence, assignment: np.ndarray) -> tuple[dict[int, int], dict[int, float]]:
    """Per unit: the unit that its connected set starts from, and the turn of its world onto that one's."""
    U = len(known.mean_world)
    group, heading = {int(u): int(u) for u in assignment if u < U}, dict.fromkeys(map(int, assignment), 0.0)
    for p, c in assignment[known.tree.ends]:
        if p < U and c < U:
            turn = float(known.pairs.heading[p, c])
            group[int(c)], heading[int(c)] = group[int(p)], heading[int(p)] + turn
    return group, heading


def _bending(
    known: Evidence, assignment: np.ndarray, bend: Bends, heading: float, phi: np.ndarray
) -> np.ndarray:
    """(H,) log-likelihood ratio of the body's right, from a joint that bends one way only.

    Along the parent from joint to joint u, along the child v, axis a: bending shows as the sine
    (u × v)·a / |u||v|, whose sign orients a.
    """
    pairs, (p, c) = known.pairs, assignment[known.tree.ends[bend.joint]]
    axis = pairs.axis[p, c]
    u, sd_u = _long_axis(known, assignment, bend.joint, 0, axis)
    v, sd_v = _long_axis(known, assignment, bend.joint, 1, pairs.axis[c, p])
    sine = np.cross(axis, u) @ pairs.mean_relative[p, c] @ v / (np.linalg.norm(u) * np.linalg.norm(v))
    sure = ndtr(bend.sense * sine / np.sqrt(SENSE_SD**2 + sd_u**2 + sd_v**2))
    sd = float(np.hypot(bend.sd, pairs.axis_sd[p, c]))
    one = _towards(known.mean_world[p] @ axis, heading, sd, phi)
    return np.logaddexp(np.log(sure + 1e-9) + one, np.log(1 - sure + 1e-9) + np.roll(one, len(phi) // 2))


def _long_axis(
    known: Evidence, assignment: np.ndarray, joint: int, side: int, axis: np.ndarray
) -> tuple[np.ndarray, float]:
    """Vector downwards along a segment at a joint, in its unit's frame, and its sd about the axis, rad.

    From joint centre to joint centre; from the unit to the joint centre where nothing is worn beyond.
    """
    tree, pairs, U = known.tree, known.pairs, len(known.mean_world)
    unit, near = assignment[tree.ends[joint, side]], assignment[tree.ends[joint, 1 - side]]
    far = [assignment[tree.ends[j, 1 - s]] for j, s in tree.at(tree.ends[joint, side]) if j != joint]
    span, C, least = pairs.lever[unit, near], pairs.lever_covariance[unit, near], PLACE_SD
    if len(far) and min(far) < U:
        span, C, least = (
            span - pairs.lever[unit, min(far)],
            C + pairs.lever_covariance[unit, min(far)],
            SIDE_M,
        )
    across = np.cross(axis, span)
    length = max(float(np.linalg.norm(across)), 1e-3)
    sd = np.sqrt(least**2 + across @ C @ across / length**2) / length
    return (span if side == 0 else -span), float(sd)


def _towards(v: np.ndarray, heading: float, sd: float, phi: np.ndarray) -> np.ndarray:
    """(H,) log-likelihood ratio of φ from a mean vector that should point there; less when it is upright."""
    z = as_complex(v) * np.exp(1j * heading)
    level = abs(z) / max(float(np.linalg.norm(v)), 1e-9)
    k = 1 / np.hypot(sd, 0.2 / max(level, 1e-3)) ** 2
    return log_mixed(np.exp(k * (np.cos(np.angle(z) - phi) - 1)) / i0e(k), 1.0, SIDE_OUTLIER)
