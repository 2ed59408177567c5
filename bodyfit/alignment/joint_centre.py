"""Joint centres from accelerations: lever arms from units to the joints between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..core.arrays.scratch import let_go, room, rows_at_once
from ..core.robust import huber, normal_sums
from ..core.rotations import UP, apply, skew
from ..recording.keyframe_averages import Averages
from .joint_equations import TURN_BASIS, arms_solved, by_heading, centre_rows, projected

# of a circle, 5° apart; by reasoning: the cost between two is smooth, and the solver goes on from the best
HEADINGS = 72


@dataclass(frozen=True, eq=False)
class Ends:
    """Which unit sits at either end of each joint: `units` (J, 2), parent first."""

    units: np.ndarray

    @property
    def parents(self) -> np.ndarray:
        """(J,)."""
        return self.units[:, 0]

    @property
    def children(self) -> np.ndarray:
        """(J,)."""
        return self.units[:, 1]


@dataclass(frozen=True, eq=False)
class LeverPrior:
    """What is known of the lever arms beforehand: mean (6J,) m and precision (6J, 6J) 1/m²."""

    mean: np.ndarray
    precision: np.ndarray


def lever_prior(
    ends: Ends,
    centres: list[tuple[np.ndarray | None, np.ndarray | None]],
    places: list[tuple[np.ndarray, np.ndarray] | None],
    unit_from_segment: np.ndarray,
    turn_covariance: np.ndarray,
    lever_sd: float,
    centre_sd: float | np.ndarray,
) -> LeverPrior:
    """Lever arms that the body's dimensions and the units' places suggest.

    Parameters
    ----------
    ends : of J joints
    centres : per joint, its centre in the parent's and the child's segment frame, m, or None
    places : per unit, mean and covariance of its origin in the segment frame, m, m², or None
    unit_from_segment : (U, 3, 3)
    turn_covariance : (U, 3, 3) rad², of its rotation vector, segment frame
    lever_sd : m, an unknown lever arm
    centre_sd : m, a joint centre that is given; a number, or (U,) by the segment in which it is given

    Returns
    -------
    LeverPrior

    Notes
    -----
    r = M (c − p), M = unit_from_segment: arms of one unit share its place p and its mounting, so their
    difference is as certain as the segment's length even where p is not.
    """
    J = len(ends.units)
    mean, covariance = np.zeros((2 * J, 3)), np.eye(6 * J) * lever_sd**2
    centre_sd = np.broadcast_to(centre_sd, len(unit_from_segment))
    for unit in np.unique(ends.units):
        place = places[unit]
        at = [e for e in range(2 * J) if ends.units[e // 2, e % 2] == unit]
        here = [e for e in at if place is not None and centres[e // 2][e % 2] is not None]
        if not here:
            continue
        assert place is not None
        M = unit_from_segment[unit]
        for e in here:
            centre = centres[e // 2][e % 2]
            assert centre is not None
            mean[e] = M @ (centre - place[0])
            for other in here:
                beside = np.asarray(centres[other // 2][other % 2]) - place[0]
                turned = skew(centre - place[0]) @ turn_covariance[unit] @ skew(beside).T
                own = centre_sd[unit] ** 2 * np.eye(3) if e == other else 0.0
                shared = place[1] + turned + own
                covariance[3 * e : 3 * e + 3, 3 * other : 3 * other + 3] = M @ shared @ M.T
    return LeverPrior(mean.ravel(), np.linalg.inv(covariance))


def joint_start(
    parent: tuple[np.ndarray, np.ndarray],
    child: tuple[np.ndarray, np.ndarray],
    mean: np.ndarray,
    precision: np.ndarray,
    sd: float,
    correlated: float,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Lever arms for every heading of a child against its parent, and how well each heading fits.

    Parameters
    ----------
    parent, child : force (k, 3) m/s² and lever matrices (k, 3, 3) 1/s² in the world frame, each unit's own
        heading
    mean, precision : (6,) m and (6, 6) 1/m², prior of the two arms
    sd : m/s², disagreement at the joint centre
    correlated : number of keyframes over which it is alike

    Returns
    -------
    headings : (H,) rad, turn of the child about the vertical
    cost : (H,), half the weighted sum of squares
    levers : (H, 2, 3) m

    Notes
    -----
    Variable projection: for a heading ψ the disagreement F_p + L_p r_p − Ry(ψ) (F_c + L_c r_c) is linear in
    the arms, and Ry(ψ) is linear in (1, cos ψ, sin ψ), so all sums over time are made once. Robust weights
    from the best heading, twice.
    """
    headings = np.arange(HEADINGS) * 2 * np.pi / HEADINGS
    basis = by_heading(headings)
    own, untouched = (np.concatenate([lever, force[..., None]], -1) for force, lever in (parent, child))
    turned = np.array(TURN_BASIS)[:, None] @ untouched  # ψ = 0 leaves it as it is; cc is the same for any ψ
    w = np.ones(len(own))
    for _ in range(3):
        scale = w / (correlated * sd**2)
        weighted = (own * scale[:, None, None]).reshape(-1, 4)
        pp = weighted.T @ own.reshape(-1, 4)
        pc = weighted.T @ turned.reshape(3, -1, 4)
        cc = (untouched * scale[:, None, None]).reshape(-1, 4).T @ untouched.reshape(-1, 4)
        H, b, c = projected(pp, np.einsum("hb,bjl->hjl", basis, pc), cc, mean, precision)
        levers, fall = arms_solved(H, b)
        cost = 0.5 * (c - fall)
        best = int(np.argmin(cost))
        full = np.tensordot(basis[best], turned, 1)
        r = levers[best]
        off = own @ np.append(r[:3], 1.0) - full @ np.append(r[3:], 1.0)
        w = huber(off, sd)
    return headings, cost, levers.reshape(-1, 2, 3)


