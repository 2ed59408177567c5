"""Rules on a fitted body: postures by inclination, steps and stairs by the feet."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bodyfit.body.anatomy import THIGHS
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.person import Person
from bodyfit.errors import InputError
from bodyfit.files.model.model_file import read_model
from bodyfit.fitting.result import Fit
from bodyfit.movement.activities.body_changes import with_changes
from bodyfit.movement.activities.body_rules import of_body
from bodyfit.movement.activities.chain.names import CHANGES
from bodyfit.movement.activities.tell import activities

MODEL = read_model("lower_body").scaled(Person(stature_m=1.75))
T = np.arange(0, 12, 0.01)


def about_z(degrees: np.ndarray | float) -> Rotation:
    """Turns about the right-pointing Z of a body that looks along +X: forward bends are negative."""
    return Rotation.from_rotvec(np.outer(np.radians(np.broadcast_to(degrees, T.shape)), [0.0, 0, 1]))


def fit_of(**turns: Rotation) -> Fit:
    rotations = {name: turns.get(name, about_z(0)) for name in MODEL.segments}
    return Fit(PoseSequence(T, rotations, MODEL), {})


def told(fit: Fit) -> list[str]:
    return [s.activity for s in of_body(fit).stretches]


def seated(degrees: np.ndarray) -> Fit:
    return fit_of(l_thigh=about_z(degrees), r_thigh=about_z(degrees))


def test_raised_thighs_sit_and_a_short_crouch_does_not():
    assert told(fit_of()) == ["standing"]
    assert told(seated(np.where(T > 5, 85, 0))) == ["standing", "sitting"]
    assert told(seated(np.where((T > 5) & (T < 6), 85, 0))) == ["standing", "unknown", "standing"]


def test_who_is_level_lies_and_who_bends_is_unknown():
    level = about_z(np.where(T > 6, 85, 0))  # on the back
    assert told(fit_of(pelvis=level, l_thigh=level, r_thigh=level)) == ["standing", "lying"]
    assert told(fit_of(pelvis=about_z(np.where(T > 6, -60, 0)))) == ["standing", "unknown"]


def test_hysteresis_keeps_a_posture_at_its_limit():
    shaking = np.where(T > 4, 51 + 4 * np.sin(20 * T), 0)
    assert told(seated(shaking)) == ["standing", "sitting"]


def walk(steps: float, raised: float = 0.0, lift: float = 25.0) -> Fit:
    swing = lift * np.sin(np.pi * steps * T)
    legs = {"l": swing, "r": -swing}
    turns = {f"{s}_thigh": about_z(v + raised * (v > 0)) for s, v in legs.items()}
    turns |= {f"{s}_calf": about_z(v - raised * (v > 0)) for s, v in legs.items()}
    return fit_of(**turns)


def test_steps_walk_and_quick_ones_run():
    found = of_body(walk(1.8))
    assert [s.activity for s in found.stretches if s.end - s.start > 1] == ["walking"]
    assert [s.activity for s in of_body(walk(2.8)).stretches if s.end - s.start > 1] == ["running"]


@pytest.mark.parametrize(("raised", "name"), [(50.0, "stairs_up"), (0.0, "walking")])
def test_a_foot_ahead_that_is_higher_climbs(raised, name):
    found = [s.activity for s in of_body(walk(1.5, raised)).stretches if s.end - s.start > 1]
    assert found == [name]


def test_a_body_without_thighs_is_refused():
    arm = read_model("right_arm")
    rotations = {name: about_z(0) for name in arm.segments}
    with pytest.raises(InputError, match=r"its body has .* want thorax or pelvis and a thigh"):
        activities(Fit(PoseSequence(T, rotations, arm), {}))


def test_sitting_down_and_getting_up_last_while_the_thighs_turn():
    fit = seated(90.0 * (np.clip((T - 3.0) / 1.5, 0, 1) - np.clip((T - 8.0) / 1.2, 0, 1)))
    found = of_body(fit).stretches
    assert [s.activity for s in found] == ["standing", "stand_to_sit", "sitting", "sit_to_stand", "standing"]
    assert (found[1].start, found[1].end) == pytest.approx((3.0, 4.5), abs=0.2)
    assert (found[3].start, found[3].end) == pytest.approx((8.0, 9.2), abs=0.2)
    assert all(np.isnan(s.probability) for s in found)  # rules do not know how sure they are


def test_who_bends_forward_gets_up_all_the_same():
    """Trunks lean by some 45° as people get up (from memory); by itself that would be unknown."""
    seat = np.clip((T - 3.0) / 1.5, 0, 1) - np.clip((T - 8.0) / 1.2, 0, 1)
    lean = 48.0 * np.sin(np.pi * seat)
    fit = fit_of(pelvis=about_z(-lean), l_thigh=about_z(90.0 * seat), r_thigh=about_z(90.0 * seat))
    found = of_body(fit).stretches
    assert [s.activity for s in found] == ["standing", "stand_to_sit", "sitting", "sit_to_stand", "standing"]
    assert (found[3].start, found[3].end) == pytest.approx((8.0, 9.2), abs=0.2)
    stays = fit_of(pelvis=about_z(np.where(T > 6, -60, 0)), **{n: about_z(60.0 * (T > 9)) for n in THIGHS})
    assert told(stays)[:2] == ["standing", "unknown"]


def test_changes_are_named_by_both_postures_and_no_longer_than_five_seconds():
    time = np.arange(0, 20, 0.04)
    names = ("standing", "sitting", "lying", "walking", "unknown", *CHANGES)
    code = np.where(time < 10, names.index("walking"), names.index("sitting"))
    turning = np.radians(15.0) * time  # all the time
    found = with_changes(time, names, code, {"sit": turning, "lie": 0 * time})
    assert {names[k] for k in found} == {"walking", "stand_to_sit", "sitting"}
    assert np.sum(found == names.index("stand_to_sit")) * 0.04 == pytest.approx(5.0, abs=0.1)
    odd = np.where(time < 10, names.index("unknown"), names.index("sitting"))
    assert (with_changes(time, names, odd, {"sit": turning, "lie": 0 * time}) == odd).all()
