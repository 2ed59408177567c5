"""Where a body goes: its root from the paths of its feet, which drift apart slowly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..core.rotations import UP
from .normal_equations import HERE, NEXT, BandedEquations, NormalEquations, Solved, Stretch, stretches

# m, of a foot as the body has it against its own path: soft tissue, lengths of segments; chosen; not tried
MISFIT = 0.03
LASTING_S = 0.3  # s, over which such a misfit lasts: half a stance; chosen; not tried
# m a stride of 1.3 m, of a foot's path; tried: its stride lengths are off by this on open walks
DRIFT = 0.015
STRIDE_M = 1.3  # m, of an adult's stride (Oberg 1993, from memory)
# of the way, by which a foot's path is too long or too short on the whole; tried: open walks are −0.7 and
# +0.6 % off; 0.2 to 3 % on simulated loops and stairs, from 1 % on the lengths of the body's legs decide
SHARE = 0.007
HELD_SHARE = 1e-5  # a keyframe, by which that share changes (by reasoning: not at all)
TURNING = 0.01  # rad/√s, by which the heading of a foot's path wanders: a fit's headings; chosen; not tried
START = 0.05, 0.1  # m and rad, of a foot's place and heading at the first keyframe; chosen; not tried
PUSH = 3.0  # m/s², acceleration of the root: walking shows 2 to 4 (from memory)
HELD = 1e-4  # m, that a place moves by beside its velocity (by reasoning: nothing)
NODES = 12  # instants at which standard deviations are found; chosen; not tried
I = np.eye(3)  # by definition
# columns, by definition; a limb has three of drift, one of heading and one of length
PLACE, VELOCITY, LIMB = slice(0, 3), slice(3, 6), 5


@dataclass(frozen=True, eq=False)
class Limb:
    """One foot on K common keyframes.

    Attributes
    ----------
    point : (K, 3) m, of a point of the foot by its own path, world, from where it starts
    from_root : (K, 3) m, the same point against the root, by the body
    slip_share : of its way, by which it would be off if its stances slipped all alike
    """

    point: np.ndarray
    from_root: np.ndarray
    slip_share: float = 0.0


@dataclass(frozen=True, eq=False)
class RootPath:
    """Where the root goes.

    Attributes
    ----------
    place : (K, 3) m, from where it starts
    sd_time : (n,) s, instants from the first on
    sd : (n, 3) m, standard deviation of the place there, against the first keyframe
    stride_sd : m, of a stride's length, median over those of the feet; NaN: no stride
    belt_speed : m/s, of a treadmill, whose way is not in the path; None: over ground
    """

    place: np.ndarray
    sd_time: np.ndarray
    sd: np.ndarray
    stride_sd: float = float("nan")
    belt_speed: float | None = None


def root_path(time: np.ndarray, limbs: Sequence[Limb]) -> RootPath:
    """The root's path from those of one or two feet.

    Parameters
    ----------
    time : (K,) s, evenly spaced
    limbs : one or two feet

    Returns
    -------
    RootPath

    Notes
    -----
    Linear least squares. Root p with velocity v; of each foot drift e, slow heading ψ and error of length κ
    of its own path b; d is the same point against the root by the body: p + d − (b + e) = 0,
    Δe = ψ up × Δb + κ Δb (horizontally), Δψ = 0, Δκ = 0, Δv = 0.
    """
    K, dt = len(time), float(time[1] - time[0])
    n = 6 + LIMB * len(limbs)
    whole = BandedEquations(K, n, 0)
    for stretch in stretches(K):
        to = NormalEquations(stretch.last - stretch.first + 1, n, 0)
        _add_root(to, dt)
        for number, limb in enumerate(limbs):
            _add_limb(to, stretch, slice(6 + LIMB * number, 6 + LIMB * (number + 1)), limb, dt)
        whole.put(stretch, to)
    solved = whole.solved()
    nodes = np.unique(np.linspace(0, K - 1, NODES).astype(int))
    place = solved.step[:, PLACE]
    sd = _sd(solved, nodes)
    gone = np.linalg.norm((place[nodes] - place[0])[:, [0, 2]], axis=1)
    common = (
        np.mean([limb.slip_share for limb in limbs]) * gone
    )  # what all strides share does not average out
    sd[:, [0, 2]] = np.hypot(sd[:, [0, 2]], common[:, None])
    return RootPath(place - place[0], time[nodes], sd)


def _add_root(to: NormalEquations, dt: float) -> None:
    """The root moves by its velocity, which changes as much as people push."""
    K = len(to.own)
    nothing = np.zeros((K - 1, 3))
    to.add(nothing, [(HERE, PLACE, -I), (NEXT, PLACE, I), (HERE, VELOCITY, -dt * I)], np.full(K - 1, HELD))
    to.add(nothing, [(HERE, VELOCITY, -I), (NEXT, VELOCITY, I)], np.full(K - 1, PUSH * dt))


def _add_limb(to: NormalEquations, stretch: Stretch, columns: slice, limb: Limb, dt: float) -> None:
    """The body's foot lies on the path that the foot found, which drifts, turns and may be too long."""
    drift, heading, share = slice(columns.start, columns.start + 3), columns.start + 3, columns.start + 4
    point = limb.point[stretch.span] - limb.point[0] + limb.from_root[0]
    apart = (limb.from_root[stretch.span] - point)[: stretch.own.stop - stretch.own.start]
    sd = np.full(len(apart), MISFIT * np.sqrt(1 + 2 * LASTING_S / dt))
    to.add(apart, [(HERE, PLACE, I), (HERE, drift, -I)], sd, np.arange(len(apart)))
    way = np.diff(point, axis=0)
    count = len(way)
    turned = np.stack([-way[:, 2], np.zeros(count), way[:, 0]], 1)[..., None]
    far = np.maximum(np.linalg.norm(way, axis=1), 0.02 * dt)  # 2 cm/s: drift of a foot that stands (guessed)
    longer = -(way * (1.0 - UP))[..., None]
    drifting = [(HERE, drift, -I), (NEXT, drift, I), (HERE, heading, turned), (HERE, share, longer)]
    to.add(np.zeros((count, 3)), drifting, DRIFT * np.sqrt(far / STRIDE_M))
    for column, sd in ((heading, TURNING * np.sqrt(dt)), (share, HELD_SHARE)):
        changing = [(HERE, column, -np.ones((1, 1))), (NEXT, column, np.ones((1, 1)))]
        to.add(np.zeros((count, 1)), changing, np.full(count, sd))
    if stretch.first == 0:
        to.own[0, drift, drift] += I * START[0] ** -2
        to.own[0, heading, heading] += START[1] ** -2
        to.own[0, share, share] += SHARE**-2


def _sd(solved: Solved, nodes: np.ndarray) -> np.ndarray:
    """(m, 3) m, standard deviation of the root's place at keyframes, against the first.

    |C⁻¹ (e_0 − e_k)|, C the lower Cholesky factor.
    """
    n = solved.step.shape[1]
    out = np.zeros((len(nodes), 3))
    for axis in range(3):
        first = solved.half(axis)
        for m in np.flatnonzero(nodes).tolist():
            apart = first.copy()
            apart[int(nodes[m]) * n :] -= solved.half(int(nodes[m]) * n + axis)
            out[m, axis] = np.sqrt(apart @ apart)
    return out
