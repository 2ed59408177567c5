"""The path of one foot: least squares over the whole recording, in which a point of the sole stands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from ..core.intervals import runs
from ..core.rotations import UP, apply, log
from .contact import between_swings, log_energies, stances
from .normal_equations import BandedEquations, NormalEquations, Solved, Stretch, stretches
from .preintegration import Between, between_keyframes
from .residuals import IN_CONTACT, add_contact, add_ground, add_travel, add_turn, slip
from .samples import PER_KEY, FootSamples, start_rotations
from .state import BIAS_FORCE, BIAS_RATE, CONSTANTS, LAG, PLACE, SCALE, STATES, TURN, FootState, start_state
from .weights import PathWeights, kernel

ROUNDS = 12  # at most; tried: six to ten do on open foot recordings
# round from which contacts that move lose weight as they should; tried: 3, 4, 5 on 67 strides of
# foot_path_optical, whose lengths are the same to 0.01 mm (as they are with the next two)
ROBUST_FROM = 3
# by which the kernel's knee is wider a round earlier, so that no wrong contact wins early (tried: 4 and 8 on
# the same)
SOFTER = 4.0
NEGLIGIBLE = 1e-4  # rad, largest turn of a step at which no more are made (tried: 2e-5 on the same)
REST_SHARE = 0.05  # quietest keyframes that tell how far the accelerometer's norm is off (by reasoning)
CLIPPED = 0.1  # share of what is measured that redrawn tops may miss; chosen; not tried
HELD_LAG = 1e-5  # s, before contacts that move have lost weight: these look like a lag (by reasoning)
BELIEVED_S = 0.01  # s of full belief in a contact below which it was none (by reasoning: half a keyframe)
# s after a stride that its length still shares with others; tried: 10 on the same strides, bands 1 % narrower
REACH_S = 20.0
PINNED = 1e-3, 1e-4  # rad, m: heading and place of the first keyframe, which nothing measures (by reasoning)


@dataclass(frozen=True, eq=False)
class LimbStart:
    """What is known of a foot before its path is looked for.

    Attributes
    ----------
    R : (K, 3, 3) world_from_unit at the keyframes
    held : whether headings of R are believed, as those of a fitted body
    ball, heel : (3,) m, expected places seen from the unit, unit frame
    lever_sd : m, of both
    """

    R: np.ndarray
    held: bool
    ball: np.ndarray
    heel: np.ndarray
    lever_sd: float


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
    pushed = apply(level, samples.force) - samples.gravity * UP
    energies = log_energies(samples.rate(), pushed)
    found = stances(energies, between_swings(samples.rate(), pushed))
    if start is None:
        start = LimbStart(level[::PER_KEY], False, np.zeros(3), np.zeros(3), weights.lever)
    problem = _Problem(samples, start, weights, energies, found)
    state = start_state(start.R, start.ball, start.heel)
    weight, solved = problem.window, None
    for number in range(ROUNDS):
        solved = None  # let go before the next equations are made: an hour of them is large
        between = problem.between(state)
        if number > 0:
            weight = problem.believed(state, between, max(1.0, SOFTER ** (ROBUST_FROM - number)))
        solved = problem.equations(state, between, weight, number >= ROBUST_FROM).solved()
        state = state.stepped(solved.step, solved.constants)
        if number > ROBUST_FROM + 2 and np.abs(solved.step[:, TURN]).max() < NEGLIGIBLE:
            break
    assert solved is not None
    stood = [(a, b) for a, b in found if weight[a:b].sum() * samples.key_step >= BELIEVED_S]
    slipped = problem.slipped(state, weight, stood)
    return FootPath(samples, state, stood, slipped, energies, weight, solved, weights)


class _Problem:
    """All that stays the same from round to round."""

    def __init__(
        self,
        samples: FootSamples,
        start: LimbStart,
        weights: PathWeights,
        energies: np.ndarray,
        found: list[tuple[int, int]],
    ):
        self.samples, self.start, self.weights = samples, start, weights
        self.window, self.towards_heel = _windows(energies[:, 0], found, weights, samples.key_step)
        self.turn_sd, self.gain_sd = _signal_sd(samples, weights)
        self.constant_sd = _constant_sd(samples, start, weights, energies[:, 0])
        self.expected = np.zeros(CONSTANTS)
        self.expected[6:9], self.expected[9:12] = start.ball, start.heel
        air = self.window < 0.5
        self.swings = [(a, b) for a, b in runs(air) if a > 0 and b < len(air)]
        self.air = runs(air)

    def between(self, state: FootState) -> Between:
        """The signals between keyframes with what is known of biases, scale and lag taken off."""
        c = state.constants
        force = self.samples.force / (1 + c[SCALE]) - c[BIAS_FORCE]
        return between_keyframes(self.samples, force, self.samples.rate(state.lag) - c[BIAS_RATE])

    def slip_sd(self, rate: np.ndarray) -> np.ndarray:
        """(K,) m/s, of what stands."""
        return np.hypot(self.weights.slip, self.weights.sole * np.linalg.norm(rate, axis=1))

    def believed(self, state: FootState, between: Between, wider: float) -> np.ndarray:
        """(K,) weight of each contact by how much it slips; the kernel's knee `wider` times as wide."""
        off = np.linalg.norm(slip(state, between.rate, self.towards_heel), axis=1)
        return self.window * kernel(off / self.slip_sd(between.rate), wider * self.weights.knee)

    def slipped(self, state: FootState, weight: np.ndarray, stood: list[tuple[int, int]]) -> np.ndarray:
        """(S,) m/s, root mean square of the slip in each stance, as far as it is believed."""
        square = (slip(state, self.between(state).rate, self.towards_heel) ** 2).sum(1)
        means = [(weight[a:b] * square[a:b]).sum() / max(weight[a:b].sum(), 1e-9) for a, b in stood]
        return np.sqrt(np.array(means))

    def ground_sd(self, state: FootState, robust: bool) -> np.ndarray:
        """(K − 1,) m: nothing in contact; in swing the ground may be a step higher, seldom.

        core (1 + (Δh / cut)²)² over the whole swing, at most half a metre.
        """
        w, K = self.weights, len(self.window)
        sd = np.full(K - 1, IN_CONTACT)
        for a, b in self.air:
            sd[a : min(b, K - 1)] = w.steepest / np.sqrt(b - a)
        for a, b in self.swings if robust else ():
            change = (state.ground[b] - state.ground[a - 1]) / w.step
            sd[a:b] = min(w.steepest, w.ground * (1 + change**2) ** 2) / np.sqrt(b - a)
        return sd

    def equations(
        self, state: FootState, between: Between, weight: np.ndarray, robust: bool
    ) -> BandedEquations:
        """All residuals, linearised, stretch by stretch."""
        s, dt, K = self.samples, self.samples.key_step, len(weight)
        whole, ground_sd = BandedEquations(K, STATES, CONSTANTS), self.ground_sd(state, robust)
        slip_sd = self.slip_sd(between.rate)
        for stretch in stretches(K):
            own, over = stretch.own, stretch.intervals
            part, then = state.within(stretch.span), between.within(over)
            to = NormalEquations(len(part.R), STATES, CONSTANTS)
            add_turn(to, part, then, dt, self.turn_sd[over])
            add_travel(to, part, then, dt, self.gain_sd[over], s.gravity)
            add_ground(to, part, ground_sd[over])
            rate, heel = between.rate[own], self.towards_heel[own]
            add_contact(
                to, state.within(own), rate, heel, weight[own], (slip_sd[own], self.weights.sole_height)
            )
            self._add_held(to, part.within(slice(own.stop - own.start)), stretch)
            whole.put(stretch, to)
        self._add_priors(whole, state, robust)
        return whole

    def _add_held(self, to: NormalEquations, state: FootState, stretch: Stretch) -> None:
        """Headings as the body says; without one, and for the place, nothing but where the first is."""
        count, (heading, place) = len(state.R), PINNED
        if self.start.held:
            off = log(state.R @ np.swapaxes(self.start.R[stretch.own], -1, -2)) @ UP
            to.own[:count, 1, 1] += 1 / self.weights.heading**2
            to.gradient[:count, 1] += off / self.weights.heading**2
        if stretch.first > 0:
            return
        if not self.start.held:
            to.own[0, 1, 1] += heading**-2
        to.own[0, PLACE, PLACE] += np.eye(3) * place**-2
        to.gradient[0, PLACE] += state.place[0] * place**-2

    def _add_priors(self, to: BandedEquations, state: FootState, robust: bool) -> None:
        """Constants near what is expected."""
        c = state.constants
        sd = self.constant_sd.copy()
        sd[LAG] = (
            np.hypot(sd[LAG], c[LAG]) if robust else HELD_LAG
        )  # a heavy tail, as of a Cauchy distribution
        to.constants[np.diag_indices(CONSTANTS)] += 1 / sd**2
        to.constant_gradient += (c - self.expected) / sd**2


