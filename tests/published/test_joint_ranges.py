"""Joint ranges: each limit is the widest mean that the tables in data/ print for it.

Norkin CC, White DJ, Measurement of Joint Motion, table A.1 (Boone & Azen 1979, Green & Wolf, Walker, Macedo &
Magee, AAOS), read in a transcription whose run-together cells were split by hand; printed to 1 degree. Its
columns in data/ are of adults (the book also prints children of up to two years; they are not used).
Soucie JM et al. 2011, Haemophilia 17:500-507, doi:10.1111/j.1365-2516.2010.02399.x, passive, printed to
0.1 degree; read on the pages of the agency that published it; of the rows in data/ those from 20 years on.
Under load joints go further, and bodies in motion are loaded: Hemmerich A et al. 2006, J Orthop Res
24:770-781, doi:10.1002/jor.20114, thirty adults of 48 ± 8 years, squatting with heels up, 157 ± 6 degrees of
the knee; Calatayud J et al. 2015, Int J Sports Phys Ther 10:197-202, 26 men in a lunge, 40.6 ± 5.2 degrees.
The head against the thorax, by cameras, from end to end: Ferrario VF et al. 2002, J Orthop Res 20:122-129,
doi:10.1016/S0736-0266(01)00079-1, 30 women and 30 men; Tommasi DG et al. 2009, Spine 34:1910-1916, 25 women
of 20 to 30 years. Limits that models/ marks "from memory" have no check here.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from bodyfit.files.model.model_file import read_model

DATA = Path(__file__).parent / "data"
NAMES = ("norkin_white_table_a1", "soucie_2011", "adult_ranges_under_load")
NORKIN_WHITE, SOUCIE, LOADED = (pd.read_csv(DATA / f"{name}.csv") for name in NAMES)
GROWN_UP = SOUCIE[SOUCIE["age_y"].str.split("-").str[0].astype(int) >= 20]
TABLES = [NORKIN_WHITE, GROWN_UP.drop(columns="age_y"), LOADED.drop(columns="source")]
WIDEST: dict[str, float] = {}
for row in (row for table in TABLES for row in table.to_dict("records")):
    motion = str(row.pop("motion"))
    WIDEST[motion] = max(WIDEST.get(motion, 0.0), *(float(value) for value in row.values()))
NECK = pd.read_csv(DATA / "adult_neck_ranges.csv").groupby("motion")["whole_range_deg"].max()
PALM_FORWARD = (
    90  # forearm angles are measured from thumb forward; ISB's zero is palm forward, fully supinated
)
LIMITS = [
    ("elbow", "flexion", 1, "elbow flexion", 0),
    ("elbow", "pronation", 0, "forearm supination", PALM_FORWARD),
    ("elbow", "pronation", 1, "forearm pronation", PALM_FORWARD),
    ("radiocarpal", "flexion", 1, "wrist flexion", 0),
    ("radiocarpal", "flexion", 0, "wrist extension", 0),
    ("radiocarpal", "ulnar_deviation", 1, "wrist ulnar deviation", 0),
    ("radiocarpal", "ulnar_deviation", 0, "wrist radial deviation", 0),
    ("knee", "flexion", 1, "knee flexion", 0),
    ("talocrural", "dorsiflexion", 1, "ankle dorsiflexion", 0),
]


def limit_deg(joint, angle, end):
    return np.rad2deg(read_model("whole_body").joints[joint].range[angle][end])


@pytest.mark.parametrize("side", ["l", "r"])
@pytest.mark.parametrize(("joint", "angle", "end", "motion", "zero"), LIMITS)
def test_limit_is_the_widest_published_mean(side, joint, angle, end, motion, zero):
    sign = 1 if end else -1
    assert sign * (limit_deg(f"{side}_{joint}", angle, end) - zero) == pytest.approx(WIDEST[motion], abs=1e-9)


@pytest.mark.parametrize("side", ["l", "r"])
def test_shoulder_elevation_reaches_as_far_as_the_angle_can(side):
    assert min(WIDEST["shoulder flexion"], WIDEST["shoulder abduction"]) > 180
    assert limit_deg(f"{side}_shoulder", "elevation", 0) == pytest.approx(-180)
    assert limit_deg(f"{side}_shoulder", "elevation", 1) == 0


@pytest.mark.parametrize("side", ["l", "r"])
def test_hip_extension_is_no_narrower_than_any_group(side):
    assert -limit_deg(f"{side}_hip", "flexion", 0) >= WIDEST["hip extension"]


@pytest.mark.parametrize("angle", NECK.index)
def test_neck_reaches_half_of_the_widest_published_mean_to_either_side(angle):
    assert [limit_deg("skullbase", angle, end) for end in (0, 1)] == pytest.approx(
        [-NECK[angle] / 2, NECK[angle] / 2]
    )


def test_no_range_of_a_grown_up_comes_from_children_or_web_pages():
    sources = {joint.range_source for joint in read_model("whole_body").joints.values()}
    assert not [s for s in sources if "girls" in s or "boys" in s or "2-8 y" in s or ".com" in s]
