"""Part of a body in joint coordinates: where they put each segment, by casadi, and how far they may go."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from ....core.rotations import exp
from ...chain import BodyModel
from ...parts import Joint
from ..joint_angles import joint_angles, rotation_from_angles

LONGEST_STEP = 0.5  # rad, of one coordinate in one iteration; chosen; not tried
# sine or cosine of the middle angle below which angles give way to a turn, where they can; chosen; not
# tried
SINGULAR = 0.2
# rad, distance kept from where the outer two axes coincide and their angles mean nothing; by reasoning:
# their axes differ by more than rounding there
EDGE = 1e-6


@dataclass(frozen=True, eq=False)
class Bounds:
    """Bounds of a joint's three reported angles, in the order of the joint's angles.

    Attributes
    ----------
    low, high : (3,) rad, infinite where nothing keeps the angle
    """

    low: np.ndarray
    high: np.ndarray

    def beyond(self, angles: np.ndarray) -> np.ndarray:
        """How far angles are out of bounds.

        Parameters
        ----------
        angles : (..., 3) rad

        Returns
        -------
        (..., 3) array, rad, zero within
        """
        return np.maximum(np.maximum(self.low - angles, angles - self.high), 0.0)


@dataclass(frozen=True, eq=False)
class Chain:
    """The part of a body that may move: a tree of segments, each with the joint above it.

    Attributes
    ----------
    segments : names, the topmost first, parents before children
    joints : the joint above each; None above the root of the body, which turns freely
    parents : index of each segment's parent in `segments`; −1: the parent does not move
    """

    segments: tuple[str, ...]
    joints: tuple[Joint | None, ...]
    parents: tuple[int, ...]


def chain_around(model: BodyModel, moving: frozenset[str]) -> Chain:
    """The segments that move and their children, with all joints about them.

    Parameters
    ----------
    model : the body
    moving : names of segments that hang together

    Returns
    -------
    Chain. Children that are not to move are there for the bounds of the joint above them
    """
    above = {joint.child: joint for joint in model.joints.values()}
    top = next(name for name in moving if name not in above or above[name].parent not in moving)
    below = [joint for joint in model.joints.values() if joint.parent in moving]
    segments = [top, *(joint.child for joint in below)]
    parents = [-1, *(segments.index(joint.parent) for joint in below)]
    return Chain(tuple(segments), (above.get(top), *below), tuple(parents))


def reach(joint: Joint) -> tuple[float, float]:
    """What the joint's reported middle angle can be at all.

    Parameters
    ----------
    joint : sequence and signs

    Returns
    -------
    low, high : rad; −π/2 to π/2 of three different axes, −π to 0 when the first axis comes again
    """
    return (-np.pi, 0.0) if joint.sequence[0] == joint.sequence[2] else (-np.pi / 2, np.pi / 2)


@dataclass(frozen=True, eq=False)
class Charts:
    """Coordinates of joints about where they are; leading axes frame, joint.

    Attributes
    ----------
    angles : (T, L, 3) rad, reported angles
    turns : (T, L) bool, the coordinates are a rotation vector in the parent frame, not changes of the angles
    axes : (T, L, 3, 3), rotation vector in the parent frame per coordinate, columns
    low, high : (T, L, 3) rad, how far each coordinate may go in one step; zero is allowed
    """

    angles: np.ndarray
    turns: np.ndarray
    axes: np.ndarray
    low: np.ndarray
    high: np.ndarray


def charts_at(chain: Chain, bounds: Mapping[str, Bounds], local: np.ndarray) -> Charts:
    """Coordinates in which each joint's bounds are bounds of one coordinate each.

    Parameters
    ----------
    chain : its joints
    bounds : joint name -> bounds; joints left out are free
    local : (T, L, 3, 3) parent_from_child

    Returns
    -------
    Charts. Ball joints without bounds take turns; so does one of which only the middle angle has bounds, near
    where its outer axes coincide (an arm that hangs, in Y-X-Y) and far from the bounds. A hinge keeps its
    second and third angle, a universal joint its third, a fixed joint all: their axes are zero
    """
    each = [_chart(j, bounds.get(j.name) if j else None, local[:, i]) for i, j in enumerate(chain.joints)]
    return Charts(*(np.stack(part, 1) for part in zip(*each, strict=True)))


def _chart(joint: Joint | None, bounds: Bounds | None, R: np.ndarray) -> tuple[np.ndarray, ...]:
    """The five attributes of `Charts`, for one joint."""
    step = np.full((len(R), 3), LONGEST_STEP)
    if joint is None or (bounds is None and joint.type == "ball"):
        eye = np.broadcast_to(np.eye(3), R.shape)
        return np.zeros((len(R), 3)), np.ones(len(R), bool), eye, -step, step
    angles = np.stack([*joint_angles(joint, R).values()], -1)
    axes = axes_of(joint, angles)
    bounds = bounds or _UNBOUNDED
    room = np.minimum(angles - bounds.low, bounds.high - angles)
    turns = (np.abs(np.linalg.det(axes)) < SINGULAR) & (room[:, 1] > LONGEST_STEP)
    turns &= np.isinf(room[:, 0]) & np.isinf(room[:, 2]) & (joint.type == "ball")
    low, high = _with_edges(joint, bounds)
    low = np.where(turns[:, None], -step, np.clip(low - angles, -step, 0.0))
    high = np.where(turns[:, None], step, np.clip(high - angles, 0.0, step))
    free = np.arange(3) < _FREEDOMS[joint.type]
    return angles, turns, np.where(turns[:, None, None], np.eye(3), axes * free), low, high


_FREEDOMS = {"ball": 3, "universal": 2, "hinge": 1, "fixed": 0}  # by definition of the joint types
_UNBOUNDED = Bounds(np.full(3, -np.inf), np.full(3, np.inf))  # three components, by definition


def _with_edges(joint: Joint, bounds: Bounds) -> tuple[np.ndarray, np.ndarray]:
    """Bounds (3,), (3,) that also keep the middle angle where the outer two are defined."""
    low, high = reach(joint)
    least, most = np.array([-np.inf, low + EDGE, -np.inf]), np.array([np.inf, high - EDGE, np.inf])
    return np.maximum(bounds.low, least), np.minimum(bounds.high, most)


def axes_of(joint: Joint, angles: np.ndarray) -> np.ndarray:
    """How the child turns when a reported angle changes.

    Parameters
    ----------
    joint : sequence and signs
    angles : (T, 3) rad, reported

    Returns
    -------
    (T, 3, 3) array, columns: rotation vector in the parent frame per rad of each angle
    """
    i, j, k = ("XYZ".index(axis) for axis in joint.sequence)
    raw, axis = angles * np.asarray(joint.signs), np.eye(3)
    first = exp(raw[:, :1] * axis[i])
    second = first @ exp(raw[:, 1:2] * axis[j])
    columns = [np.broadcast_to(axis[i], (len(raw), 3)), first @ axis[j], second @ axis[k]]
    return np.stack(columns, -1) * np.asarray(joint.signs)


def within(chain: Chain, bounds: Mapping[str, Bounds], local: np.ndarray) -> np.ndarray:
    """Joint rotations with each angle that is out of bounds put at the bound.

    Parameters
    ----------
    chain, bounds, local : as for `charts_at`

    Returns
    -------
    (T, L, 3, 3) array
    """
    charts = charts_at(chain, bounds, local)
    return moved(chain, bounds, local, charts, np.zeros_like(charts.low))


def moved(
    chain: Chain, bounds: Mapping[str, Bounds], local: np.ndarray, charts: Charts, x: np.ndarray
) -> np.ndarray:
    """Joint rotations after a step; no angle is out of bounds.

    Parameters
    ----------
    chain, bounds, local : as for `charts_at`
    charts : at `local`
    x : (T, L, 3) rad, the step in these coordinates

    Returns
    -------
    (T, L, 3, 3) array
    """
    new = exp(x) @ local
    for index, joint in enumerate(chain.joints):
        turns = charts.turns[:, index]
        if joint is not None and not turns.all():
            limits = _with_edges(joint, bounds.get(joint.name, _UNBOUNDED))
            angles = np.clip(charts.angles[:, index] + x[:, index], *limits)
            named = dict(zip(joint.angles, angles.T, strict=True))
            R = rotation_from_angles(joint, named).as_matrix()
            new[:, index] = np.where(turns[:, None, None], new[:, index], R)
    return new


def world_rotations(chain: Chain, base: np.ndarray, local: np.ndarray) -> np.ndarray:
    """Segments in the world.

    Parameters
    ----------
    chain : L segments
    base : (T, 3, 3) world_from_segment of the parent of the top
    local : (T, L, 3, 3) parent_from_child

    Returns
    -------
    (T, L, 3, 3) world_from_segment
    """
    world: list[np.ndarray] = []
    for index, parent in enumerate(chain.parents):
        world.append((base if parent < 0 else world[parent]) @ local[:, index])
    return np.stack(world, 1)


def deviation(
    chain: Chain, base: np.ndarray, local: np.ndarray, axes: np.ndarray, given: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """What the segments are turned by from where they were, and how coordinates change it.

    Parameters
    ----------
    chain, base, local : as for `world_rotations`
    axes : (T, L, 3, 3) of `Charts`
    given : (T, L, 3, 3) world_from_segment to compare with

    Returns
    -------
    D : (T, 9 L), R R_givenᵀ of each segment over √2: the distance of two is the angle between them when small
    J : (T, 9 L, 3 L), its change per rad of each coordinate
    """
    frames, links = local.shape[:2]
    function = _symbolic(chain.parents).map(frames)
    D, J = function(*(_side_by_side(block) for block in (base[:, None], local, axes, given)))
    return D.full().T, np.moveaxis(J.full().reshape(9 * links, frames, 3 * links), 1, 0)


def _side_by_side(blocks: np.ndarray) -> np.ndarray:
    """(T, L, 3, 3) blocks as one matrix (3, 3 L T), frame by frame."""
    return blocks.transpose(2, 0, 1, 3).reshape(3, -1)


@lru_cache(maxsize=64)
def _symbolic(parents: tuple[int, ...]) -> Any:
    """Function of one frame, in casadi: (base, local, axes, given) -> (D, J)."""
    import casadi

    links = len(parents)
    x, base = casadi.SX.sym("x", 3, links), casadi.SX.sym("base", 3, 3)
    stacks = [casadi.SX.sym(name, 3, 3 * links) for name in ("local", "axes", "given")]
    world: list[Any] = []
    for index, parent in enumerate(parents):
        local, axes, _ = (stack[:, 3 * index : 3 * index + 3] for stack in stacks)
        turn = casadi.SX.eye(3) + casadi.skew(axes @ x[:, index])  # exact to first order, as J is
        world.append((base if parent < 0 else world[parent]) @ turn @ local)
    turned = [R @ stacks[2][:, 3 * i : 3 * i + 3].T / np.sqrt(2) for i, R in enumerate(world)]
    D = casadi.vertcat(*(casadi.vec(each) for each in turned))
    at_zero = casadi.substitute([D, casadi.jacobian(D, casadi.vec(x))], [x], [casadi.SX.zeros(3, links)])
    return casadi.Function("deviation", [base, *stacks], at_zero)
