"""Changes to and from lying are put where the trunk turns; sway tells who sits."""

from __future__ import annotations

import numpy as np
import pytest

from bodyfit.core.gravity import STANDARD_GRAVITY as G
from bodyfit.movement.activities.chain.names import LEAST_S, MEAN_S, MOST_S, ORDER
from bodyfit.movement.activities.chain.semi_markov import chain_of
from bodyfit.movement.activities.chain.timeline import ActivityStretch
from bodyfit.movement.activities.unit.features import HOP_S, Features, features_of
from bodyfit.movement.activities.unit.placed import placed
from bodyfit.movement.activities.unit.samples import FREQUENCY

T = np.arange(0, 40, HOP_S)


def tilting(at: float, seconds: float, degrees: float = 80.0) -> Features:
    """A trunk that goes from upright to some tilt about an instant."""
    share = np.clip((T - at) / seconds + 0.5, 0, 1)
    up = np.cos(np.radians(degrees) * share)
    return Features(T, up[:, None], ("up_u",))


def told(start: float, end: float, change: str = "stand_to_lie") -> tuple[ActivityStretch, ...]:
    spans = ((0.0, start, "standing"), (start, end, change), (end, 40.0, "lying"))
    return tuple(ActivityStretch(a, b, name, 0.9) for a, b, name in spans)


@pytest.mark.parametrize("off", [-1.8, 0.0, 1.5])
def test_a_change_is_put_where_the_trunk_turns(off):
    found = placed(told(18.5 + off, 21.5 + off), tilting(20.0, 3.0))
    assert (found[1].start + found[1].end) / 2 == pytest.approx(20.0, abs=HOP_S)
    assert found[1].end - found[1].start == pytest.approx(0.8 * 3.0, abs=2 * HOP_S)
    assert found[0].end == found[1].start and found[2].start == found[1].end
    assert [one.activity for one in found] == ["standing", "stand_to_lie", "lying"]


def test_without_a_turn_or_of_another_kind_nothing_moves():
    spans = told(17.0, 20.0)
    assert placed(spans, tilting(20.0, 3.0, degrees=10.0)) == spans
    sits = told(17.0, 20.0, "stand_to_sit")
    assert placed(sits, tilting(20.0, 3.0)) == sits


def test_a_change_of_posture_does_not_last_for_ever():
    chain = chain_of(ORDER, HOP_S)
    at = np.random.default_rng(3)
    number = ORDER.index("sit_to_lie")
    lasted = []
    for _ in range(1500):
        s, n = chain.first[number], 1
        while chain.owner[s := at.choice(len(chain.step), p=chain.step[s])] == number:
            n += 1
        lasted.append(n * HOP_S)
    assert min(lasted) >= LEAST_S["sit_to_lie"] - HOP_S / 2
    assert max(lasted) <= MOST_S["sit_to_lie"] + HOP_S / 2
    assert np.mean(lasted) == pytest.approx(MEAN_S["sit_to_lie"], abs=0.5)  # cut off
    evidence = np.full((200, len(ORDER)), -3.0)
    evidence[:, number] = 0.0  # says so for 48 s
    probable = chain.probabilities(evidence)
    assert probable[:, number].mean() < 0.9


@pytest.mark.parametrize(("yaw", "roll"), [(0.02, 0.01), (0.01, 0.02)])
def test_sway_is_yaw_over_roll_however_strong(yaw, roll):
    rng = np.random.default_rng(5)
    t = np.arange(0, 30, 1 / FREQUENCY)
    force = np.tile([0.0, 0.0, G], (len(t), 1))
    for size in (1.0, 3.0):
        rate = size * rng.normal(size=(len(t), 3)) * [roll, 0.01, yaw]
        up = np.tile([0.0, 0.0, 1.0], (len(t), 1))
        found = features_of(t, force, rate, up, np.eye(3))
        for name in ("yaw_roll_slow", "yaw_roll_fast"):
            assert np.median(found.column(name)) == pytest.approx(np.log(yaw / roll), abs=0.15)
