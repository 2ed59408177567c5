"""What stays the same during a capture: lever arms, hinge axes, and how softly each unit sits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .averages import Averages
from .residuals import huber
from .rotations import apply, exp, heading_matrix, skew


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
    basis = np.stack([np.ones(HEADINGS), np.cos(headings), np.sin(headings)], -1)
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
        levers = np.linalg.solve(H, b[..., None])[..., 0]
        cost = 0.5 * (c - np.einsum("hi,hi->h", b, levers))
        best = int(np.argmin(cost))
        full = np.tensordot(basis[best], turned, 1)
        r = levers[best]
        off = own @ np.append(r[:3], 1.0) - full @ np.append(r[3:], 1.0)
        w = huber(off, sd)
    return headings, cost, levers.reshape(-1, 2, 3)


HEADINGS = 72
TURN_BASIS = (
    np.diag([0.0, 1.0, 0.0]),
    np.diag([1.0, 0.0, 1.0]),
    np.array([[0.0, 0.0, 1.0], [0.0, 0.0, 0.0], [-1.0, 0.0, 0.0]]),
)  # Ry(ψ) = TURN_BASIS[0] + cos ψ TURN_BASIS[1] + sin ψ TURN_BASIS[2]


def projected(
    pp: np.ndarray, pc: np.ndarray, cc: np.ndarray, mean: np.ndarray, precision: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Normal equations of a joint's two arms for n headings or shifts, from sums over (lever matrix | force).

    Parameters
    ----------
    pp : (4, 4), parent with itself
    pc : (n, 4, 4), parent with child
    cc : (4, 4) or (n, 4, 4), child with itself
    mean, precision : (6,) m and (6, 6) 1/m², prior of the arms

    Returns
    -------
    H, b, c : (n, 6, 6), (n, 6), (n,); the arms r = H⁻¹ b leave the sum of squares c − b · r
    """
    n = len(pc)
    H, b = np.tile(precision, (n, 1, 1)), np.tile(precision @ mean, (n, 1))
    H[:, :3, :3] += pp[:3, :3]
    H[:, 3:, 3:] += cc[..., :3, :3]
    H[:, :3, 3:] -= pc[:, :3, :3]
    H[:, 3:, :3] -= np.swapaxes(pc[:, :3, :3], -1, -2)
    b[:, :3] -= pp[:3, 3] - pc[:, :3, 3]
    b[:, 3:] -= cc[..., :3, 3] - pc[:, 3, :3]
    c = pp[3, 3] + cc[..., 3, 3] - 2 * pc[:, 3, 3] + mean @ precision @ mean
    return H, b, c


