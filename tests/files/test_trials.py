"""Several trials of one wearer in one capture: tables laid one after the other, and what a fit makes."""

from __future__ import annotations

import dataclasses
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import bodyfit
from bodyfit.errors import InputError
from bodyfit.files.capture.writer import write_capture
from bodyfit.recording.trials import Trial

DEMO = Path(__file__).parents[2] / "demo_captures" / "cello_arm"
PARTS = {"still": (0.0, 20.0), "bowing": (32.0, 52.0)}
NAMES = ("breastbone", "upper_arm", "forearm", "hand")


def write_trials(folder: Path, names: list[str], stamp: str = "own") -> Path:
    """The demo cut into trials, a folder of tables each; stamps count from a trial's start, or are dates."""
    for name, (start, end) in PARTS.items():
        (folder / name).mkdir(parents=True)
        for unit in NAMES:
            table = pd.read_csv(DEMO / f"{unit}.csv")
            table = table[(table.time_s >= start) & (table.time_s <= end)].copy()
            table.time_s -= start
            if stamp == "dates":
                begin = datetime(2026, 3, 1, 10, tzinfo=UTC) + timedelta(hours=2 * list(PARTS).index(name))
                table.time_s = [(begin + timedelta(seconds=t)).isoformat() for t in table.time_s]
            table.to_csv(folder / name / f"{unit}.csv", index=False)
    text = (DEMO / "setup.toml").read_text()
    for unit in NAMES:
        text = text.replace(f'"{unit}.csv"', f'"{{trial}}/{unit}.csv"')
    text = text.replace('kind = "still"', 'kind = "still"\ntrial = "still"')
    if stamp == "dates":
        text = text.replace('time = "time_s"', 'time = { column = "time_s", unit = "iso8601" }')
    listed = ", ".join(f'"{name}"' for name in names)
    (folder / "setup.toml").write_text(f"trials = [{listed}]\n{text}")
    return folder


def replaced(folder: Path, old: str, new: str) -> Path:
    text = (folder / "setup.toml").read_text()
    assert old in text
    (folder / "setup.toml").write_text(text.replace(old, new))
    return folder


@pytest.fixture(scope="module")
def swapped(tmp_path_factory: pytest.TempPathFactory) -> bodyfit.Capture:
    return bodyfit.read_capture(write_trials(tmp_path_factory.mktemp("t"), ["bowing", "still"]))


def test_trials_are_laid_one_after_the_other(swapped: bodyfit.Capture) -> None:
    first, second = swapped.trials
    assert (first.name, second.name) == ("bowing", "still")
    assert first.start < 0.02 and first.end == pytest.approx(20.0, abs=0.02)
    assert second.start == 25.0 and second.end == pytest.approx(45.0, abs=0.03)
    source = pd.read_csv(DEMO / "hand.csv")
    source = source[source.time_s <= 20]
    hand = swapped.units["hand"].between(second.start, second.end)
    assert hand.accelerometer is not None
    np.testing.assert_allclose(hand.accelerometer, source[["ax", "ay", "az"]], rtol=0, atol=1e-12)
    own = min(pd.read_csv(DEMO / f"{n}.csv").time_s.iloc[0] for n in NAMES)
    np.testing.assert_allclose(hand.time - second.start, source.time_s - own, rtol=0, atol=1e-9)
    assert swapped.calibrations[0].start == pytest.approx(25.5 - own)


def test_dates_count_from_each_trials_first_stamp(tmp_path: Path) -> None:
    capture = bodyfit.read_capture(write_trials(tmp_path, ["still", "bowing"], "dates"))
    first, second = capture.trials
    assert first.start == 0.0 and second.start == 25.0
    begin = datetime(2026, 3, 1, 10, tzinfo=UTC)
    assert capture.start_time == first.start_time
    assert first.start_time is not None and second.start_time is not None
    assert 0 <= (first.start_time - begin).total_seconds() < 0.02
    assert 7200 <= (second.start_time - begin).total_seconds() < 7200.02


