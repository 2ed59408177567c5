"""One step of the solver: rotations and what moves with them, and the constants beside bare segments."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..problem.chain_prior import expected
from ..problem.problem import Problem
from ..problem.unknowns import Body, State
from ..residuals.base import InPieces, Linearised
from .block_tridiagonal import solve
from .marginal_covariance import solve_with_constants


def one_step(
    problem: Problem, state: State, body: Body, parts: Sequence[Linearised] | InPieces
) -> tuple[State, Body, np.ndarray]:
    """State and body after one Gauss–Newton step.

    Parameters
    ----------
    problem : what is given
    state, body : at which the residuals were linearised
    parts : the residuals

    Returns
    -------
    state, body : afterwards; of the body, what is inferred
    step : (K + 1, slots, 3), rotations first, rad
    """
    if not len(body.inferred):
        step = solve(parts, state.slots, len(state.R))
        return state.stepped(step), body, step
    mean, precision = expected(problem, body.mounting)
    off = precision @ (body.inferred - mean).ravel()
    step, change = solve_with_constants(parts, state.slots, len(state.R), precision, off)
    return state.stepped(step), replace(body, inferred=body.inferred + change.reshape(-1, 3)), step


def between(
    before: tuple[State, Body], after: tuple[State, Body], step: np.ndarray, share: float
) -> tuple[State, Body]:
    """State and body part of the way of a step.

    Parameters
    ----------
    before, after : at both ends of it
    step : (K + 1, slots, 3)
    share : of it

    Returns
    -------
    state, body
    """
    (state, body), inferred = before, after[1].inferred
    way = share * (inferred - body.inferred)
    return state.stepped(share * step), replace(body, inferred=body.inferred + way)