def levers_from_rotations(
    average: Averages, ends: Ends, levers: np.ndarray, sd: np.ndarray, correlated: float, prior: LeverPrior
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

    Returns
    -------
    levers : (J, 2, 3) m
    covariance : (6J, 6J) m²
    """
    H, b = prior.precision.copy(), prior.precision @ prior.mean
    for j, (p, c) in enumerate(ends.units):
        A = np.concatenate([average.lever[:, p], -average.lever[:, c]], -1)
        z = average.force[:, c] - average.force[:, p]
        known = average.known[:, p] & average.known[:, c]
        w = known * huber(A @ levers[j].ravel() - z, sd[j]) / (correlated * sd[j] ** 2)
        own = slice(6 * j, 6 * j + 6)
        told, pull = _sums(A, w, z)
        H[own, own] += told
        b[own] += pull
    covariance = np.linalg.inv(H)
    return (covariance @ b).reshape(-1, 2, 3), covariance


def _sums(A: np.ndarray, w: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Σ w AᵀA (n, n) and Σ w Aᵀz (n,) of A (k, m, n), w (k,), z (k, m)."""
    flat, weighted = A.reshape(-1, A.shape[-1]), (A * w[:, None, None]).reshape(-1, A.shape[-1])
    return weighted.T @ flat, weighted.T @ z.ravel()


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
        A = np.concatenate([average.lever[:, p], -average.lever[:, c]], -1)
        d = -np.cross([0.0, 1.0, 0.0], child[:, j])
        known = average.known[:, p] & average.known[:, c]
        w = known * huber(parent[:, j] - child[:, j], sd[j]) / (correlated * sd[j] ** 2)
        own = slice(6 * j, 6 * j + 6)
        told, b = _sums(A, w, d)
        held, H = float(w @ np.sum(d**2, -1)), told + prior.precision[own, own]
        noise = float(np.sum(w)) * sd[j] ** 2  # what Σ w d² would be of noise alone
        free = held - float(b @ np.linalg.solve(H, b)) - noise
        out[:, j] = held, max(free, 1e-6 * held, 1e-12)
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
    sides = [
        average.force[:, ends.units[:, side]] + apply(average.lever[:, ends.units[:, side]], levers[:, side])
        for side in (0, 1)
    ]
    return sides[0], sides[1]


def robust_sd(values: np.ndarray, least: np.ndarray | float) -> np.ndarray:
    """Standard deviation of a component by the median absolute value, along the first axis.

    Parameters
    ----------
    values : (k, J, m)
    least : lower bound

    Returns
    -------
    (J,) array
    """
    middle = np.median(np.abs(values), axis=0)
    return np.maximum(least, 1.4826 * np.sqrt(np.mean(middle**2, axis=-1)))


@dataclass(frozen=True, eq=False)
class Axis:
    """A hinge axis.

    Attributes
    ----------
    directions : (2, 3) unit vectors in the parent's and the child's unit frame
    sd : rad, how far it may be off
    covariance : (6, 6) rad² of the two directions, stacked
    """

    directions: np.ndarray
    sd: float
    covariance: np.ndarray


def hinge_axis(
    relative: np.ndarray, sd: float, correlated: float, declared: np.ndarray | None, declared_sd: float
) -> Axis:
    """Axis that stays put at both ends while a joint moves.

    Parameters
    ----------
    relative : (k, 3, 3) parent_unit_from_child_unit
    sd : rad, play of the joint
    correlated : number of keyframes over which the play is alike
    declared : (2, 3) the model's axis in both unit frames, or None
    declared_sd : rad

    Returns
    -------
    Axis

    Notes
    -----
    Σ |R j_c − j_p|² is least for the first singular pair (u₁, v₁) of the mean of R. Its Hessian is
    k (s₁ − sᵢ)/σ² where both directions tilt alike, by uᵢ and vᵢ: there the gap to the other singular values
    tells how much motion there was about the axis; and k (s₁ + sᵢ)/σ² where they tilt against each other.
    """
    scale = correlated * sd**2 / len(relative)
    mean = relative.mean(0)
    if declared is not None:
        mean = mean + scale / declared_sd**2 * np.outer(declared[0], declared[1])
    U, s, Vt = np.linalg.svd(mean)
    directions = np.stack([U[:, 0], Vt[0]])
    if declared is not None and directions[0] @ declared[0] < 0:
        directions = -directions
    covariance = np.zeros((6, 6))
    for i in (1, 2):
        for side in (1, -1):
            mode = np.concatenate([U[:, i], side * Vt[i]]) / np.sqrt(2)
            covariance += scale / max(s[0] - side * s[i], 1e-9) * np.outer(mode, mode)
    return Axis(directions, float(np.sqrt(scale / max(s[0] - s[1], 1e-9))), covariance)


def axis_by_heading(R_parent: np.ndarray, R_child: np.ndarray) -> np.ndarray:
    """How a hinge axis found from the motion turns with the heading of the child against the parent.

    Parameters
    ----------
    R_parent, R_child : (k, 3, 3) world_from_unit

    Returns
    -------
    (6,) change of both directions, unit frames, per rad about the vertical
    """
    back = np.swapaxes(R_parent, -1, -2)
    found = [
        hinge_axis(back @ heading_matrix(np.asarray(turn)) @ R_child, 1.0, 1.0, None, 1.0).directions.ravel()
        for turn in (-SMALL_TURN, SMALL_TURN)
    ]
    found[0] *= np.sign(found[0] @ found[1])
    return (found[1] - found[0]) / (2 * SMALL_TURN)


SMALL_TURN = 1e-3  # rad


def elastic_turns(elastic: np.ndarray, R: np.ndarray, force: np.ndarray) -> np.ndarray:
    """How far the segment is turned against its unit, the unit having yielded to the load.

    Parameters
    ----------
    elastic : (U, 3, 3) rad per m/s²
    R : (k, U, 3, 3) world_from_unit
    force : (k, U, 3) m/s², specific force in the world frame

    Returns
    -------
    (k, U, 3, 3) unit_from_unit_at_rest: Exp(C f), f in the unit frame

    Notes
    -----
    A unit of mass m, its centre ℓ above a soft base of rotational compliance Κ, feels the torque −m ℓ × f
    and turns by −Κ (m ℓ × f): linear in f, whatever the base is like. Quasi-static: f is averaged about
    each keyframe.
    """
    felt = apply(np.swapaxes(R, -1, -2), force)
    return exp(apply(elastic, felt))


def elastic_mounting(
    R: np.ndarray,
    force: np.ndarray,
    ends: Ends,
    hinges: np.ndarray,
    axes: np.ndarray,
    sd: np.ndarray,
    correlated: float,
    common_sd: float,
    own_sd: float,
) -> np.ndarray:
    """How softly each unit sits, from hinges that would otherwise seem to twist with the load.

    Parameters
    ----------
    R, force : (k, U, 3, 3), (k, U, 3), at keyframes
    ends : of J joints
    hinges : (H,) joints that are hinges
    axes : (H, 2, 3) in unit frames
    sd : (H,) rad
    correlated : number of keyframes over which a hinge's play is alike
    common_sd, own_sd : rad per m/s², of each entry; units of one capture are of one make and attached
        alike, so each is a common part plus its own

    Returns
    -------
    (U, 3, 3) rad per m/s²

    Notes
    -----
    Linear: R Exp(C f) j ≈ R j − R [j]× C f.
    """
    U = R.shape[1]
    prior = common_sd**2 * np.ones((U, U)) + own_sd**2 * np.eye(U)
    H, b = np.kron(np.linalg.inv(prior), np.eye(9)), np.zeros(9 * U)
    felt = apply(np.swapaxes(R, -1, -2), force)
    for h, joint in enumerate(hinges):
        p, c = ends.units[joint]
        value = apply(R[:, p], axes[h, 0]) - apply(R[:, c], axes[h, 1])
        by_p, by_c = -R[:, p] @ skew(axes[h, 0]), R[:, c] @ skew(axes[h, 1])
        w = huber(value, sd[h], 2.0) / (correlated * sd[h] ** 2)
        sides = [by[..., None] * felt[:, unit, None, None, :] for by, unit in ((by_p, p), (by_c, c))]
        A = np.concatenate([side.reshape(*side.shape[:2], 9) for side in sides], -1)
        own = np.r_[9 * p : 9 * p + 9, 9 * c : 9 * c + 9]
        told, pull = _sums(A, w, value)
        H[np.ix_(own, own)] += told
        b[own] -= pull
    return np.linalg.solve(H, b).reshape(U, 3, 3)
