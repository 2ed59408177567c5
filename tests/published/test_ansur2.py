"""Scaled lengths against measured people.

Gordon CC et al. 2014, 2012 Anthropometric Survey of U.S. Army Personnel (ANSUR II), Natick/TR-15/007: 4082
men, 1986 women. The models' joint centres are not the survey's landmarks, and the models scale by stature
alone. So the check asks this: does the model's share of stature lie where nineteen of twenty people do,
within 2 standard deviations (between persons, of that share) of the survey's mean?
"""

# numbers that may be unknown (None) are known in these models
# pyright: reportOptionalSubscript=false, reportOperatorIssue=false

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from bodyfit.body.person import Person
from bodyfit.files.model.model_file import read_model
from bodyfit.fitting.body_size.length import STATURE_SD_SHARE

SURVEY = Path(__file__).resolve().parents[3] / "shared/references/ansur2_lengths_mm.csv"
pytestmark = pytest.mark.skipif(not SURVEY.exists(), reason=f"the survey's lengths are not at {SURVEY}")
both_sexes = pytest.mark.parametrize("sex", ["male", "female"])
ANKLE_HEIGHT = 0.039  # of stature, Drillis & Contini 1966; no segment of the models


@pytest.fixture(scope="module")
def people():
    return pd.read_csv(SURVEY)


def shares(people, sex):
    chosen = people[people.sex == sex]
    return chosen.drop(columns=["sex", "age", "weight_hg"]).div(chosen.stature, axis=0)


def lengths(sex):
    segments = read_model("whole_body").scaled(Person(1.0, 70.0, sex)).segments
    return {name: segment.length for name, segment in segments.items()}


# model's share of stature from its lengths, the survey's dimension, and how the definitions differ
DIMENSIONS = {
    "radialestylionlength": lambda s: s["r_forearm"],  # elbow-wrist centres; radial head to radial styloid
    "handlength": lambda s: s["r_hand"],  # wrist centre to fingertip; styloid crease to fingertip
    "footlength": lambda s: s["r_hindfoot"],  # both heel to toe tip
    "lateralmalleolusheight": lambda s: ANKLE_HEIGHT,  # ankle centre; outer ankle
    "lateralfemoralepicondyleheight": lambda s: s["r_calf"] + ANKLE_HEIGHT,  # knee centre; outer epicondyle
    "trochanterionheight": lambda s: (
        s["r_thigh"] + s["r_calf"] + ANKLE_HEIGHT
    ),  # hip centre; trochanter's top
}


@both_sexes
@pytest.mark.parametrize("dimension", DIMENSIONS)
def test_share_of_stature_lies_among_those_of_people(people, sex, dimension):
    share = shares(people, sex)[dimension]
    assert abs(DIMENSIONS[dimension](lengths(sex)) - share.mean()) < 2 * share.std()


@both_sexes
def test_shoulder_centre_lies_below_the_acromion_and_above_the_armpit(people, sex):
    model = read_model("whole_body").scaled(Person(1.0, 70.0, sex))
    leg = model.segments["r_thigh"].length + model.segments["r_calf"].length + ANKLE_HEIGHT
    height = leg + model.joints["vl5"].centre_in_parent[1] + model.joints["r_shoulder"].centre_in_parent[1]
    acromion = shares(people, sex).acromialheight.mean()
    # a tenth of the upper arm below the acromion: from memory, de Leva 1996, J Biomech 29:1231
    below = acromion - height
    assert below == pytest.approx(0.104 * shares(people, sex).acromionradialelength.mean(), abs=0.015)


@both_sexes
def test_shoulders_are_as_far_apart_as_the_acromia(people, sex):
    joints = read_model("whole_body").scaled(Person(1.0, 70.0, sex)).joints
    apart = joints["r_shoulder"].centre_in_parent[2] - joints["l_shoulder"].centre_in_parent[2]
    assert apart == pytest.approx(shares(people, sex).biacromialbreadth.mean(), abs=1e-4 + 1e-4)


@both_sexes
def test_hip_centres_lie_well_inside_the_hips(people, sex):
    joints = read_model("whole_body").scaled(Person(1.0, 70.0, sex)).joints
    apart = joints["r_hip"].centre_in_parent[2] - joints["l_hip"].centre_in_parent[2]
    breadth = shares(people, sex).hipbreadth
    assert np.all(apart < breadth)
    assert apart > 0.4 * breadth.mean()


# segments of the models and the survey's dimension (or difference of two) that comes nearest
SEGMENTS = {
    "r_thigh": lambda p: p.trochanterionheight - p.lateralfemoralepicondyleheight,
    "r_calf": lambda p: p.lateralfemoralepicondyleheight - p.lateralmalleolusheight,
    "r_forearm": lambda p: p.radialestylionlength,
    "r_hand": lambda p: p.handlength,
    "r_hindfoot": lambda p: p.footlength,
}


def test_how_far_a_length_scaled_from_stature_may_be_off(people):
    """The share that the code states: people of one stature among themselves, and the model against them."""
    between, tables = [], []
    for sex in ("male", "female"):
        chosen = people[people.sex == sex]
        line = np.stack([np.ones(len(chosen)), chosen.stature], 1)
        for name, dimension in SEGMENTS.items():
            length = dimension(chosen)
            left = length - line @ np.linalg.lstsq(line, length)[0]
            between.append(left.std() / length.mean())
            tables.append(lengths(sex)[name] / (length / chosen.stature).mean() - 1)
    spread, offset = np.sqrt(np.mean(np.square(between))), np.sqrt(np.mean(np.square(tables)))
    assert spread == pytest.approx(0.041, abs=0.0006)
    assert offset == pytest.approx(0.040, abs=0.0006)
    assert pytest.approx(np.hypot(spread, offset), abs=0.005) == STATURE_SD_SHARE
