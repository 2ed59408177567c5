"""Hidden semi-Markov chain: an activity is a row of sub-states, left once its least duration is over."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .names import CHANGES, LEAST_S, MEAN_S, MOST_S, moves

IN_A_CHANGE = 0.1  # by reasoning: who starts a recording seldom does so in the middle of a change
MOST_LEFT_AT_ONCE = 0.9  # by reasoning: an activity may always last one window more


@dataclass(frozen=True, eq=False)
class Chain:
    """Activities over windows at a steady step.

    Attributes
    ----------
    states : n names
    owner : (S,) int, activity of each sub-state
    first, last : (n,) int, the sub-states where an activity begins and from which on it may end
    step : (S, S) probabilities from one window to the next

    Notes
    -----
    Durations are d = least + a geometric rest with mean (mean − least); that of a change of posture is cut
    off at its longest: each further window is a sub-state of its own, left from the last for certain. Forward
    and backward sums as Rabiner 1989, doi:10.1109/5.18626, sections III and V (from memory); sub-states as
    Langrock & Zucchini 2011, doi:10.1016/j.csda.2010.06.015 (from memory).
    """

    states: tuple[str, ...]
    owner: np.ndarray
    first: np.ndarray
    last: np.ndarray
    step: np.ndarray

    def probabilities(self, evidence: np.ndarray, lag: int | None = None) -> np.ndarray:
        """How probable each activity is in each window.

        Parameters
        ----------
        evidence : (T, n) log-likelihoods
        lag : windows that may be looked ahead; None: all

        Returns
        -------
        (T, n)
        """
        likely = np.exp(evidence - evidence.max(1, keepdims=True))[:, self.owner]
        ahead = self._backward(likely) if lag is None else self._backward_within(likely, lag)
        both = self._forward(likely) * ahead
        both /= both.sum(1, keepdims=True)
        return np.add.reduceat(both, self.first, axis=1)

    def draws(self, evidence: np.ndarray, count: int, seed: int = 0) -> np.ndarray:
        """Activities drawn from all of their joint distribution: forward filter, backward sampling.

        Parameters
        ----------
        evidence : (T, n) log-likelihoods
        count : of draws
        seed : of the random numbers; the same gives the same

        Returns
        -------
        (count, T) int, index of the activity
        """
        likely = np.exp(evidence - evidence.max(1, keepdims=True))[:, self.owner]
        forward = self._forward(likely)
        chance = np.random.default_rng(seed).random((len(forward), count))
        out = np.empty((len(forward), count), int)
        weight, which = forward[-1:], np.zeros(count, int)  # which row of weights each draw goes by
        back = np.ascontiguousarray(self.step.T)
        for number in range(len(forward) - 1, -1, -1):
            total = np.cumsum(weight, 1)
            for row in range(len(total)):
                own = which == row
                level = chance[number, own] * total[row, -1]
                out[number, own] = np.searchsorted(total[row], level)
            later, which = np.unique(out[number], return_inverse=True)  # most draws agree
            weight = forward[number - 1] * back[later]
        return self.owner[out].T

    def _forward(self, likely: np.ndarray) -> np.ndarray:
        """(T, S) probabilities given the windows so far; any activity may have gone on before the first."""
        out, now = np.empty_like(likely), np.zeros(len(self.owner))
        now[self.last] = [IN_A_CHANGE if name in CHANGES else 1.0 for name in self.states]
        for number, row in enumerate(likely):
            now = (now @ self.step if number else now) * row
            now /= now.sum()
            out[number] = now
        return out

    def _backward(self, likely: np.ndarray) -> np.ndarray:
        """(T, S) likelihood of all later windows, each row up to a factor."""
        out, back = np.ones_like(likely), np.ascontiguousarray(self.step.T)
        for number in range(len(likely) - 2, -1, -1):
            now = (out[number + 1] * likely[number + 1]) @ back
            out[number] = now / now.sum()
        return out

    def _backward_within(self, likely: np.ndarray, lag: int) -> np.ndarray:
        """(T, S) likelihood of the next `lag` windows, each row up to a factor."""
        out, number = np.ones_like(likely), np.arange(len(likely))
        for ahead in range(lag, 0, -1):
            now = (out * likely[np.minimum(number + ahead, len(likely) - 1)]) @ self.step.T
            known = (number + ahead < len(likely))[:, None]
            out = np.where(known, now / now.sum(1, keepdims=True), out)
        return out


def chain_of(states: tuple[str, ...], hop: float) -> Chain:
    """The chain of some activities.

    Parameters
    ----------
    states : names, of `names.ORDER`
    hop : s from window to window

    Returns
    -------
    Chain
    """
    least = np.array([max(1, round(LEAST_S[name] / hop)) for name in states])
    length = np.array([max(n, round(MOST_S.get(k, 0.0) / hop)) for n, k in zip(least, states, strict=True)])
    first = np.cumsum(length) - length
    last = first + least - 1
    owner = np.repeat(np.arange(len(states)), length)
    rate = np.array([min(MOST_LEFT_AT_ONCE, hop / max(MEAN_S[k] - LEAST_S[k], hop)) for k in states])
    place, end = np.arange(len(owner)), first + length - 1
    leaves = np.where(place >= last[owner], rate[owner], 0.0)
    bound = end[length > least]
    leaves[bound] = 1.0
    step = np.zeros((len(owner), len(owner)))
    step[place, np.where(np.isin(place, end), place, place + 1)] = 1.0 - leaves
    step[:, first] += leaves[:, None] * moves(states)[owner]
    return Chain(states, owner, first, last, step)
