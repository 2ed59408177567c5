"""The elastic distance, its alignment, and the choice among matches, against plain loops and full search."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from bodyfit.movement.repetitions.choice import OVERLAP, Match, chosen
from bodyfit.movement.repetitions.warping import FAR, STEADY, aligned, spread, subsequences


def plain(stream, template):
    """The recursion of the module's head, cell by cell; the start is that of the best path."""
    n, m, p = len(stream), len(template), STEADY * spread(template)
    c = ((stream[None] - template[:, None]) ** 2).sum(2)
    D, S = np.full((m, n), np.inf), np.zeros((m, n), int)
    D[0], S[0] = c[0], np.arange(n)
    for i, j in itertools.product(range(1, m), range(n)):
        ways = []
        if j > 0:
            ways.append((D[i - 1, j - 1] + c[i, j], S[i - 1, j - 1]))
        if j > 1:
            ways.append((D[i - 1, j - 2] + 0.5 * (c[i, j - 1] + c[i, j]) + p, S[i - 1, j - 2]))
        if j > 0 and i > 1:
            ways.append((D[i - 2, j - 1] + c[i - 1, j] + c[i, j] + p, S[i - 2, j - 1]))
        if ways:
            D[i, j], S[i, j] = min(ways)
    return D[-1] / m, S[-1]


@pytest.mark.parametrize(("n", "m", "channels"), [(60, 9, 3), (80, 40, 2), (30, 2, 1), (5, 12, 1)])
def test_costs_and_starts_are_those_of_the_plain_recursion(n, m, channels):
    rng = np.random.default_rng(n)
    stream, template = rng.normal(size=(n, channels)), rng.normal(size=(m, channels))
    cost, start = subsequences(stream, template)
    expected, since = plain(stream, template)
    reached = np.isfinite(expected)
    assert np.allclose(cost[reached], expected[reached], rtol=1e-5)
    assert (start[reached] == since[reached]).all()
    assert (cost[~reached] > FAR / 1e3).all()


def test_a_stretched_copy_is_found_where_it_is():
    share = np.linspace(0, 1, 40)
    template = np.stack([np.sin(6 * share), np.cos(5 * share**2)], 1)
    copy = np.stack([np.interp(np.linspace(0, 1, 60), share, column) for column in template.T], 1)
    stream = np.concatenate([np.zeros((30, 2)), copy, np.zeros((30, 2))])
    cost, start = subsequences(stream, template)
    end = int(np.argmin(cost))
    assert abs(end - 89) <= 1 and abs(start[end] - 30) <= 1
    assert cost[end] < 0.03 * spread(template)


def test_alignment_of_many_pieces_is_that_of_each_and_reaches_both_ends():
    rng = np.random.default_rng(0)
    template = np.cumsum(rng.normal(size=(30, 2)), 0)
    lengths = (30, 45, 22, 58)
    parts = [
        np.stack([np.interp(np.linspace(0, 29, n), np.arange(30), column) for column in template.T], 1)
        for n in lengths
    ]
    edges = np.concatenate([[0], np.cumsum(lengths)])
    pieces = np.stack([edges[:-1], edges[1:]], 1)
    stream = np.concatenate(parts)
    position, cost = aligned(stream, template, pieces)
    for k, (first, last) in enumerate(pieces):
        alone, its_cost = aligned(stream, template, pieces[k : k + 1])
        assert np.allclose(alone[0], position[k]) and np.isclose(its_cost[0], cost[k])
        assert position[k, 0] == first and position[k, -1] == last - 1
        assert (np.diff(position[k]) >= 0).all()
        even = first + np.linspace(0, last - 1 - first, 30)
        assert np.abs(position[k] - even).max() < 3.0


def test_no_alignment_beyond_twice_the_tempo():
    template = np.arange(20.0)[:, None]
    position, cost = aligned(np.arange(50.0)[:, None], template, np.array([[0, 50], [0, 30]]))
    assert np.isnan(position[0]).all() and cost[0] > 1e6
    assert np.isfinite(position[1]).all()


def test_the_choice_is_the_best_of_all_sets():
    rng = np.random.default_rng(3)
    for _ in range(20):
        first = rng.integers(0, 60, 9)
        matches = [
            Match(int(a), int(a + d), 0.1, 0, 0, g)
            for a, d, g in zip(first, rng.integers(5, 25, 9), rng.uniform(1, 9, 9), strict=True)
        ]
        best = max(
            sum(m.gain for m in group)
            for size in range(1, 10)
            for group in itertools.combinations(matches, size)
            if apart(group)
        )
        assert np.isclose(sum(m.gain for m in chosen(matches)), best)


def apart(group) -> bool:
    inner = sorted((m.first + OVERLAP * m.length, m.last - OVERLAP * m.length) for m in group)
    return all(a[1] <= b[0] for a, b in itertools.pairwise(inner))


def test_neighbours_that_touch_share_what_both_claim():
    one, other = Match(0, 100, 0.1, 0, 0, 5.0), Match(90, 190, 0.1, 0, 0, 5.0)
    parted = chosen([other, one])
    assert [(m.first, m.last) for m in parted] == [(0, 95), (95, 190)]
    assert chosen([]) == []