def levers_from_rotations(
    average: Averages,
    ends: Ends,
    levers: np.ndarray,
    sd: np.ndarray,
    correlated: float,
    prior: LeverPrior,
    feigned: np.ndarray | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """Lever arms, linear in the joint-centre disagreement once rotations are known.

    Parameters
    ----------
    average : at the current rotations
    ends : of J joints
    levers : (J, 2, 3) m, current ones (for robust weights)
    sd : (J,) m/s²
    correlated : number of keyframes over which disagreements are alike
    prior : on all arms together
    feigned : (K + 1, U) 1/s⁴, `tissue_compliance.feigned_turning`; None: units are rigid with their bones

    Returns
    -------
    levers : (J, 2, 3) m
    covariance : (6J, 6J) m²

    Notes
    -----
    Errors in variables (Fuller 1987, ISBN 0471861871, sec. 2.2; from memory): Aᵀ W A holds the squares of
    what tissue adds to A. About a hinge's axis nothing else may be in it: of an eigenvector's λ only λ − ν
    is the bones', ν what tissue adds along it, and where that is nothing the prior decides. What tissue adds
    goes with the motion, so no length of it averages out the error that is left: ν/(λ − ν) of an arm r, thus
    the variance 1/(λ − ν) + r² ν²/(λ − ν)².
    """
    H, b = prior.precision.copy(), prior.precision @ prior.mean
    for j, (p, c) in enumerate(ends.units):
        A, z, known = centre_rows(average, p, c)
        w = known * huber(A @ levers[j].ravel() - z, sd[j]) / (correlated * sd[j] ** 2)
        own = slice(6 * j, 6 * j + 6)
        told, pull = normal_sums(A, w, z)
        if feigned is not None:
            feigns = np.repeat(w @ feigned[:, (p, c)], 3)
            bones = _bones_share(told, feigns, float(np.mean(np.sum(levers[j] ** 2, -1))))
            told, pull = bones @ told, bones @ pull
        H[own, own] += told
        b[own] += pull
    covariance = np.linalg.inv(H)
    return (covariance @ b).reshape(-1, 2, 3), covariance


def _bones_share(told: np.ndarray, feigned: np.ndarray, square: float) -> np.ndarray:
    """(6, 6) share of (6, 6) information that (6,) feigned information leaves.

    `square` is the mean square of both arms, m².
    """
    size, V = np.linalg.eigh(told)
    wrong = np.einsum("ij,i,ij->j", V, feigned, V) / np.maximum(size, 1e-12)
    left = np.maximum(1 - wrong, 1e-9)
    return (V * (left / (1 + size * square * wrong**2 / left))) @ V.T


def heading_information(
    average: Averages, ends: Ends, levers: np.ndarray, sd: np.ndarray, correlated: float, prior: LeverPrior
) -> tuple[np.ndarray, np.ndarray]:
    """What the joints tell about a child's heading against its parent's.

    Parameters
    ----------
    average, ends, levers, sd, correlated, prior : as in `levers_from_rotations`

    Returns
    -------
    held, free : (J,) 1/rad², with the lever arms known, and with them to be found as well

    Notes
    -----
    Information about a turn of the child about the vertical with the arms held, Σ w d², against the same with
    the arms free, Σ w d² − bᵀ (Aᵀ W A + Λ)⁻¹ b, b = Aᵀ W d (Schur complement).
    """
    parent, child = joint_forces(average, ends, levers)
    out = np.zeros((2, len(ends.units)))
    for j, (p, c) in enumerate(ends.units):
        A, _, known = centre_rows(average, p, c)
        d = -np.cross(UP, child[:, j])
        w = known * huber(parent[:, j] - child[:, j], sd[j]) / (correlated * sd[j] ** 2)
        own = slice(6 * j, 6 * j + 6)
        told, b = normal_sums(A, w, d)
        held, H = float(w @ np.sum(d**2, -1)), told + prior.precision[own, own]
        noise = float(np.sum(w)) * sd[j] ** 2  # what Σ w d² would be of noise alone
        free = held - float(b @ np.linalg.solve(H, b)) - noise
        out[:, j] = held, max(free, 1e-6 * held, 1e-12)
        average.let_go()
    return out[0], out[1]


def joint_forces(average: Averages, ends: Ends, levers: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Specific force at each joint centre from either side, world frame.

    Parameters
    ----------
    average : at the current rotations
    ends : of J joints
    levers : (J, 2, 3) m

    Returns
    -------
    parent, child : (K + 1, J, 3) m/s²
    """
    sides = room((2, len(average.force), len(ends.units), 3))
    for at in rows_at_once(len(average.force)):
        force, lever = average.force[at], average.lever[at]
        for side, units in enumerate(ends.units.T):
            sides[side, at] = force[:, units] + apply(lever[:, units], levers[:, side])
        let_go(sides)
        if len(force) < len(average.force):  # else it is a piece, which is asked for more than this
            average.let_go()
    return sides[0], sides[1]
