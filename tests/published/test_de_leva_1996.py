"""Segment lengths, masses, centres of mass and radii of gyration.

de Leva P 1996, Adjustments to Zatsiorsky-Seluyanov's segment inertia parameters, J Biomech 29:1223-1230,
doi:10.1016/0021-9290(95)00178-6, table 4 and the alternative end points; read in a transcription. Lengths and
shares are printed to 4 decimals, radii of gyration to 3; "sagittal" is taken as about the X axis (forward),
"transverse" about Z (right), "longitudinal" along the segment.
"""

# numbers that may be unknown (None) are known in these models
# pyright: reportOptionalSubscript=false, reportOptionalOperand=false, reportOperatorIssue=false, reportCallIssue=false, reportArgumentType=false

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from bodyfit.body.person import Person
from bodyfit.files.model.model_file import model_names, read_model

TABLE = pd.read_csv(Path(__file__).parent / "data/de_leva_1996_table_4.csv").set_index(["segment", "sex"])
STATURE = {"male": 1.741, "female": 1.735}
MASS = {"male": 73.0, "female": 61.9}
HALF_DIGIT, HALF_DIGIT_RADIUS = 0.5e-4, 0.5e-3
LIMBS = {"upperarm": "upper arm", "forearm": "forearm", "thigh": "thigh", "calf": "shank to ankle centre"}
both_sexes = pytest.mark.parametrize("sex", ["male", "female"])


def scaled(sex, stature_m=1.0, mass_kg=100.0, model="whole_body"):
    # a stature that the person check allows; shares follow by division
    return read_model(model).scaled(Person(stature_m, mass_kg, sex))


def radii(segment):
    return np.sqrt(np.diag(segment.inertia) / segment.mass) / segment.length


def row_radii(row, along="y"):
    sagittal, transverse, longitudinal = row.r_sagittal, row.r_transverse, row.r_longitudinal
    return [sagittal, longitudinal, transverse] if along == "y" else [longitudinal, transverse, sagittal]


@both_sexes
def test_masses_of_the_table_sum_to_the_body(sex):
    pairs = ["upper arm", "forearm", "hand to third fingertip", "thigh", "shank to ankle centre", "foot"]
    mass = TABLE.xs(sex, level="sex").mass
    expected = {"male": 1.0000, "female": 0.9999}[sex]
    assert mass["head"] + mass["trunk"] + 2 * mass[pairs].sum() == pytest.approx(expected, abs=1e-9)
    assert mass[["upper trunk", "middle trunk", "lower trunk"]].sum() == pytest.approx(
        mass["trunk"], abs=1.1e-4
    )


@both_sexes
def test_segment_masses_sum_to_the_body_mass(sex):
    total = sum(segment.mass for segment in scaled(sex, mass_kg=80.0).segments.values())
    # the table's own sum: 1.0000 and 0.9999; its trunk and its parts differ by one last digit
    assert total == pytest.approx(80.0, rel=2.1e-4)


@both_sexes
@pytest.mark.parametrize("side", ["l", "r"])
@pytest.mark.parametrize("segment", LIMBS)
def test_limbs_match_table_4(sex, side, segment):
    row = TABLE.loc[(LIMBS[segment], sex)]
    found = scaled(sex).segments[f"{side}_{segment}"]
    assert found.length == pytest.approx(row.length_m / STATURE[sex], abs=HALF_DIGIT)
    assert found.mass / 100 == pytest.approx(row.mass, abs=1e-9)
    np.testing.assert_allclose(found.com / found.length, [0, -row.com, 0], atol=1e-9)
    np.testing.assert_allclose(radii(found), row_radii(row), atol=1e-9)


@both_sexes
@pytest.mark.parametrize(("segment", "name"), [("pelvis", "lower trunk"), ("skull", "head")])
def test_trunk_end_segments_match_table_4_from_below(sex, segment, name):
    row = TABLE.loc[(name, sex)]
    found = scaled(sex).segments[segment]
    assert found.length == pytest.approx(row.length_m / STATURE[sex], abs=HALF_DIGIT)
    np.testing.assert_allclose(found.com / found.length, [0, 1 - row.com, 0], atol=1e-9)
    np.testing.assert_allclose(radii(found), row_radii(row), atol=1e-9)


@both_sexes
@pytest.mark.parametrize("side", ["l", "r"])
def test_hand_and_foot_match_table_4_in_shares_of_their_length(sex, side):
    hand_row, foot_row = TABLE.loc[("hand to third fingertip", sex)], TABLE.loc[("foot", sex)]
    hand, foot = (scaled(sex).segments[f"{side}_{name}"] for name in ("hand", "hindfoot"))
    assert hand.mass / 100 == pytest.approx(hand_row.mass, abs=1e-9)
    assert foot.mass / 100 == pytest.approx(foot_row.mass, abs=1e-9)
    np.testing.assert_allclose(hand.com / hand.length, [0, -hand_row.com, 0], atol=1e-9)
    assert foot.com[0] / foot.length == pytest.approx(foot_row.com - 0.25, abs=HALF_DIGIT)
    np.testing.assert_allclose(radii(hand), row_radii(hand_row), atol=1e-9)
    np.testing.assert_allclose(radii(foot), row_radii(foot_row, along="x"), atol=1e-9)


@both_sexes
def test_thorax_is_middle_and_upper_trunk_joined(sex):
    upper, middle = TABLE.loc[("upper trunk", sex)], TABLE.loc[("middle trunk", sex)]
    thorax = scaled(sex, STATURE[sex]).segments["thorax"]
    heights = np.array(
        [middle.length_m * (1 - middle.com), middle.length_m + upper.length_m * (1 - upper.com)]
    )
    masses = np.array([middle.mass, upper.mass])
    com = masses @ heights / masses.sum()
    own = [np.multiply(row_radii(row), row.length_m) ** 2 for row in (middle, upper)]
    apart = np.outer((heights - com) ** 2, [1, 0, 1])
    joined = np.sqrt(masses @ (own + apart) / masses.sum()) / thorax.length
    assert thorax.mass / 100 == pytest.approx(masses.sum(), abs=1e-9)
    assert thorax.com[1] / thorax.length == pytest.approx(com / thorax.length, abs=1.5 * HALF_DIGIT)
    np.testing.assert_allclose(radii(thorax), joined, atol=1.1 * HALF_DIGIT_RADIUS)


@both_sexes
@pytest.mark.parametrize("model", model_names())
def test_inertia_is_that_of_a_real_body(sex, model):
    for segment in scaled(sex, 1.7, 70.0, model).segments.values():
        low, middle, high = np.linalg.eigvalsh(segment.inertia)
        assert low > 0, segment.name
        assert low + middle > high, segment.name
