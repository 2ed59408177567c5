"""Arms of the ways across segments without a unit, and what is expected of them beforehand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import block_diag

from ...core.rotations import skew

if TYPE_CHECKING:
    from ...alignment.mounting import Mounting
    from .problem import Problem
    from .tie import Tie
    from .unknowns import Body


@dataclass(frozen=True, eq=False)
class Arms:
    """What is known beforehand of the arms of all bridges.

    Attributes
    ----------
    keys : (unit, joints) of each arm
    mean : (A, 3) m, in the unit's frame
    precision : (3A, 3A) 1/m²
    """

    keys: tuple[tuple[int, tuple[int, ...]], ...]
    mean: np.ndarray
    precision: np.ndarray


def prior_of_arms(problem: Problem, mounting: Mounting) -> Arms:
    """Arms that the body's dimensions and the units' places suggest.

    Parameters
    ----------
    problem : what is given
    mounting : as far as it is known

    Returns
    -------
    Arms
    """
    keys = tuple(dict.fromkeys(arm for bridge in problem.bridges for arm in bridge.arms))
    mean, precision = np.zeros((len(keys), 3)), np.zeros((3 * len(keys), 3 * len(keys)))
    for a, (unit, joints) in enumerate(keys):
        mean[a], covariance = _arm(problem, mounting, unit, joints)
        precision[3 * a : 3 * a + 3, 3 * a : 3 * a + 3] = np.linalg.inv(covariance)
    return Arms(keys, mean, precision)


def expected(problem: Problem, mounting: Mounting) -> tuple[np.ndarray, np.ndarray]:
    """What is expected of the constants beside segments without a unit: postures, then arms.

    Parameters
    ----------
    problem : what is given
    mounting : as far as it is known

    Returns
    -------
    mean : (L + A, 3) rad and m
    precision : (3(L + A), 3(L + A))
    """
    arms, sd = prior_of_arms(problem, mounting), problem.postures.offset_sd
    mean = np.concatenate([np.zeros(sd.shape), arms.mean])
    return mean, np.asarray(block_diag(np.diag(sd.ravel() ** -2.0), arms.precision))


def cost_beforehand(problem: Problem, body: Body) -> float:
    """Half the weighted square of how far the constants beside segments without a unit are from expected.

    Parameters
    ----------
    problem, body : what is given and found so far

    Returns
    -------
    number, zero where there are none
    """
    if not len(body.inferred):
        return 0.0
    mean, precision = expected(problem, body.mounting)
    off = (body.inferred - mean).ravel()
    return 0.5 * float(off @ precision @ off)


def arm_to(problem: Problem, mounting: Mounting, unit: int, joint: int) -> np.ndarray | None:
    """(3,) m from a unit to a joint of its segment, unit's frame; None where the body does not tell it."""
    told = problem.places[unit] is not None and mounting.tilt_known[unit]
    if not told or _centre(problem.ties[joint], unit) is None:
        return None
    return _arm(problem, mounting, unit, (joint,))[0]


def _arm(
    problem: Problem, mounting: Mounting, unit: int, joints: tuple[int, ...]
) -> tuple[np.ndarray, np.ndarray]:
    """Mean (3,) and covariance (3, 3) of one arm, m and m²."""
    unknown = np.zeros(3), problem.weights.lever**2 * np.eye(3)
    centres = [_centre(problem.ties[i], unit) for i in joints]
    if any(centre is None for centre in centres):
        return unknown
    sd = problem.centre_sd[unit]
    if len(joints) == 2:
        return np.asarray(centres[1]) - np.asarray(centres[0]), sd**2 * np.eye(3)
    place = problem.places[unit]
    if place is None or not mounting.tilt_known[unit]:
        return unknown
    from_segment, out = mounting.segment_from_unit[unit].T, np.asarray(centres[0]) - place[0]
    turned = skew(out) @ mounting.covariance[unit] @ skew(out).T
    covariance = place[1] + turned + sd**2 * np.eye(3)
    return from_segment @ out, from_segment @ covariance @ from_segment.T


def _centre(tie: Tie, unit: int) -> np.ndarray | None:
    """A joint's centre in the segment frame of one of its ends."""
    return tie.joint.centre_in_parent if tie.parent == unit else tie.joint.centre_in_child
