"""The path of one foot: least squares over the whole recording, in which a point of the sole stands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..core.arrays.scratch import give_back
from .contact import between_swings, log_energies, stances
from .normal_equations import Solved
from .problem import BELIEVED_S, FootProblem, LimbStart, gravity_off, on_a_shoe
from .samples import PER_KEY, FootSamples, accelerations, start_rotations
from .state import PLACE, STATES, TURN, FootState, start_state
from .weights import PathWeights

# at most; tried: 8, 10, 12 on 21 recorded feet, the worst stride 24, 5, 4 cm off what 30 rounds find; 12 of
# the feet are settled within 12
ROUNDS = 12
# round from which contacts that move lose weight as they should; tried: 3, 4, 5 on 67 strides of
# foot_path_optical, whose lengths are the same to 0.01 mm (as they are with the next two)
ROBUST_FROM = 3
# by which the kernel's knee is wider a round earlier, so that no wrong contact wins early (tried: 4 and 8 on
# the same)
SOFTER = 4.0
NEGLIGIBLE = 1e-4  # rad, largest turn of a step at which no more are made (tried: 2e-5 on the same)
# s after a stride that its length still shares with others; tried: 10 on the same strides, bands 1 % narrower
REACH_S = 20.0


@dataclass(frozen=True, eq=False)
class FootPath:
    """The path of a foot's unit at K keyframes.

    Attributes
    ----------
    samples : what it was found from
    state : rotations, velocity, place, ground, constants
    stances : (first keyframe, keyframe after the last) of each
    slipped : (S,) m/s, root mean square of how much the standing point of each moves
    energies : (K, 2) log energies
    weight : (K,) how far contacts were believed
    solved : the last step, for standard deviations; None: let go
    weights : what was believed
    """

    samples: FootSamples
    state: FootState
    stances: list[tuple[int, int]]
    slipped: np.ndarray
    energies: np.ndarray
    weight: np.ndarray
    solved: Solved | None
    weights: PathWeights

    @property
    def time(self) -> np.ndarray:
        """(K,) s, keyframes."""
        return self.samples.key_time


def foot_path(
    samples: FootSamples, start: LimbStart | None = None, weights: PathWeights | None = None
) -> FootPath:
    """The path of a unit on a foot.

    Parameters
    ----------
    samples : of the unit
    start : what is known before; None: nothing but the samples
    weights : what is believed

    Returns
    -------
    FootPath

    Notes
    -----
    Gauss–Newton on turns, velocities, places, the ground's height and constants; contacts are weighted
    anew in each round by how much they slip. Equations: docs/method.md.
    """
    weights = weights or PathWeights()
    level = start_rotations(samples)
    pushed = accelerations(samples, level)
    energies = log_energies(samples.rate(), pushed)
    found = stances(energies, between_swings(samples.rate(), pushed))
    if start is None:
        start = on_a_shoe(level[::PER_KEY], found, weights)
    off = gravity_off(samples, pushed, energies[:, 0])
    problem = FootProblem(samples, start, weights, energies, found, off)
    state = start_state(start.R, start.ball, start.heel)
    state, weight, solved = _fitted(problem, state)
    stood = [(a, b) for a, b in found if weight[a:b].sum() * samples.key_step >= BELIEVED_S]
    slipped = problem.slipped(state, weight, stood)
    return FootPath(samples, state, stood, slipped, energies, weight, solved, weights)


def _fitted(problem: FootProblem, state: FootState) -> tuple[FootState, np.ndarray, Solved]:
    """State, weight of each contact and the last equations, once nothing moves any more.

    Where that leaves a foot off the ground for longer than a swing, stances in between are believed, too.
    """
    weight, solved, far_too = problem.window, None, False
    for number in range(2 * ROUNDS):
        solved = None  # let go before the next equations are made: an hour of them is large
        give_back()
        between = problem.between(state)
        if number > 0:
            wider = max(1.0, SOFTER ** (ROBUST_FROM - number))
            weight, slip_sd = problem.believed(state, between, wider, far_too)
        else:
            slip_sd = problem.slip_sd(between.rate)
        solved = problem.equations(state, between, (weight, slip_sd), number >= ROBUST_FROM).solved()
        state = state.stepped(solved.step, solved.constants)
        settled = number > ROBUST_FROM + 2 and np.abs(solved.step[:, TURN]).max() < NEGLIGIBLE
        if settled or number == ROUNDS - 1:
            if far_too or not problem.lost(weight):
                break
            far_too = True
    assert solved is not None
    return state, weight, solved


def lengths(path: FootPath, start: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Horizontal distance of the unit between instants, and its standard deviation.

    Parameters
    ----------
    path : of the foot
    start, end : (n,) s

    Returns
    -------
    (n,) m and (n,) m
    """
    along = np.stack(
        [np.interp(end, path.time, c) - np.interp(start, path.time, c) for c in path.state.place.T], 1
    )
    along[:, 1] = 0.0
    length = np.linalg.norm(along, axis=1)
    way = along / np.maximum(length, 1e-6)[:, None]
    first, last = (np.clip(np.searchsorted(path.time, t), 0, len(path.time) - 1) for t in (start, end))
    far = round(REACH_S / path.samples.key_step)
    variance = np.zeros(len(start))
    assert path.solved is not None
    for i, (a, b) in enumerate(zip(first, last, strict=True)):  # over strides
        rows = np.zeros((b - a + 1, STATES))
        rows[-1, PLACE] += way[i]
        rows[0, PLACE] -= way[i]
        variance[i] = path.solved.variance_between(rows, int(a), far)
    return length, np.sqrt(variance + (path.weights.lasting_slip * _slip_way(path, start, end)) ** 2)


def _slip_way(path: FootPath, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """(n,) m, way that the slip of the stances at both ends would make if it lasted from one to the other."""
    if not path.stances:
        return np.zeros(len(start))
    middle = path.time[[(a + b) // 2 for a, b in path.stances]]
    ends = [path.slipped[np.abs(middle - np.asarray(t)[:, None]).argmin(1)] for t in (start, end)]
    return np.sqrt((ends[0] ** 2 + ends[1] ** 2) / 2) * (np.asarray(end) - np.asarray(start))
