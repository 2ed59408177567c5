"""Lengths and heights as shares of stature, where de Leva's table has none or a shorter one.

Drillis R, Contini R 1966, Body segment parameters, New York University, technical report 1166.03; read in a
transcription, printed to 3 decimals. Their own note: never validated on a population.
"""

# numbers that may be unknown (None) are known in these models
# pyright: reportOptionalMemberAccess=false

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from bodyfit.body.motion.poses import from_joint_angles
from bodyfit.body.person import Person
from bodyfit.files.model.model_file import read_model
from bodyfit.fitting.body_size.fuse import body_size

SHARE = pd.read_csv(Path(__file__).parent / "data/drillis_contini_1966.csv").set_index("quantity").of_stature
both_sexes = pytest.mark.parametrize("sex", ["male", "female"])


def standing(sex, stature_m=1.0):
    model = read_model("whole_body").scaled(Person(stature_m, 70.0, sex))
    return model, {name: p[0] for name, p in from_joint_angles(model, np.zeros(1), {}).positions.items()}


@both_sexes
def test_hand_and_foot_lengths(sex):
    model, _ = standing(sex)
    assert model.segments["r_hand"].length == pytest.approx(SHARE["hand"])
    assert model.segments["r_hindfoot"].length == pytest.approx(SHARE["foot length"])


@both_sexes
def test_standing_body_is_as_tall_as_the_person(sex):
    model, positions = standing(sex, 1.80)
    top = positions["skull"][1] + model.segments["skull"].length
    height = top - positions["r_hindfoot"][1] + SHARE["ankle height"] * 1.80
    assert height == pytest.approx(1.80, abs=1.80 * 3e-4)  # six lengths of 4 decimals


@both_sexes
def test_shoulder_centre_lies_below_the_shoulder_height_by_the_longer_upper_arm(sex):
    model, positions = standing(sex)
    height = positions["r_upperarm"][1] - positions["r_hindfoot"][1] + SHARE["ankle height"]
    lower = SHARE["upper arm"] - model.segments["r_upperarm"].length
    assert height == pytest.approx(SHARE["shoulder height"] - lower, abs=3e-4)


@both_sexes
def test_hip_and_knee_heights_agree_within_three_percent_of_stature(sex):
    # de Leva's joint centres against the heights of Drillis & Contini: two tables, so only roughly alike
    _, positions = standing(sex)
    ankle = positions["r_hindfoot"][1] - SHARE["ankle height"]
    assert positions["r_thigh"][1] - ankle == pytest.approx(SHARE["hip height"], abs=0.03)
    assert positions["r_calf"][1] - ankle == pytest.approx(SHARE["knee height"], abs=0.03)


@both_sexes
def test_their_knee_height_lies_within_what_a_length_from_stature_may_be_off(sex):
    """Knee height less ankle height is the calf; their shares against de Leva's."""
    person = Person(1.75, 70.0, sex)
    calf = body_size(read_model("right_leg").scaled(person), person).lengths["r_calf"]
    theirs = 1.75 * (SHARE["knee height"] - SHARE["ankle height"])
    assert calf.value == pytest.approx(theirs, abs=calf.sd)
    assert calf.sd == pytest.approx(0.06 * calf.value)
