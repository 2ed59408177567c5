"""Tables of activities: what is shipped, what is refused, evidence, and adaptation to the wearer."""

from __future__ import annotations

import numpy as np
import pytest

from bodyfit.errors import InputError
from bodyfit.files.movement.activity_table_file import activity_table_places, read_activity_numbers
from bodyfit.files.plain.shipped import shipped_folder
from bodyfit.movement.activities.table.evidence import _products, _smoothed, evidence_of
from bodyfit.movement.activities.table.shipped import activity_table
from bodyfit.movement.activities.table.table import WearerPrior
from bodyfit.movement.activities.table.wearer import adapted_ways, centred_ways, expected_ways
from bodyfit.movement.activities.unit.features import Features


@pytest.mark.parametrize("place", activity_table_places())
def test_shipped_tables_are_whole_and_say_where_they_come_from(place):
    held = read_activity_numbers(place)
    assert "doi:" in held["source"] and "forbids commercial use, trained nothing here" in held["licence"]
    table = activity_table(place)
    assert table.prior.sum() == pytest.approx(1, abs=1e-3)
    assert np.linalg.eigvalsh(table.precision)[0] > 0
    for prior in table.wearers:
        D = len(prior.features)
        assert min(np.linalg.eigvalsh(C)[0] for C in prior.within) > 0
        assert np.linalg.eigvalsh(prior.between.reshape(len(prior.mean) * D, -1))[0] > -1e-6


def test_an_unknown_place_and_a_damaged_table_are_refused(tmp_path):
    with pytest.raises(InputError, match=r"table: found 'wrist', expected one of .*thigh.*waist"):
        read_activity_numbers("wrist")
    text = (shipped_folder("models") / "activities" / "thigh.toml").read_text("utf-8")
    bad = tmp_path / "bad.toml"
    bad.write_text(text.replace("\nprior = [", "\nprior = [0.5, ", 1), "utf-8")
    with pytest.raises(InputError, match=r"bad\.toml: table\.prior: found size .* expected"):
        read_activity_numbers(bad)
    bad.write_text(text.replace("\nprior = ", "\nprior_ = ", 1), "utf-8")
    with pytest.raises(InputError, match=r"table\.prior"):
        read_activity_numbers(bad)


def test_log_probabilities_are_the_softmax_of_the_published_formula():
    """P(k) = exp(w_k x + b_k) / Σ exp(w_j x + b_j): multinomial logistic, e.g. Bishop 2006, 4.104."""
    table = activity_table("waist")
    x = table.centre + table.scale * np.random.default_rng(0).normal(size=(5, len(table.features)))
    score = (x - table.centre) / table.scale @ table.weights + table.offsets
    wanted = np.exp(score) / np.exp(score).sum(1, keepdims=True)
    assert np.exp(table.log_probabilities(x)) == pytest.approx(wanted)


def test_what_is_far_from_everything_is_unknown():
    table = activity_table("waist")
    walking = table.activities.index("walking")
    usual = table.centre + table.scale * table.means[walking]
    odd = usual + table.scale * np.random.default_rng(0).choice([-5, 5], len(table.features))
    values = np.vstack([np.tile(usual, (40, 1)), np.tile(odd, (40, 1))])
    sway = [name for one in table.wearers for name in one.features if name not in table.features]
    assert sway == ["yaw_roll_slow", "yaw_roll_fast"]  # beside the table
    features = Features(
        np.arange(80) * 0.24, np.hstack([values, np.zeros((80, 2))]), (*table.features, *sway)
    )
    found = evidence_of(features, table, adapt=False)
    best = np.array(found.states)[found.chain.probabilities(found.values).argmax(1)]
    assert set(best[4:36]) == {"walking"} and set(best[44:]) == {"unknown"}


def prior() -> WearerPrior:
    """Three activities in two features; people differ along both by three, own means by one."""
    mean = np.array([[0.0, 0.0], [4.0, 0.0], [0.0, 4.0]])
    within = np.repeat(0.25 * np.eye(2)[None], 3, 0)
    between = np.broadcast_to(9.0 * np.eye(2)[None, :, None], (3, 2, 3, 2)).copy()
    at = np.arange(3)
    between[at, :, at, :] += np.eye(2)
    return WearerPrior(("walking", "stairs_up", "stairs_down"), ("a", "b"), mean, within, between)


def test_a_wearers_means_are_found_and_an_unseen_one_follows():
    rng, shift = np.random.default_rng(0), np.array([3.0, -2.0])
    values = np.vstack([rng.normal(shift + m, 0.5, (300, 2)) for m in prior().mean[:2]])
    share = np.repeat(np.eye(3)[:2], 300, axis=0)
    ways, _ = adapted_ways(prior(), values, share)
    assert ways.mean[:2] == pytest.approx(prior().mean[:2] + shift, abs=0.15)
    assert ways.mean[2] == pytest.approx(prior().mean[2] + shift, abs=0.5)  # never seen: it moves along
    assert np.trace(ways.covariance[2]) > 2 * np.trace(ways.covariance[0])


def test_adaptation_is_the_conjugate_gaussian_update():
    """One activity, one feature: posterior mean = (μ/B + n x̄/W) / (1/B + n/W) (Bishop 2006, 2.141)."""
    one = WearerPrior(
        ("walking",), ("a",), np.zeros((1, 1)), np.full((1, 1, 1), 2.0), np.full((1, 1, 1, 1), 3.0)
    )
    ways, _ = adapted_ways(one, np.full((50, 1), 1.0), np.ones((50, 1)))
    n = 50 / 10  # one window in ten is new
    assert ways.mean[0, 0] == pytest.approx((n / 2) / (1 / 3 + n / 2))
    assert ways.covariance[0, 0, 0] == pytest.approx(2 + 1 / (1 / 3 + n / 2))


def test_an_outlier_is_trusted_less():
    ways = expected_ways(prior())
    trust = ways.trust(np.array([[0.0, 0.0], [60.0, 60.0]]))[:, 0]
    assert trust[0] > 1 and trust[1] < 0.1


def test_centred_means_lie_about_the_wearers_windows():
    values = np.tile([10.0, 10.0], (500, 1))
    ways = centred_ways(prior(), values, np.ones(500))
    assert ways.mean.mean(0) == pytest.approx([10, 10], abs=0.1)


def test_products_by_doubling_are_those_one_by_one():
    steps = np.random.default_rng(0).uniform(0.1, 1, (13, 3, 3))
    found, scale = _products(steps)
    one = np.eye(3)
    for number, step in enumerate(steps):
        one = one @ step
        assert found[number] * np.exp(scale[number]) == pytest.approx(one)


def test_within_a_group_windows_lend_each_other_evidence():
    likely = np.zeros((21, 3))
    likely[:, 0] = 1.0
    likely[10] = [0.0, 3.0, 0.0]  # one window against twenty
    parts, _ = _smoothed(likely, np.ones(21))
    assert parts.sum(1) == pytest.approx(1)
    assert parts[10].argmax() == 0
