"""Lengths of segments as the motion shows them: how far the two lever arms of a unit are apart."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...alignment.joint_centre import LeverPrior
from ...body.chain import BodyModel
from ...estimator.problem.estimate import Estimate
from ...estimator.uncertainty.lever_arms import told_lever_arms
from .length import Length

# m, what soft tissue and scale errors add to the noise; tried: root mean square error of lengths with little
# noise, 16 to 29 mm on simulated people (1 and 3 °/g), 8 mm on the chain with optical reference
MOTION_SD = 0.02
NOTHING_KNOWN = 1.0  # m, prior of each lever arm: the motion alone is asked
# share of a length; a larger standard deviation, and the motion does not show it; chosen; not tried
SHOWN = 0.2


def lengths_from_motion(model: BodyModel, found: Estimate, segments: Sequence[str]) -> dict[str, Length]:
    """Lengths of segments whose unit sees the joint at either end.

    Parameters
    ----------
    model : the body; a segment counts that is child of one joint and parent of one joint
    found : the whole body solved
    segments : segment of each unit

    Returns
    -------
    segment -> Length, where the motion shows it to a fifth of its size

    Notes
    -----
    The unit's two lever arms end at the two joint centres, so the length is |d|, d = r₁ − r₂, wherever the
    unit sits. With n = d/|d| and Σ the covariance of d its variance is nᵀ Σ n; what Σ holds across n makes
    |d| longer by tr(Σ − n nᵀ Σ)/2|d|, which is counted as a deviation too. In a motion that is nearly plane,
    soft tissue can feign arms across it, decimetres long; where the mounting is known, what d has beside the
    direction in which the body has the joint, and beyond what an error of the mounting explains, is taken as
    the size of such errors along n too. The arms are solved for once more
    without what the body's dimensions suggest, so that the length is the motion's alone. Where the body has
    both joints at one place (nearer than `MOTION_SD`), their distance says nothing of the segment.
    """
    body = found.body
    if not len(body.levers):
        return {}
    size = body.levers.size
    prior = LeverPrior(np.zeros(size), np.eye(size) / NOTHING_KNOWN**2)
    levers, covariance = told_lever_arms(found, prior)
    out = {}
    for name, (near, far) in _two_ends(model, found, segments).items():
        d, S = _difference(levers, covariance, far, near)
        length = _norm(d, S)
        beside = _beside(model, found, segments.index(name), name, d)
        length = Length(length.value, float(np.hypot(length.sd, beside)))
        if length.sd < SHOWN * length.value:
            out[name] = _of_segment(model, name, length)
    return out


def _beside(model: BodyModel, found: Estimate, unit: int, name: str, d: np.ndarray) -> float:
    """How far, m and per axis, the joint centres lie beside where the body has them; what mounting explains
    is left out. Zero where mounting or body are not known. See `lengths_from_motion`.
    """
    mounting, expected = found.body.mounting, _between(model, name)
    if expected is None or not mounting.sure[unit]:
        return 0.0
    n = expected / np.linalg.norm(expected)
    seen = mounting.segment_from_unit[unit] @ d
    C = mounting.covariance[unit]
    turned = float(np.trace(C) - n @ C @ n)  # rad², of how far n may be off
    across = float(np.sum((seen - (seen @ n) * n) ** 2)) - turned * float(seen @ n) ** 2
    return float(np.sqrt(max(0.0, across) / 2))


def _between(model: BodyModel, name: str) -> np.ndarray | None:
    """(3,) m, from the proximal to the distal joint centre of a segment, or None."""
    near = next(joint for joint in model.joints.values() if joint.child == name)
    far = next(joint for joint in model.joints.values() if joint.parent == name)
    if near.centre_in_child is None or far.centre_in_parent is None:
        return None
    return np.asarray(far.centre_in_parent - near.centre_in_child)


def _apart(model: BodyModel, name: str) -> bool:
    """Whether the joints of a segment are, for all that the body says, at two places."""
    between = _between(model, name)
    return between is None or float(np.linalg.norm(between)) > MOTION_SD


def _two_ends(model: BodyModel, found: Estimate, segments: Sequence[str]) -> dict[str, tuple[int, int]]:
    """Segment -> places of its two lever arms among all, proximal one first."""
    units, out = found.body.ends.units, {}
    for u, name in enumerate(segments):
        count = [sum(end == name for end in (j.parent, j.child)) for j in model.joints.values()]
        near, far = np.flatnonzero(units[:, 1] == u), np.flatnonzero(units[:, 0] == u)
        if sum(count) == 2 and len(near) == 1 and len(far) == 1 and _apart(model, name):
            out[name] = (2 * int(near[0]) + 1, 2 * int(far[0]))
    return out


def _difference(
    levers: np.ndarray, covariance: np.ndarray, one: int, other: int
) -> tuple[np.ndarray, np.ndarray]:
    """(3,) m and (3, 3) m², one lever arm less another, by their places among all."""
    arms = levers.reshape(-1, 3)
    C = covariance.reshape(len(arms), 3, len(arms), 3)
    cross = C[one, :, other]
    return arms[one] - arms[other], C[one, :, one] + C[other, :, other] - cross - cross.T


def _norm(d: np.ndarray, S: np.ndarray) -> Length:
    """Length of a vector with its standard deviation, see `lengths_from_motion`."""
    length = float(np.linalg.norm(d))
    if length == 0.0:  # no gyroscope: nothing turned, and no arm was felt
        return Length(0.0, np.inf)
    n = d / length
    along = float(n @ S @ n)
    longer = (float(np.trace(S)) - along) / (2 * length)
    return Length(length, float(np.sqrt(along + longer**2 + MOTION_SD**2)))


def _of_segment(model: BodyModel, name: str, between: Length) -> Length:
    """Length of a segment from the distance between its joint centres, which may be part of it only."""
    length, expected = model.segments[name].length, _between(model, name)
    if length is None or expected is None:
        return between
    share = length / float(np.linalg.norm(expected))
    return Length(share * between.value, share * between.sd)
