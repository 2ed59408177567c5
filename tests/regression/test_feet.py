"""Our own figures on real recordings of feet with an outside reference, so that none gets worse unnoticed.

`foot_path_optical`: optical path of one foot (doi:10.21227/v1z6-9z84); `foot_optical`: optical markers
(doi:10.1159/000530067); `foot_events_walk`: heel strikes and toe offs found by others in the same signals and
checked by hand (Voisard et al. 2023). Weights and definitions were chosen on these very recordings.
"""

from __future__ import annotations

import dataclasses
from functools import cache

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation, Slerp

from bodyfit.feet.samples import foot_samples
from bodyfit.feet.smoother import foot_path, lengths
from bodyfit.movement.strides.foot_motion import motion_of_path
from bodyfit.movement.strides.swings import swings
from bodyfit.recording.capture import Unit

G = 9.80665


def unit(path):
    table = pd.read_parquet(path).astype(float)
    table = table[np.r_[True, np.diff(table.t) > 1e-4]]
    columns = [table[[f"{sensor}_{axis}" for axis in "xyz"]].to_numpy() for sensor in ("acc", "gyr")]
    return Unit("foot", "hindfoot", table.t.to_numpy(), *columns)


@cache
def path_of(file, lag=0.0):
    read = unit(file)
    if lag:
        late = [np.interp(read.time - lag, read.time, w) for w in read.gyroscope.T]
        read = dataclasses.replace(read, gyroscope=np.stack(late, 1))
    return foot_path(foot_samples(read, G))


def faster(read, path, factor):
    """The recording played faster: what is no gravity grows with the square."""
    R = Slerp(path.time, Rotation.from_matrix(path.state.R))(np.clip(read.time, path.time[0], path.time[-1]))
    up = R.inv().apply([0.0, G, 0.0])
    force = factor**2 * (read.accelerometer - up) + up
    return dataclasses.replace(
        read, time=read.time / factor, accelerometer=force, gyroscope=factor * read.gyroscope
    )


def rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


@pytest.mark.parametrize(("factor", "most"), [(1.0, 0.025), (1.5, 0.03), (2.0, 0.035)])
def test_stride_lengths_of_an_optical_path(recordings, factor, most):
    error, sd, true = [], [], []
    for folder in sorted((recordings / "foot_path_optical").glob("2*"))[::4]:
        path = path_of(folder / "foot.parquet")
        marks = pd.read_csv(folder / "strides.csv")
        if factor != 1:
            path = foot_path(foot_samples(faster(unit(folder / "foot.parquet"), path, factor), G))
        found, spread = lengths(path, marks.t_from.to_numpy() / factor, marks.t_to.to_numpy() / factor)
        error, sd = np.append(error, found - marks.stride_length_m), np.append(sd, spread)
        true = np.append(true, marks.stride_length_m)
    assert len(error) > 80
    assert rms(error) < most and abs(error.sum() / true.sum()) < 0.02
    assert 0.9 < np.mean(np.abs(error) < 1.96 * sd) <= 1.0


def test_stride_lengths_of_optical_markers(recordings):
    error = []
    for folder in sorted((recordings / "foot_optical").glob("C*")):
        marks = pd.read_csv(folder / "strides.csv")
        for side, name in (("L", "left"), ("R", "right")):
            path, mine = path_of(folder / f"{name}_foot.parquet"), marks[marks.foot == side]
            found = lengths(path, mine.t_from.to_numpy(), mine.t_to.to_numpy())[0]
            error = np.append(error, found - mine.stride_length_m)
    assert len(error) == 32 and rms(error) < 0.025


@pytest.mark.parametrize("lag", [-0.015, 0.015])
def test_a_late_gyroscope_is_found(recordings, lag):
    """Between the recording as it is and with its gyroscope shifted on purpose."""
    file = recordings / "foot_path_optical" / "2017-11-22-11-22-03" / "foot.parquet"
    assert path_of(file, lag).state.lag - path_of(file).state.lag == pytest.approx(lag, abs=0.002)


def test_events_of_straight_walking(recordings):
    """F1 within 50 ms and median error of both events; turns, ends, lost packets left out."""
    hits, wrong, error = 0, 0, []
    folder = recordings / "foot_events_walk"
    about = pd.read_csv(folder / "recordings.csv").set_index("recording")
    for one in ("1-1", "9-1", "19-1"):
        told, turn = pd.read_csv(folder / one / "events.csv"), about.loc[one]
        for side, name in (("L", "left"), ("R", "right")):
            path = path_of(folder / one / f"{name}_foot.parquet")
            found = swings(motion_of_path(path, name)).times
            for event in ("heel_strike", "toe_off"):
                true = told[(told.foot == side) & (told.event == event)].t.to_numpy()[1:-1]
                true = true[(true < turn.uturn_start_s - 0.3) | (true > turn.uturn_end_s + 0.3)]
                at = path.samples.time
                gap = np.array([path.samples.gap[np.abs(at - t) < 0.15].max() for t in true])
                true = true[gap < 0.025]
                off = np.abs(found[event][None] - true[:, None]).min(1)
                hits, wrong = hits + np.sum(off <= 0.05), wrong + np.sum(off > 0.05)
                error = np.append(error, off[off <= 0.05])
    assert hits / (hits + wrong) > 0.985
    assert np.median(error) < 0.010