def test_a_unit_may_miss_a_trial(tmp_path: Path) -> None:
    folder = write_trials(tmp_path, ["still", "bowing"])
    (folder / "bowing" / "hand.csv").unlink()
    text = (folder / "setup.toml").read_text().replace("[units.hand]", '[units.hand]\ntrials = ["still"]')
    (folder / "setup.toml").write_text(text)
    capture = bodyfit.read_capture(folder)
    hand = capture.units["hand"].between(25.0, 60.0)
    np.testing.assert_allclose(hand.time, [capture.trials[1].start, capture.trials[1].end])
    assert hand.accelerometer is not None and np.isnan(hand.accelerometer).all()


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('"{trial}/hand.csv"', '"still/hand.csv"', r"units\.hand\.table: .*the same in every trial"),
        ('trials = ["still", "bowing"]\n', "", "no trials are named"),
        ('trials = ["still", "bowing"]', 'trials = ["still", "still"]', "expected different names"),
        ('trials = ["still", "bowing"]', 'trials = ["still", 3]', "list of names in quotes"),
        ('"still", "bowing"', '"still", "bowed"', "no such table"),
        ('trial = "still"', 'trial = "stil"', "did you mean 'still'"),
        ("end_s = 3.0", "end_s = 21.0", "expected within the trial, 0.00[0-9] to 20.0"),
    ],
)
def test_faults_are_named(tmp_path: Path, old: str, new: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        bodyfit.read_capture(replaced(write_trials(tmp_path, ["still", "bowing"]), old, new))


def test_a_trial_without_trials_is_named(tmp_path: Path) -> None:
    shutil.copytree(DEMO, tmp_path / "c")
    with pytest.raises(InputError, match="this capture has no trials"):
        bodyfit.read_capture(replaced(tmp_path / "c", 'kind = "still"', 'kind = "still"\ntrial = "a"'))


def test_written_captures_read_back(tmp_path: Path, swapped: bodyfit.Capture) -> None:
    """The hand's unit was not worn in the second trial."""
    second = swapped.trials[1]
    others = [unit.between(second.start, second.end).time for n, unit in swapped.units.items() if n != "hand"]
    second = Trial("still", 25.0, max(time[-1] for time in others) - min(time[0] for time in others) + 25.0)
    by = 25.0 - min(time[0] for time in others)
    worn = swapped.units["hand"].between(0.0, 22.0)
    nothing = {s: np.concatenate([getattr(worn, s), np.full((2, 3), np.nan)]) for s in worn.sensors}
    absent = dataclasses.replace(worn, time=np.append(worn.time, [second.start, second.end]), **nothing)
    moved = {
        n: dataclasses.replace(unit, time=unit.time + by * (unit.time > 22))
        for n, unit in swapped.units.items()
    }
    trials = (swapped.trials[0], second)
    written = dataclasses.replace(swapped, units={**moved, "hand": absent}, trials=trials)
    write_capture(written, tmp_path / "c", ".parquet", digits=None)
    read = bodyfit.read_capture(tmp_path / "c")
    assert read.trials[0] == trials[0] and read.calibrations == swapped.calibrations
    assert read.trials[1].end == pytest.approx(second.end, abs=1e-9)
    for name, unit in written.units.items():
        np.testing.assert_allclose(read.units[name].time, unit.time, rtol=0, atol=1e-12)
        np.testing.assert_array_equal(read.units[name].gyroscope, unit.gyroscope)
    with pytest.raises(InputError, match="a folder can have"):
        bad = dataclasses.replace(swapped, trials=(Trial("../x", 0.0, 20.0),))
        write_capture(bad, tmp_path / "d")


def test_a_fit_shares_mountings_and_starts_headings_anew(tmp_path: Path, swapped: bodyfit.Capture) -> None:
    """Against the true motion of the demo; the bowing, which comes first, has no pose of its own.

    The pose takes for neutral how the cellist stood, up to 15° off it, as far as joints don't put that right:
    so her true motion is told from there, and what both trials have in common, which share mountings, counts
    as put right.
    """
    result = bodyfit.fit(swapped, sensors={"accelerometer", "gyroscope"})
    truth = bodyfit.read_motion(DEMO, swapped.model, swapped.person or bodyfit.Person())
    held = slice(*np.searchsorted(truth.time, (0.5, 3.0)))
    from_pose = {name: R * R[held].mean().inv() for name, R in truth.rotations.items()}
    true_angles = bodyfit.PoseSequence(truth.time, from_pose, truth.model).joint_angles["r_elbow"]
    for angle, most in (("flexion", 1.5), ("pronation", 2.0)):  # deg; 1.2 and 0.8 were found
        off = []
        for trial in result.trials:
            at = (result.time >= trial.start) & (result.time <= trial.end)
            when = result.time[at] - trial.start + PARTS[trial.name][0]
            true = np.interp(when, truth.time, true_angles[angle])
            off.append(np.degrees(result.joint_angles["r_elbow"][angle][at] - true))
        for one in off:
            assert np.sqrt(np.mean((one - np.concatenate(off).mean()) ** 2)) < most
    kinds = {finding.kind for finding in result.findings}
    assert not kinds & {"capture-split", "gap-split", "segment-inferred", "clock-offset"}
    assert len(result.summary.sampling.stretches_s) == 2

    result.write(tmp_path)
    table = pd.read_csv(tmp_path / "trials.csv")
    assert list(table) == ["name", "start_s", "end_s"]
    assert list(table.name) == ["bowing", "still"]
    np.testing.assert_allclose(table.start_s, [t.start for t in swapped.trials], atol=1e-6)
    assert bodyfit.read_fit(tmp_path).trials == swapped.trials
    one = dataclasses.replace(result, trials=())
    one.write(tmp_path)
    assert not (tmp_path / "trials.csv").exists()
