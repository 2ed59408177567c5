"""Elastic mounting: how far a unit turns against its segment under load."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from ..core.arrays.scratch import let_go, room, rows_at_once
from ..core.robust import huber, normal_sums
from ..core.rotations import apply, exp, skew
from .joint_centre import Ends


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


def freed_rotations(elastic: np.ndarray, R: np.ndarray, force: np.ndarray) -> np.ndarray:
    """Units as they would be turned without load.

    Parameters
    ----------
    elastic, R, force : as of `elastic_turns`

    Returns
    -------
    (k, U, 3, 3) world_from_unit_at_rest
    """
    out = room(R.shape)
    for at in rows_at_once(len(R)):
        out[at] = R[at] @ elastic_turns(elastic, R[at], force[at])
        let_go(out, R, force)
    return out


@dataclass(frozen=True, eq=False)
class Hinges:
    """Axes that the motion shows: `joints` (H,), `axes` (H, 2, 3) in both unit frames, `sd` (H,) rad."""

    joints: np.ndarray
    axes: np.ndarray
    sd: np.ndarray


def elastic_mounting(
    R: np.ndarray,
    force: np.ndarray,
    ends: Ends,
    hinges: Hinges,
    correlated: float,
    common_sd: float,
    own_sd: float,
) -> np.ndarray:
    """How softly each unit sits, from hinges that would otherwise seem to twist with the load.

    Parameters
    ----------
    R, force : (k, U, 3, 3), (k, U, 3), at keyframes
    ends : of J joints
    hinges : of those joints
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
    every = zip(hinges.joints, hinges.axes, hinges.sd, strict=True)
    for (joint, (at_p, at_c), sd), rows in product(every, rows_at_once(len(R))):
        p, c = ends.units[joint]
        R_p, R_c = R[rows, p], R[rows, c]
        value = apply(R_p, at_p) - apply(R_c, at_c)
        w = huber(value, sd, 2.0) / (correlated * sd**2)
        sides = [
            by[..., None] * apply(np.swapaxes(turned, -1, -2), force[rows, unit])[:, None, None, :]
            for by, turned, unit in ((-R_p @ skew(at_p), R_p, p), (R_c @ skew(at_c), R_c, c))
        ]
        A = np.concatenate([side.reshape(*side.shape[:2], 9) for side in sides], -1)
        own = np.r_[9 * p : 9 * p + 9, 9 * c : 9 * c + 9]
        told, pull = normal_sums(A, w, value)
        H[np.ix_(own, own)] += told
        b[own] -= pull
        let_go(R, force)
    return np.linalg.solve(H, b).reshape(U, 3, 3)
