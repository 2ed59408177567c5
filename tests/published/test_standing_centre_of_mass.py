"""Height of the centre of mass of a standing person.

Palmer CE 1944, Studies of the center of gravity in the human body, Child Development 15:99-163: height =
0.557 stature + 1.4 cm for both sexes (from memory). That men's lies higher than women's, at 57 and 55 % of
stature, is in every textbook (from memory). Neither used de Leva's table.
"""

# numbers that may be unknown (None) are known in these models
# pyright: reportOptionalSubscript=false

import numpy as np
import pytest

from bodyfit.body.motion.poses import from_joint_angles
from bodyfit.body.person import Person
from bodyfit.files.model.model_file import read_model

ANKLE_HEIGHT = 0.039  # of stature, Drillis & Contini 1966


def height_of_centre_of_mass(sex, stature_m):
    model = read_model("whole_body").scaled(Person(stature_m, 70.0, sex))
    poses = from_joint_angles(model, np.zeros(1), {})
    sole = poses.positions["l_hindfoot"][0, 1] - ANKLE_HEIGHT * stature_m
    return poses.centre_of_mass()[0, 1] - sole


@pytest.mark.parametrize(("sex", "share"), [("male", 0.57), ("female", 0.55)])
def test_standing_centre_of_mass_is_at_the_textbook_share_of_stature(sex, share):
    assert height_of_centre_of_mass(sex, 1.0) == pytest.approx(share, abs=0.005)


@pytest.mark.parametrize("stature_m", [1.55, 1.70, 1.85])
def test_standing_centre_of_mass_follows_palmer(stature_m):
    both = np.mean([height_of_centre_of_mass(sex, stature_m) for sex in ("male", "female")])
    assert both == pytest.approx(0.557 * stature_m + 0.014, abs=0.01)
