"""A second start, where two ways in which units face are about as likely: the better explanation wins."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from ..alignment.latency import Lateness
from ..core.progress import Progress
from .estimate import estimate
from .problem.estimate import Estimate
from .problem.problem import Problem


def best_estimate(
    problem_at: Callable[[Lateness], Problem], latency: float, units: int, progress: Progress | None = None
) -> Estimate:
    """Most probable motion, from the likeliest facing of all units and from a second one that is close.

    Parameters
    ----------
    problem_at, latency, units, progress : as of `estimate`

    Returns
    -------
    Estimate of the lower `misfit`; `other_cost` tells that there was another
    """
    found = estimate(problem_at, latency, units, progress)
    facing = found.body.facing
    if facing is None or facing.second is None:
        return found
    other = estimate(problem_at, latency, units, progress, facing.second)
    best, worse = sorted((found, other), key=misfit)
    return replace(best, other_cost=worse.cost)


def misfit(found: Estimate) -> float:
    """Negative log-likelihood of an estimate, up to what all estimates of a recording share.

    Parameters
    ----------
    found : of one start

    Returns
    -------
    number

    Notes
    -----
    The cost, and n log σ for each joint whose disagreement σ was found along with it, n the numbers that
    count: else a start whose joints disagree would be the cheaper for it.
    """
    problem, body = found.problem, found.body
    p, c = body.ends.parents, body.ends.children
    together = (found.average.known[:, p] & found.average.known[:, c]).sum(0)
    counts = 3 * together / problem.alike(problem.weights.joint_s)
    return found.cost + float(np.sum(counts * np.log(body.joint_sd)))
