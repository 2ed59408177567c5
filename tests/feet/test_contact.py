"""Standing and moving: against a plain forward-backward recursion, and at any pace."""

from __future__ import annotations

import numpy as np
import pytest

from bodyfit.feet.contact import STAY, _smoothed, between_swings, log_energies, stances
from bodyfit.feet.samples import HZ, PER_KEY, foot_samples, start_rotations
from tests.feet.stepping import stepping


def test_prefix_products_give_the_recursion_of_the_textbook():
    """Rabiner 1989, doi:10.1109/5.18626, eq. 19 to 27, written out in a loop."""
    e = np.random.default_rng(0).uniform(1e-6, 1, (200, 2))
    M = np.array([[STAY, 1 - STAY], [1 - STAY, STAY]])
    a, b = np.ones_like(e), np.ones_like(e)
    a[0] = e[0] / e[0].sum()
    for k in range(1, len(e)):
        a[k] = (a[k - 1] @ M) * e[k]
        a[k] /= a[k].sum()
    for k in range(len(e) - 2, -1, -1):
        b[k] = M @ (e[k + 1] * b[k + 1])
        b[k] /= b[k].sum()
    expected = a * b / (a * b).sum(1, keepdims=True)
    np.testing.assert_allclose(_smoothed(e), expected, atol=1e-9)


@pytest.mark.parametrize("period", [0.6, 1.1, 2.0])
def test_every_stance_is_found_at_any_pace(period):
    made = stepping(period=period)
    samples = foot_samples(made.unit, 9.80665)
    pushed = start_rotations(samples) @ samples.force[..., None]
    energies = log_energies(samples.rate(), pushed[..., 0] - [0, 9.80665, 0])
    found = stances(energies, between_swings(samples.rate(), pushed[..., 0] - [0, 9.80665, 0]))
    assert len(found) == len(made.off) + 1
    middle = np.array([(a + b) / 2 for a, b in found[1:-1]]) * PER_KEY / HZ
    assert np.all(middle > made.strike[:-1]) and np.all(middle < made.off[1:])


def test_states_are_learnt_between_swings_only():
    made = stepping(period=1.1)
    samples = foot_samples(made.unit, 9.80665)
    pushed = (start_rotations(samples) @ samples.force[..., None])[..., 0] - [0, 9.80665, 0]
    learnt = between_swings(samples.rate(), pushed)
    time = samples.key_time
    assert learnt[(time > made.off[0] + 0.2) & (time < made.strike[-1] - 0.2)].all()
    assert not learnt[(time < made.off[0]) | (time > made.strike[-1])].any()


def test_a_runner_who_stood_before_and_after_still_has_stances():
    """Standing is far calmer than a runner's stance, which is far calmer than what is between."""
    rng, stride, count, rest = np.random.default_rng(0), 36, 12, 250
    phase = np.arange(stride * count) % stride
    run = np.where((phase >= 14) & (phase < 22), -2.6, -1.0)[:, None]
    still = np.full((rest, 2), -5.8)
    energies = np.concatenate([still, run + rng.normal(0, 0.5, (len(run), 2)), still])
    learnt = np.r_[np.zeros(rest, bool), np.ones(len(run), bool), np.zeros(rest, bool)]
    assert len(stances(energies, learnt)) == count + 2
    assert len(stances(energies, np.ones(len(energies), bool))) < count  # what it is for
