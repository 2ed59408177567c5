"""Names from files in the words of people, alone and within sentences."""

from __future__ import annotations

import pytest

from bodyfit.study.pages.names import Names, angle_words, unit_words

NAMES = Names(
    ["l_knee", "r_knee", "vl5"],
    ["l_calf", "r_calf", "pelvis", "segment_2"],
    ["l_calf_unit", "r_calf_unit", "unit", "left shank IMU"],
    ["r_knee.internal_rotation"],
)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("l_thigh_unit", "left thigh"),
        ("r_upperarm-IMU", "right upper arm"),
        ("Left wrist sensor", "Left wrist"),
        ("unit", "unit"),  # nothing else would be left
        ("unit_3", "unit 3"),
        ("breastbone", "breastbone"),
    ],
)
def test_nothing_is_stuck_on_a_units_name(name, words):
    assert unit_words(name) == words


def test_an_angle_is_named_with_its_joint():
    assert angle_words("r_elbow.pronation") == "right elbow pronation"
    assert angle_words("l_talocrural.internal_rotation") == "left ankle internal rotation"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("l_calf_unit and r_calf_unit fit each other's segments better",
         "left shank and right shank fit each other's segments better"),
        ("the gyroscope of l_calf_unit: 3 s", "the gyroscope of left shank: 3 s"),
        ("r_knee.internal_rotation breaks first", "right knee internal rotation breaks first"),
        ("r_knee bends too far", "right knee bends too far"),
        # what is to be typed, and what only begins alike, stays
        ("leave it out with --leave-out l_calf_unit", "leave it out with --leave-out l_calf_unit"),
        ("set [joints.r_knee] report", "set [joints.r_knee] report"),
        ("give units.l_calf_unit.mounting", "give units.l_calf_unit.mounting"),
        ("see `l_calf_unit`, 'r_knee', l_calf_unit.csv", "see `l_calf_unit`, 'r_knee', l_calf_unit.csv"),
        ("segment_21 is none", "segment_21 is none"),
    ],
)  # fmt: skip
def test_names_within_a_sentence_are_said_save_where_they_are_to_be_typed(text, said):
    assert NAMES.within(text) == said


def test_without_names_a_sentence_stays():
    assert Names().within("l_knee") == "l_knee" and Names().of("l_knee") == "l_knee"
