"""What one foot's path must fit: signals, a sole that stands, the ground, and what is known beforehand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d, uniform_filter1d

from ..core.arrays.scratch import let_go
from ..core.intervals import runs
from ..core.rotations import UP, log, vector_norm
from .normal_equations import BandedEquations, NormalEquations, Stretch, stretches
from .preintegration import Between, between_keyframes, in_stretches
from .residuals import IN_CONTACT, add_contact, add_ground, add_travel, add_turn, slip
from .samples import HZ, LEVEL_S, PER_KEY, FootSamples
from .state import BALL, BIAS_FORCE, BIAS_RATE, CONSTANTS, HEEL, LAG, PLACE, SCALE, STATES, FootState
from .weights import PathWeights, kernel

REST_SHARE = 0.05  # quietest keyframes that tell how far the accelerometer's norm is off (by reasoning)
CLIPPED = 0.1  # share of what is measured that redrawn tops may miss; chosen; not tried
HELD_LAG = 1e-5  # s, before contacts that move have lost weight: these look like a lag (by reasoning)
BELIEVED_S = 0.01  # s of full belief in a contact below which it was none (by reasoning: half a keyframe)
SLOWEST = 3  # keyframes of a stance whose mean slip is the least (by reasoning: no single one decides)
# m/s, of a point that may stand all the same: runners' recorded feet slip by that (tried: 0.3, 0.5 on runs)
STANDS_M_S = 0.3
# s off the ground between two stances; over more of it a foot has stood all the same (by reasoning: twice the
# swing of a slow walker)
LONGEST_SWING_S = 2.0
PINNED = 1e-3, 1e-4  # rad, m: heading and place of the first keyframe, which nothing measures (by reasoning)


@dataclass(frozen=True, eq=False)
class LimbStart:
    """What is known of a foot before its path is looked for.

    Attributes
    ----------
    R : (K, 3, 3) world_from_unit at the keyframes
    held : whether headings of R are believed, as those of a fitted body
    ball, heel : (3,) m, expected places seen from the unit, unit frame
    lever_precision : (3, 3) 1/m², of both
    """

    R: np.ndarray
    held: bool
    ball: np.ndarray
    heel: np.ndarray
    lever_precision: np.ndarray


class FootProblem:
    """All that stays the same from round to round.

    Attributes
    ----------
    samples, start, weights : as given
    found : (first keyframe, keyframe after the last) of each stance as detected
    window, towards_heel : (K,) where a contact is possible, and how far towards the heel
    turn_sd, gain_sd : (K − 1,) rad and m/s, of the signals between keyframes
    precision, expected : (14, 14) and (14,), of the constants
    swings, air : (first keyframe, keyframe after the last) out of contact; swings lie between two contacts
    """

    def __init__(
        self,
        samples: FootSamples,
        start: LimbStart,
        weights: PathWeights,
        energies: np.ndarray,
        found: list[tuple[int, int]],
        off: float,
    ):
        self.samples, self.start, self.weights = samples, start, weights
        self.found = found
        self.window, self.towards_heel = _windows(energies[:, 0], found, weights, samples.key_step)
        self.turn_sd, self.gain_sd = _signal_sd(samples, weights)
        self.precision = _constant_precision(samples.gravity, start, weights, off)
        self.expected = np.zeros(CONSTANTS)
        self.expected[BALL], self.expected[HEEL] = start.ball, start.heel
        air = self.window < 0.5
        self.swings = [(a, b) for a, b in runs(air) if a > 0 and b < len(air)]
        self.air = runs(air)

    def between(self, state: FootState) -> Between:
        """The signals between keyframes with what is known of biases, scale and lag taken off."""
        c, force, rate = state.constants, self.samples.force, self.samples.rate(state.lag)

        def part(intervals: slice) -> Between:
            at = slice(intervals.start * PER_KEY, intervals.stop * PER_KEY + 1)
            felt = force[at] / (1 + c[SCALE]) - c[BIAS_FORCE]
            out = between_keyframes(self.samples, felt, rate[at] - c[BIAS_RATE])
            let_go(force, rate)
            return out

        return in_stretches(len(self.window) - 1, part)

    def slip_sd(self, rate: np.ndarray) -> np.ndarray:
        """(K,) m/s, of what stands."""
        return np.hypot(self.weights.slip, self.weights.sole * vector_norm(rate))

    def believed(
        self, state: FootState, between: Between, wider: float, far_too: bool = False
    ) -> tuple[np.ndarray, np.ndarray]:
        """(K,) weight of each contact by how much it slips, and (K,) m/s, standard deviation of the slip.

        The kernel's knee is `wider` times as wide. A stance that it would leave nothing of, but that is slow
        all the same, stands as well as it slips: without it two swings would be one. With `far_too` so does
        any that the believed ones are too far from.
        """
        off = vector_norm(slip(state, between.rate, self.towards_heel))
        sd, knee = self.slip_sd(between.rate), wider * self.weights.knee
        weight = self.window * kernel(off / sd, knee)
        early, late = _reach(self.weights, self.samples.key_step)
        kept = self._kept(weight)
        far = self._far(kept) if far_too else np.zeros(len(kept), bool)
        for number in np.flatnonzero(~kept) if wider == 1 else ():  # over stances
            a, b = self.found[number]
            slowest = np.sort(off[a:b])[:SLOWEST].mean()
            if far[number] or slowest < STANDS_M_S:
                at = slice(max(0, a - early), b + late)
                sd[at] = np.hypot(sd[at], slowest)
                weight[at] = self.window[at] * kernel(off[at] / sd[at], knee)
        return weight, sd

    def lost(self, weight: np.ndarray) -> bool:
        """Whether a foot that was found to stand is off the ground for longer than a swing."""
        return bool(self._far(self._kept(weight)).any())

    def _kept(self, weight: np.ndarray) -> np.ndarray:
        """(S,) bool, stances that something is left of."""
        sums = [weight[a:b].sum() * self.samples.key_step for a, b in self.found]
        return np.array(sums) >= BELIEVED_S

    def _far(self, kept: np.ndarray) -> np.ndarray:
        """(S,) bool, stances out of those kept, where these are farther apart than a swing lasts."""
        first, after = np.array(self.found, int).reshape(-1, 2).T
        last, following = np.r_[0, after[kept]], np.r_[first[kept], len(self.window)]
        apart = (following - last)[np.cumsum(kept)] * self.samples.key_step
        return ~kept & (apart > LONGEST_SWING_S)

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
        self, state: FootState, between: Between, contact: tuple[np.ndarray, np.ndarray], robust: bool
    ) -> BandedEquations:
        """All residuals, linearised, stretch by stretch; contact: its weights and standard deviations."""
        weight, slip_sd = contact
        s, dt, K = self.samples, self.samples.key_step, len(weight)
        whole, ground_sd = BandedEquations(K, STATES, CONSTANTS), self.ground_sd(state, robust)
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
        precision, off = self.precision.copy(), state.constants - self.expected
        # a heavy tail, as of a Cauchy distribution
        precision[LAG, LAG] = 1 / (self.weights.lag**2 + state.lag**2) if robust else HELD_LAG**-2
        to.constants += precision
        to.constant_gradient += precision @ off


def on_a_shoe(R: np.ndarray, found: list[tuple[int, int]], w: PathWeights) -> LimbStart:
    """What is known of any unit on a shoe: while the foot stands, the sole lies below it, on all sides.

    Parameters
    ----------
    R : (K, 3, 3) world_from_unit, levelled
    found : (first keyframe, keyframe after the last) of each stance
    w : what is believed

    Returns
    -------
    LimbStart

    Notes
    -----
    Without this a foot that slips is taken for one whose ball lies a hand's breadth above or beside the unit.
    """
    stood = np.concatenate([R[a:b] for a, b in found]) if found else R
    up = stood[:, 1].mean(0)
    up /= np.linalg.norm(up)
    level = np.eye(3) - np.outer(up, up)
    precision = level / w.lever**2 + np.outer(up, up) / w.sole_below_sd**2
    return LimbStart(R, False, -w.sole_below * up, -w.sole_below * up, precision)


def _windows(
    quiet: np.ndarray, found: list[tuple[int, int]], weights: PathWeights, step: float
) -> tuple[np.ndarray, np.ndarray]:
    """(K,) where a contact is possible, and (K,) how far towards the heel the standing point lies.

    From heel to ball in the second half of the way to the quietest instant of the stance.
    """
    window, towards_heel = np.zeros(len(quiet)), np.zeros(len(quiet))
    early, late = _reach(weights, step)
    for a, b in found:
        calm = a + int(np.argmin(quiet[a:b]))
        at = np.arange(max(0, a - early), min(len(quiet), b + late))
        window[at] = 1
        towards_heel[at] = np.clip((calm - at) / max(1.0, 0.5 * (calm - a)), 0, 1)
    return window, towards_heel


def _reach(weights: PathWeights, step: float) -> tuple[int, int]:
    """Keyframes by which a stance may reach beyond what was detected, before and after."""
    return round(weights.early / step), round(weights.late / step)


def _signal_sd(samples: FootSamples, w: PathWeights) -> tuple[np.ndarray, np.ndarray]:
    """(K − 1,) rad and m/s, of the turn and of the gain of velocity between keyframes.

    Noise, scale times what is measured, jerk; where samples were lost 0.1 rad (gap / 0.25 s)² and 2 m/s²
    times the gap's length (guessed); where they were clipped a tenth of what is measured (guessed).
    """
    dt, K = samples.key_step, len(samples.key_time)

    def mean(values: np.ndarray) -> np.ndarray:
        return values[:-1].reshape(K - 1, PER_KEY).mean(1)

    jerk = vector_norm(np.diff(samples.force, axis=0, prepend=samples.force[:1]))
    force = vector_norm(samples.force - samples.force.mean(0))
    gap = samples.gap[:-1].reshape(K - 1, PER_KEY).max(1)
    scale = np.where(samples.clipped[:-1].reshape(K - 1, PER_KEY).any(1), CLIPPED, 0.0)
    turn = (
        w.rate_noise**2 * dt + (np.maximum(w.rate_scale, scale) * mean(vector_norm(samples.rate())) * dt) ** 2
    )
    gain = (
        w.force_noise**2 * dt
        + (np.maximum(w.force_scale, scale) * mean(force) * dt) ** 2
        + (w.jerk * mean(jerk) * dt) ** 2
    )
    return np.sqrt(turn + (0.1 * (gap / 0.25) ** 2) ** 2), np.sqrt(gain + (2 * gap) ** 2)


def gravity_off(samples: FootSamples, pushed: np.ndarray, quiet: np.ndarray) -> float:
    """How far the accelerometer is off by what it reads of gravity, a share of it.

    Parameters
    ----------
    samples : of a foot
    pushed : (N, 3) m/s², acceleration without gravity, world
    quiet : (K,) lower where the foot is calmer

    Returns
    -------
    share, not below nought

    Notes
    -----
    Read twice: the norm at the quietest keyframes, which is right if the foot rests there, and the average
    over some seconds, which is right if the foot does not speed up on the whole. Movement can only add to
    either, so the lesser one counts: a foot that never rests is off by 3 to 40 % at its quietest instants.
    """
    calm = np.argsort(uniform_filter1d(quiet, 8))[: max(10, int(REST_SHARE * len(quiet)))]
    at_rest = np.median(np.linalg.norm(samples.force[::PER_KEY][calm], axis=1))
    felt = (pushed[:-1] + samples.gravity * UP).reshape(-1, PER_KEY, 3).mean(1)
    felt = gaussian_filter1d(felt, LEVEL_S * HZ / PER_KEY, axis=0, mode="nearest")
    on_average = np.median(np.linalg.norm(felt, axis=1))
    return float(min(abs(norm / samples.gravity - 1) for norm in (at_rest, on_average)))


def _constant_precision(gravity: float, start: LimbStart, w: PathWeights, off: float) -> np.ndarray:
    """(14, 14) inverse covariance of the constants; the accelerometer's by how far its gravity is off."""
    sd = np.ones(CONSTANTS)
    sd[BIAS_RATE] = w.bias_rate
    sd[BIAS_FORCE] = gravity * np.hypot(w.still_scale, off)
    sd[LAG] = w.lag
    sd[SCALE] = np.hypot(w.still_scale, min(off, 0.01))  # 1 %: from memory, worst of uncalibrated chips
    precision = np.diag(sd**-2)
    precision[BALL, BALL] = precision[HEEL, HEEL] = start.lever_precision
    return precision