def _windows(
    quiet: np.ndarray, found: list[tuple[int, int]], weights: PathWeights, step: float
) -> tuple[np.ndarray, np.ndarray]:
    """(K,) where a contact is possible, and (K,) how far towards the heel the standing point lies.

    From heel to ball in the second half of the way to the quietest instant of the stance.
    """
    window, towards_heel = np.zeros(len(quiet)), np.zeros(len(quiet))
    early, late = round(weights.early / step), round(weights.late / step)
    for a, b in found:
        calm = a + int(np.argmin(quiet[a:b]))
        at = np.arange(max(0, a - early), min(len(quiet), b + late))
        window[at] = 1
        towards_heel[at] = np.clip((calm - at) / max(1.0, 0.5 * (calm - a)), 0, 1)
    return window, towards_heel


def _signal_sd(samples: FootSamples, w: PathWeights) -> tuple[np.ndarray, np.ndarray]:
    """(K − 1,) rad and m/s, of the turn and of the gain of velocity between keyframes.

    Noise, scale times what is measured, jerk; where samples were lost 0.1 rad (gap / 0.25 s)² and 2 m/s²
    times the gap's length (guessed); where they were clipped a tenth of what is measured (guessed).
    """
    dt, K = samples.key_step, len(samples.key_time)

    def mean(values: np.ndarray) -> np.ndarray:
        return values[:-1].reshape(K - 1, PER_KEY).mean(1)

    jerk = np.linalg.norm(np.diff(samples.force, axis=0, prepend=samples.force[:1]), axis=1)
    force = np.linalg.norm(samples.force - samples.force.mean(0), axis=1)
    gap = samples.gap[:-1].reshape(K - 1, PER_KEY).max(1)
    scale = np.where(samples.clipped[:-1].reshape(K - 1, PER_KEY).any(1), CLIPPED, 0.0)
    turn = (
        w.rate_noise**2 * dt
        + (np.maximum(w.rate_scale, scale) * mean(np.linalg.norm(samples.rate(), axis=1)) * dt) ** 2
    )
    gain = (
        w.force_noise**2 * dt
        + (np.maximum(w.force_scale, scale) * mean(force) * dt) ** 2
        + (w.jerk * mean(jerk) * dt) ** 2
    )
    return np.sqrt(turn + (0.1 * (gap / 0.25) ** 2) ** 2), np.sqrt(gain + (2 * gap) ** 2)


def _constant_sd(samples: FootSamples, start: LimbStart, w: PathWeights, quiet: np.ndarray) -> np.ndarray:
    """(14,) standard deviations of the constants; the accelerometer's by how far its norm at rest is off."""
    calm = np.argsort(uniform_filter1d(quiet, 8))[: max(10, int(REST_SHARE * len(quiet)))]
    norm = np.median(np.linalg.norm(samples.force[::PER_KEY][calm], axis=1))
    off = abs(norm / samples.gravity - 1)
    sd = np.empty(CONSTANTS)
    sd[BIAS_RATE] = w.bias_rate
    sd[BIAS_FORCE] = samples.gravity * np.hypot(w.still_scale, off)
    sd[6:12] = start.lever_sd
    sd[LAG] = w.lag
    sd[SCALE] = np.hypot(w.still_scale, min(off, 0.01))  # 1 %: from memory, worst of uncalibrated chips
    return sd


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
