"""When a foot stands: two states, standing and moving, found in the energies of its motion."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from ..core.arrays.scratch import let_go, rows_at_once
from ..core.intervals import runs
from .samples import HZ, PER_KEY

MEAN_S = 0.06  # s of an energy's mean, a runner's quiet instant; tried: 0.06, 0.12 s on walks: 2 % apart
AROUND_S = 0.6  # s either way within which a foot has swung (by reasoning: half a slow stride)
# rad/s, m/s²: less than any step does, so that standing is no movement; chosen; not tried
LEAST_LEVEL = np.array([2.0, 5.0])
FLOOR = 0.003  # share of the swings' energy that a standing foot has anyhow; tried: on walks and runs
STAY = 0.9  # probability to stay in a state for a keyframe; mean 0.2 s, a runner's stance (by reasoning)
FREEDOM = 5.0  # degrees of freedom of the emissions, for their tails (common practice)
ROUNDS = 15  # of expectation and maximisation; tried: 10, 15 on walks, 0.1 % apart
# of the way from the calmest to the liveliest, where both states start; tried: 0.25 and 0.35 on 67 strides of
# foot_path_optical, whose lengths differ by 0.02 mm
FIRST_SPLIT = 0.35
LEAST_VARIANCE = 0.05  # of a log energy, so that no state shrinks to a point (by reasoning)
CLOSEST_S = 0.4  # s from stance to stance; a sprinter's stride takes 0.45 s (from memory)
CALMER = 0.7  # sum of log energies by which an instant is clearly calmer: a factor of two (by reasoning)
SHORTEST_S = 0.06  # s of a stance; a sprinter's lasts 0.08 s (from memory)


def log_energies(rate: np.ndarray, pushed: np.ndarray) -> np.ndarray:
    """Logarithms of how much a foot turns and is accelerated, against the swings around, at the keyframes.

    Parameters
    ----------
    rate : (N, 3) rad/s, in any frame
    pushed : (N, 3) m/s², acceleration without gravity, in any frame

    Returns
    -------
    (K, 2) of E / L + 0.003: E the means of |ω|² and |a|², L their largest values around, averaged; so that a
    stance of a runner looks like one of a walker
    """
    energy = _energy(rate, pushed)
    level = _mean(maximum_filter1d(energy, _odd(2 * AROUND_S), axis=0, mode="nearest"), AROUND_S)
    return np.log(energy / np.maximum(level, LEAST_LEVEL**2) + FLOOR)[::PER_KEY]


def between_swings(rate: np.ndarray, pushed: np.ndarray) -> np.ndarray:
    """Whether the foot swings shortly before and shortly after, at the keyframes: there it shows its stances.

    Parameters
    ----------
    rate : (N, 3) rad/s, in any frame
    pushed : (N, 3) m/s², acceleration without gravity, in any frame

    Returns
    -------
    (K,) bool; false while somebody stands about before, between and after bouts

    Notes
    -----
    A swing is over the least levels in turning and in acceleration. Either alone does as well for runs, but
    takes shuffling feet for swings: on the parcel demo's truth four stances would float.
    """
    swings = np.all(_energy(rate, pushed) > LEAST_LEVEL**2, axis=1)[::PER_KEY]
    at = np.flatnonzero(swings)
    if not len(at):
        return swings
    keys = np.arange(len(swings))
    after = np.searchsorted(at, keys)  # the first swing not before each keyframe
    to_next = at[np.minimum(after, len(at) - 1)] - keys
    from_last = keys - at[np.maximum(np.searchsorted(at, keys, "right") - 1, 0)]
    reach = 2 * AROUND_S * HZ / PER_KEY
    return (to_next >= 0) & (to_next <= reach) & (from_last >= 0) & (from_last <= reach)


def _energy(rate: np.ndarray, pushed: np.ndarray) -> np.ndarray:
    """(N, 2) means of |ω|² and |a|²."""
    out = np.empty((len(rate), 2))
    for at in rows_at_once(len(out)):
        out[at] = np.stack([(rate[at] ** 2).sum(1), (pushed[at] ** 2).sum(1)], 1)
        let_go(rate, pushed)
    return _mean(out, MEAN_S)


def _odd(seconds: float) -> int:
    return max(1, round(seconds * HZ) | 1)


def _mean(values: np.ndarray, seconds: float) -> np.ndarray:
    return uniform_filter1d(values, _odd(seconds), axis=0, mode="nearest")


def contact_probability(energies: np.ndarray, learnt: np.ndarray) -> np.ndarray:
    """Probability that the foot stands, by a hidden Markov model with two states.

    Parameters
    ----------
    energies : (K, d), lower where the foot stands
    learnt : (K,) bool, where both states are learnt from; all of them where they are less than a stride

    Returns
    -------
    (K,)

    Notes
    -----
    Emissions are Student t with full covariance; means and covariances are found in each recording by
    expectation and maximisation, from a split between the calmest and the liveliest. A runner's stance is
    far livelier than standing about, which would otherwise be one state and all running the other. Forward
    and backward probabilities are prefix products of 2 × 2 matrices, by doubling, so that time is an axis.

    References
    ----------
    Rabiner 1989, doi:10.1109/5.18626, section III; Hillis & Steele 1986, doi:10.1145/7902.7903.
    """
    if learnt.sum() * PER_KEY < 2 * AROUND_S * HZ:
        learnt = np.ones(len(energies), bool)
    calm, lively = np.percentile(energies.sum(1)[learnt], [1, 90])
    low = energies.sum(1) <= calm + FIRST_SPLIT * (lively - calm)
    shares = np.stack([low, ~low], 1).astype(float)
    for _ in range(ROUNDS):
        likelihood = np.stack([_emission(energies, share * learnt) for share in shares.T], 1)
        before, shares = shares, _smoothed(np.exp(likelihood - likelihood.max(1, keepdims=True)))
        if np.abs(shares - before).max() < 1e-3:  # by reasoning: no stance's ends move any more
            break
    return shares[:, 0]


def _emission(x: np.ndarray, share: np.ndarray) -> np.ndarray:
    """(K,) log likelihood of a state that each sample belongs to, and is learnt from, with `share`."""
    weight = share / max(share.sum(), 1e-12)
    off = x - weight @ x
    spread = (off * weight[:, None]).T @ off + LEAST_VARIANCE * np.eye(x.shape[1])
    L = np.linalg.cholesky(spread)
    z = np.linalg.solve(L, off.T)
    return -0.5 * (FREEDOM + x.shape[1]) * np.log1p((z**2).sum(0) / FREEDOM) - np.log(np.diag(L)).sum()


def _smoothed(e: np.ndarray) -> np.ndarray:
    """(K, 2) state probabilities given all emissions (K, 2)."""
    M = np.array([[STAY, 1 - STAY], [1 - STAY, STAY]])
    ahead = _prefix(M * e[1:, None, :])
    forward = np.concatenate([e[:1], np.einsum("i,kij->kj", e[0], ahead)])
    back = _prefix(np.swapaxes(M * e[1:, None, :], -1, -2)[::-1])[::-1]
    backward = np.concatenate([back.sum(1), np.ones((1, 2))])
    both = forward / forward.sum(1, keepdims=True) * backward
    return both / both.sum(1, keepdims=True)


def _prefix(steps: np.ndarray) -> np.ndarray:
    """(n, 2, 2) products S₀, S₀ S₁, … by doubling, each up to its size."""
    out = np.moveaxis(steps / steps.max((1, 2), keepdims=True), 0, -1).copy()  # long axis last: fast
    reach = 1
    while reach < out.shape[-1]:
        a, b = out[..., :-reach], out[..., reach:]
        both = a[:, :1] * b[:1] + a[:, 1:] * b[1:]
        out[..., reach:] = both / both.max((0, 1))
        reach *= 2
    return np.moveaxis(out, -1, 0)


def stances(energies: np.ndarray, learnt: np.ndarray) -> list[tuple[int, int]]:
    """Stances that are long enough, and far enough from calmer ones.

    Parameters
    ----------
    energies : (K, 2) log energies
    learnt : (K,) bool, where what a stance is like is learnt from

    Returns
    -------
    (first keyframe, keyframe after the last) of each

    Notes
    -----
    A foot in the air is calm for a moment, too, in the middle of a fast swing. Of two calmest instants that
    are nearer to each other than any two stances, the livelier one is no stance.
    """
    standing, quiet = contact_probability(energies, learnt), energies.sum(1)
    least = SHORTEST_S * HZ / PER_KEY
    found = [(a, b) for a, b in runs(standing > 0.5) if b - a >= least]
    calm = np.array([a + int(np.argmin(quiet[a:b])) for a, b in found], int)
    return [found[i] for i in np.flatnonzero(_calmest(calm, quiet[calm]))]


def _calmest(calm: np.ndarray, quiet: np.ndarray) -> np.ndarray:
    """(S,) bool: instants (S,) in keyframes with nothing clearly calmer nearer than a stride."""
    apart = np.abs(calm[:, None] - calm) * PER_KEY / HZ
    return ~np.any((apart < CLOSEST_S) & (quiet[:, None] > quiet + CALMER), axis=1)
