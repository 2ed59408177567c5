"""Where joint centres are, and how surely: what soft tissue feigns is not taken for knowledge."""

from __future__ import annotations

import numpy as np

from ...alignment.joint_centre import LeverPrior, levers_from_rotations
from ...alignment.tissue_compliance import feigned_turning, softness_of
from ...core.rotations import UP
from ..problem.estimate import Estimate


def capture_softness(found: Estimate) -> float:
    """How softly the units of a capture sit, rad per m/s²; see `tissue_compliance.softness_of`."""
    problem, body = found.problem, found.body
    step, up = problem.signals.key_step, problem.g * UP
    return softness_of(found.average, found.state.R, body.ends, body.levers, up, step)


def told_lever_arms(found: Estimate, prior: LeverPrior) -> tuple[np.ndarray, np.ndarray]:
    """Lever arms as they are told.

    The smoother holds those that fit best, tissue and all, since they hide its errors from the rotations;
    where a joint's centre is not determined, along a hinge's axis, they are no place of the body.

    Parameters
    ----------
    found : solved
    prior : on all arms together

    Returns
    -------
    levers : (J, 2, 3) m
    covariance : (6J, 6J) m²
    """
    problem, body, average = found.problem, found.body, found.average
    feigned = feigned_turning(average, problem.g * UP, capture_softness(found), problem.signals.key_step)
    alike = problem.alike(problem.weights.joint_s)
    return levers_from_rotations(average, body.ends, body.levers, body.joint_sd, alike, prior, feigned)
