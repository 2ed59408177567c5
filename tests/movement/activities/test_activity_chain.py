"""The chain of activities: moves, durations, probabilities, timelines and shares."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from bodyfit.movement.activities.chain.names import LEAST_S, MEAN_S, ORDER, moves
from bodyfit.movement.activities.chain.semi_markov import Chain, chain_of
from bodyfit.movement.activities.chain.timeline import named, shares, timeline, within

HOP = 0.25


def by_enumeration(chain: Chain, evidence: np.ndarray) -> np.ndarray:
    """Probabilities by summing over every path of sub-states."""
    S, T = len(chain.owner), len(evidence)
    out = np.zeros((T, len(chain.states)))
    for path in itertools.product(range(S), repeat=T):
        p = float(path[0] in chain.last)
        for a, b in itertools.pairwise(path):
            p *= chain.step[a, b]
        p *= np.exp(sum(evidence[t, chain.owner[s]] for t, s in enumerate(path)))
        for t, s in enumerate(path):
            out[t, chain.owner[s]] += p
    return out / out.sum(1, keepdims=True)


def small_chain() -> Chain:
    return chain_of(("standing", "walking", "unknown"), 1.0)


def test_probabilities_are_those_of_all_paths():
    chain = small_chain()
    evidence = np.random.default_rng(1).normal(size=(6, 3))
    assert chain.probabilities(evidence) == pytest.approx(by_enumeration(chain, evidence), abs=1e-12)


def test_a_lag_sees_no_further():
    chain = chain_of(ORDER, HOP)
    evidence = np.random.default_rng(2).normal(size=(40, len(ORDER)))
    cut = chain.probabilities(evidence[:24])[-5]
    assert chain.probabilities(evidence, lag=4)[19] == pytest.approx(cut, abs=1e-9)
    whole = chain.probabilities(evidence)
    assert chain.probabilities(evidence, lag=39) == pytest.approx(whole, abs=1e-9)


def test_durations_are_at_least_the_least_and_as_long_as_said():
    chain = chain_of(("walking", "unknown"), HOP)
    at = np.random.default_rng(3)
    lasted = []
    for _ in range(2000):
        s, n = chain.first[0], 1
        while (s := at.choice(len(chain.step), p=chain.step[s])) != chain.first[1]:
            n += 1
        lasted.append(n * HOP)
    assert min(lasted) >= LEAST_S["walking"]
    assert np.mean(lasted) == pytest.approx(MEAN_S["walking"], abs=1.5)


def test_moves_are_probabilities_and_sitting_comes_by_sitting_down():
    table = moves(ORDER)
    assert table.sum(1) == pytest.approx(1)
    at = {name: number for number, name in enumerate(ORDER)}
    assert table[at["standing"], at["stand_to_sit"]] > 1000 * table[at["standing"], at["sitting"]]


def test_draws_are_as_frequent_as_probable():
    chain = small_chain()
    evidence = np.random.default_rng(4).normal(size=(30, 3))
    drawn = chain.draws(evidence, 3000)
    often = np.mean(drawn[:, :, None] == np.arange(3), 0)
    assert often == pytest.approx(chain.probabilities(evidence), abs=0.05)  # five standard errors


def test_shares_tell_how_unsure_they_are():
    chain = small_chain()
    sure = np.repeat([[0.0, -9.0, -9.0]], 40, axis=0)
    sure[20:] = [-9.0, 0.0, -9.0]
    told, unsure = (shares(chain, of, chain.probabilities(of)) for of in (sure, sure / 30))
    assert told["standing"].value == pytest.approx(0.5, abs=0.03)
    assert sum(share.value for share in told.values()) == pytest.approx(1)
    assert unsure["standing"].sd > 3 * told["standing"].sd


def test_the_timeline_has_no_holes_and_short_doubt_is_not_unknown():
    states = ("standing", "walking", "unknown")
    P = np.repeat([[0.9, 0.1, 0.0]], 30, axis=0)
    P[14:] = [0.1, 0.9, 0.0]
    P[13:16] = [0.5, 0.45, 0.05]
    time = np.arange(30) * HOP
    found = timeline(time, HOP, states, P)
    assert [s.activity for s in found] == ["standing", "walking"]
    assert found[0].end == found[1].start
    P[5:] = [0.5, 0.45, 0.05]  # doubt that lasts
    assert [s.activity for s in timeline(time, HOP, states, P)] == ["standing", "unknown"]
    cut = within(found, 1.0, 2.0)
    assert (cut[0].start, cut[-1].end, len(cut)) == (1.0, 2.0, 1)


def test_what_has_no_name_is_unknown():
    names, P = named(("standing", "other", "unknown"), np.array([[0.5, 0.3, 0.2]]))
    assert names == ("standing", "unknown")
    assert pytest.approx(np.array([[0.5, 0.5]])) == P
