"""From probabilities of windows to stretches of time, and how much of the time each activity took."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from ....core.intervals import runs
from .names import OTHER, UNKNOWN
from .semi_markov import Chain

LEAST_SURE = 0.6  # tried: on activity_waist_phone; less probable windows are wrong in every other case
BOUNDARY_S = 1.5  # s; by reasoning: where one activity becomes another nobody can say which it is
DRAWS = 100  # by reasoning: the standard deviation of a share is known to 7 % (1 / sqrt(2 n))


@dataclass(frozen=True)
class ActivityStretch:
    """One activity from start to end.

    Attributes
    ----------
    start, end : s of the capture's clock
    activity : name, "unknown" where the movement is none of the known ones
    probability : mean over its windows; NaN where rules told it, which do not know
    """

    start: float
    end: float
    activity: str
    probability: float


@dataclass(frozen=True)
class Share:
    """Part of the time that an activity took, 0 to 1, and the standard deviation of that part."""

    value: float
    sd: float


def named(states: tuple[str, ...], probabilities: np.ndarray) -> tuple[tuple[str, ...], np.ndarray]:
    """Probabilities with all that has no name in "unknown".

    Parameters
    ----------
    states : n names
    probabilities : (T, n)

    Returns
    -------
    names without "other", and (T, n or n - 1)
    """
    if OTHER not in states:
        return states, probabilities
    other, unknown = states.index(OTHER), states.index(UNKNOWN)
    out = probabilities.copy()
    out[:, unknown] += out[:, other]
    keep = [number for number in range(len(states)) if number != other]
    return tuple(states[number] for number in keep), out[:, keep]


def timeline(
    time: np.ndarray, hop: float, states: tuple[str, ...], probabilities: np.ndarray
) -> tuple[ActivityStretch, ...]:
    """Stretches of the likeliest activity, without holes.

    Parameters
    ----------
    time : (T,) s, middles of windows, `hop` apart
    hop : s
    states : n names, "unknown" among them
    probabilities : (T, n)

    Returns
    -------
    tuple of ActivityStretch
    """
    best = probabilities.argmax(1)
    for a, b in runs(probabilities.max(1) < LEAST_SURE):
        if (b - a) * hop > BOUNDARY_S:
            best[a:b] = states.index(UNKNOWN)
    edges = np.r_[0, np.flatnonzero(best[1:] != best[:-1]) + 1, len(best)]
    return tuple(
        ActivityStretch(
            float(time[a] - hop / 2), float(time[b - 1] + hop / 2), states[best[a]],
            float(probabilities[a:b, best[a]].mean()),
        )
        for a, b in pairwise(edges)
    )  # fmt: skip


def within(stretches: tuple[ActivityStretch, ...], start: float, end: float) -> tuple[ActivityStretch, ...]:
    """Stretches cut to a span of time.

    Parameters
    ----------
    stretches : in the order of time
    start, end : s

    Returns
    -------
    tuple of ActivityStretch
    """
    cut = (replace(s, start=max(s.start, start), end=min(s.end, end)) for s in stretches)
    return tuple(s for s in cut if s.end > s.start)


def shares(chain: Chain, evidence: np.ndarray, probabilities: np.ndarray) -> dict[str, Share]:
    """Share of time of each activity.

    Parameters
    ----------
    chain : of n states
    evidence : (T, n) log-likelihoods
    probabilities : (T, n) of the chain, given all of it

    Returns
    -------
    name -> Share; the value is the mean probability, the standard deviation that of whole timelines drawn
    """
    mean = probabilities.mean(0)
    drawn = chain.draws(evidence, DRAWS)
    counts = np.stack([np.mean(drawn == number, 1) for number in range(len(chain.states))], 1)
    names, both = named(chain.states, np.vstack([mean, counts]))
    return {
        n: Share(float(v), float(s)) for n, v, s in zip(names, both[0], both[1:].std(0, ddof=1), strict=True)
    }
