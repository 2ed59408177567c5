"""Hinge axes from angular rates and relative rotations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..core.robust import robust_sd
from ..core.rotations import apply, heading_matrix

SMALL_TURN = 1e-3  # rad; by reasoning: a central difference errs by its square


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


def axis_and_play(relative: np.ndarray, sd: float, correlated: float, least: float) -> tuple[Axis, float]:
    """Axis of a joint and what it moves beside it; each shows how sure the other is.

    Parameters
    ----------
    relative : (k, 3, 3) parent_unit_from_child_unit
    sd : rad, play to start from
    correlated : number of keyframes over which the play is alike
    least : rad, floor of the play

    Returns
    -------
    axis, play (rad)
    """
    axis = hinge_axis(relative, sd, correlated, None, 1.0)
    off = apply(relative, axis.directions[1]) - axis.directions[0]
    play = float(np.sqrt(1.5) * robust_sd(off[:, None], least / np.sqrt(1.5))[0])
    return hinge_axis(relative, play, correlated, None, 1.0), play
