"""Joint ranges: each limit is the widest mean that the tables in data/ print for it.

Norkin CC, White DJ, Measurement of Joint Motion, table A.1 (Boone & Azen 1979, Green & Wolf, Walker, Macedo &
Magee, AAOS), read in a transcription whose run-together cells were split by hand; printed to 1 degree. Its
columns in data/ are of adults (the book also prints children of up to two years; they are not used).
Soucie JM et al. 2011, Haemophilia 17:500-507, doi:10.1111/j.1365-2516.2010.02399.x, passive, printed to
0.1 degree; read on the pages of the agency that published it; the rows in data/, of 2 to 8 years too.
Limits that models/ takes from web pages or marks "from memory" have no check here.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from bodyfit.files.model.model_file import read_model

DATA = Path(__file__).parent / "data"
TABLES = [pd.read_csv(DATA / f"{name}.csv") for name in ("norkin_white_table_a1", "soucie_2011")]
WIDEST: dict[str, float] = {}
for row in (
    row for table in TABLES for row in table.drop(columns="age_y", errors="ignore").to_dict("records")
):
    motion = str(row.pop("motion"))
    WIDEST[motion] = max(WIDEST.get(motion, 0.0), *(float(value) for value in row.values()))
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
    ("hip", "flexion", 1, "hip flexion", 0),
    ("knee", "flexion", 1, "knee flexion", 0),
    ("knee", "flexion", 0, "knee extension", 0),
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
