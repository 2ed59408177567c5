"""Activities on open recordings of people whom the shipped table has not seen; our own past figures."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

import bodyfit
from bodyfit.body.chain import BodyModel
from bodyfit.body.parts import Segment
from bodyfit.movement.activities.chain.names import CHANGES
from bodyfit.movement.activities.unit.heights import heights_of
from bodyfit.movement.activities.unit.samples import samples_of
from bodyfit.movement.activities.unit.upright import up_of
from bodyfit.recording.capture import Capture, Unit

DATA = Path(__file__).resolve().parents[3] / "shared" / "data" / "activity_waist_phone"
SIX = ("walking", "stairs_up", "stairs_down", "sitting", "standing", "lying")
pytestmark = pytest.mark.skipif(not DATA.is_dir(), reason=f"the recordings in {DATA} are absent")


def capture_of(name: str, turn: Rotation | None = None, gyroscope: bool = True) -> Capture:
    table = pd.read_parquet(DATA / name / "waist.parquet")
    turn = turn or Rotation.identity()
    force = turn.apply(table[["acc_x", "acc_y", "acc_z"]].to_numpy())
    rate = turn.apply(table[["gyr_x", "gyr_y", "gyr_z"]].to_numpy()) if gyroscope else None
    unit = Unit("phone", "pelvis", table["t"].to_numpy(), force, rate)
    model = BodyModel("hips", {"pelvis": Segment("pelvis")}, {})
    return Capture({"phone": unit}, model)


def accuracy(found: bodyfit.Activities, name: str) -> float:
    """Share of windows of the six activities that are told right."""
    marks = pd.read_csv(DATA / name / "labels.csv")
    right = count = 0
    for mark in marks[marks.activity.isin(SIX)].itertuples():
        inside = found.time[(found.time >= mark.t_start) & (found.time < mark.t_end)]
        for stretch in found.stretches:
            right += int(
                np.sum((inside >= stretch.start) & (inside < stretch.end))
                * (stretch.activity == mark.activity)
            )
        count += len(inside)
    return right / count


def test_a_person_of_another_data_set_is_told_right_and_quickly():
    capture = capture_of("user25_exp50")
    bodyfit.activities(capture)  # the table is read once
    needed = []
    for _ in range(3):  # the quickest counts: others share the processor
        start = time.process_time()
        found = bodyfit.activities(capture)
        needed.append(time.process_time() - start)
    assert (found.time[-1] - found.time[0]) / min(needed) > 300
    assert accuracy(found, "user25_exp50") > 0.97
    assert (
        {s.activity for s in found.stretches}
        >= {"sit_to_stand", "stand_to_sit", "stand_to_lie"}
        <= set(CHANGES)
    )


def test_a_phone_turned_anyhow_tells_the_same():
    straight = bodyfit.activities(capture_of("user01_exp01"))
    turned = bodyfit.activities(capture_of("user01_exp01", Rotation.random(rng=np.random.default_rng(5))))
    assert turned.probabilities == pytest.approx(straight.probabilities, abs=0.01)


def test_walking_alone_is_not_parted_into_stairs():
    """The wearer's own ways are found in a recording that holds one of them only."""
    marks = pd.read_csv(DATA / "user01_exp01" / "labels.csv")
    walk = marks[marks.activity == "walking"].iloc[2]
    found = bodyfit.activities(capture_of("user01_exp01").between(walk.t_start, walk.t_end))
    assert found.shares["walking"].value > 0.9


CHAIRS = DATA.parent / "activity_waist_young_old"


@pytest.mark.skipif(not CHAIRS.is_dir(), reason=f"the recordings in {CHAIRS} are absent")
def test_who_sits_down_on_a_chair_goes_down_and_comes_up_again():
    """30 recordings of six people on chairs of ordinary and low height; no table, nothing trained."""
    downs, ups = [], []
    for path in sorted(CHAIRS.glob("*_D0[789]_*.parquet")):
        table = pd.read_parquet(path)
        force = table[["acc_x", "acc_y", "acc_z"]].to_numpy()
        rate = table[["gyr_x", "gyr_y", "gyr_z"]].to_numpy()
        samples = samples_of(Unit(path.stem, "pelvis", table["t"].to_numpy(), force, rate))
        assert samples.rate is not None
        rise = heights_of(samples.force, samples.rate, up_of(samples.force, samples.rate), 12).rise
        rise = rise[np.abs(rise) > 0.1]
        downs += list(rise[:1])
        ups += list(rise[1:])
    downs, ups = (np.array(some) for some in (downs, ups))  # some begin or end in the middle of a movement
    assert np.sum((downs < -0.15) & (downs > -0.6)) >= 26
    assert np.sum((ups > 0.15) & (ups < 0.6)) >= 24


def test_an_accelerometer_alone_will_do():
    found = bodyfit.activities(capture_of("user25_exp50", gyroscope=False))
    assert accuracy(found, "user25_exp50") > 0.8
