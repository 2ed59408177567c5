"""BIDS-Motion: the official validator's word, captures that come back, a data set that others would make."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from handmade_bids import POINTS, STEM, write_handmade
from some_fit import DEMOS, beside, demo_fit

import bodyfit
from bodyfit.errors import InputError, OutputError

# What only the owner of the recording can say: who made it, under which licence, from what, with which tags
OWNERS = {"NO_AUTHORS", "TOO_FEW_AUTHORS", "HEDVersion", "License", "SourceDatasets", "StimulusPresentation"}


@pytest.fixture(scope="module")
def dataset(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bids")
    capture = bodyfit.read_capture(DEMOS / "steel_stairs").between(0, 8)
    fit = demo_fit("steel_stairs", frames=300)
    bodyfit.export(fit, folder / "set", "bids", beside=beside(folder / "fit"), capture=capture)
    return folder / "set", capture, fit


def issues(folder: Path) -> Counter[tuple[str, str]]:
    """(severity, what) -> how often, by the BIDS validator, derivatives included."""
    beside_python = Path(sys.executable).parent / "bids-validator-deno"
    tool = shutil.which("bids-validator-deno") or (str(beside_python) if beside_python.exists() else None)
    if tool is None:
        pytest.skip("the BIDS validator is not here: pip install bids-validator-deno")
    ran = subprocess.run([tool, str(folder), "-r", "--format", "json"], capture_output=True, text=True)
    try:
        found = json.loads(ran.stdout)
    except ValueError:
        pytest.skip(f"the BIDS validator does not run here: {ran.stderr.strip().splitlines()[-1:]}")
    parts = [found, *(found.get("derivativesSummary") or {}).values()]
    told = [issue for part in parts for issue in part["issues"]["issues"]]
    return Counter((issue["severity"], issue.get("subCode") or issue["code"]) for issue in told)


def test_the_validator_finds_no_error_and_no_warning_that_could_be_avoided(dataset):
    found = issues(dataset[0])
    assert not [what for severity, what in found if severity == "error"]
    owners = {"Authors", *OWNERS}
    assert {what for _, what in found} <= owners, found


def test_the_validator_would_see_an_error(dataset, tmp_path):
    shutil.copytree(dataset[0], tmp_path / "set")
    next(tmp_path.rglob("*_channels.tsv")).write_text("name\n")
    assert any(severity == "error" for severity, _ in issues(tmp_path / "set"))


def test_the_capture_comes_back_digit_for_digit(dataset):
    root, capture, _ = dataset
    back = bodyfit.read_capture(root)
    assert list(back.units) == sorted(capture.units)
    for name, unit in capture.units.items():
        read = back.units[name]
        np.testing.assert_array_equal(read.time, unit.time)
        assert read.sensors == unit.sensors and read.segment == unit.segment
        for sensor in unit.sensors:
            np.testing.assert_array_equal(getattr(read, sensor), getattr(unit, sensor))
    assert back.person == capture.person and back.place == capture.place
    assert back.title == capture.title and back.calibrations == capture.calibrations
    assert back.model.name == capture.model.name and not back.notes


def test_the_fit_is_a_derivative_with_angles_and_events(dataset):
    root, _, fit = dataset
    folder = root / "derivatives" / "bodyfit" / "sub-01" / "motion"
    (table,) = folder.glob("*_motion.tsv")
    rows = [line.split("\t") for line in next(folder.glob("*_channels.tsv")).read_text().splitlines()]
    names, kinds = ([row[rows[0].index(word)] for row in rows[1:]] for word in ("name", "type"))
    values = np.loadtxt(table)
    at = names.index("l_knee_flexion_deg")
    np.testing.assert_array_equal(values[:, at], np.degrees(fit.poses.joint_angles["l_knee"]["flexion"]))
    assert kinds[at] == "JNTANG" and kinds[names.index("l_knee_flexion_sd_deg")] == "MISC"
    events = next(folder.glob("*_events.tsv")).read_text().splitlines()
    assert events[0] == "onset\tduration\ttrial_type\tside\tonset_sd"
    assert events[2] == "1.875\t0.0\ttoe_off\tright\tn/a"
    about = json.loads((root / "derivatives" / "bodyfit" / "dataset_description.json").read_text())
    (made,) = about["GeneratedBy"]
    assert made["Version"] == bodyfit.__version__ and "Not a medical device" in made["Description"]


def test_without_a_capture_it_is_a_derivative_and_says_so(tmp_path):
    told = bodyfit.export(demo_fit("cello_arm", 50), tmp_path / "set", "bids").left_out
    assert any("raw samples" in sentence for sentence in told)
    about = json.loads((tmp_path / "set" / "dataset_description.json").read_text())
    assert about["DatasetType"] == "derivative"
    assert not [what for severity, what in issues(tmp_path / "set") if severity == "error"]


def test_a_folder_in_use_is_left_alone(tmp_path):
    (tmp_path / "set").mkdir()
    (tmp_path / "set" / "mine.txt").write_text("mine")
    with pytest.raises(OutputError, match="exists already"):
        bodyfit.export(demo_fit("cello_arm", 50), tmp_path / "set", "bids")
    assert [path.name for path in (tmp_path / "set").iterdir()] == ["mine.txt"]


# --- data sets of others ---


def test_a_data_set_after_the_specification_reads(tmp_path):
    capture = bodyfit.read_capture(write_handmade(tmp_path / "set", frame="local"))
    assert {unit.segment for unit in capture.units.values()} == {"l_hindfoot", "r_forearm"}
    assert capture.model.name == "whole_body"
    assert capture.person is not None and capture.person.stature_m == pytest.approx(1.74)
    truth = bodyfit.read_capture(DEMOS / "parcel_lift").units[POINTS["t1"][1]]
    foot = capture.units["LeftFoot"]
    assert len(foot.time) > 1000 and foot.time[1] == pytest.approx(1 / 60)
    assert foot.accelerometer is not None and truth.accelerometer is not None
    there = np.isfinite(truth.accelerometer[:, 0])
    expected = np.interp(foot.time + truth.time[0] + 0.1, truth.time[there], truth.accelerometer[there, 1])
    np.testing.assert_allclose(foot.accelerometer[:, 1], expected, atol=2e-6)
    assert {note.kind for note in capture.notes} == {"bids-tracked-point"}


def test_it_fits(tmp_path):
    capture = bodyfit.read_capture(write_handmade(tmp_path / "set", frame="local", seconds=8.0))
    fit = bodyfit.fit(capture, alone=True)
    assert set(fit.summary.units) == {"LeftFoot", "RightWrist"} and len(fit.time) > 400


def test_samples_in_a_frame_of_the_room_are_a_serious_finding(tmp_path):
    notes = bodyfit.read_capture(write_handmade(tmp_path / "set")).notes
    serious = [note for note in notes if note.severity == "serious"]
    assert [note.units for note in serious] == [("LeftFoot",), ("RightWrist",)]
    assert "'global'" in serious[0].what


def test_several_recordings_are_listed_and_one_can_be_named(tmp_path):
    root = write_handmade(tmp_path / "set")
    shutil.copytree(root / "sub-01", root / "sub-02")
    for path in (root / "sub-02" / "motion").iterdir():
        path.rename(path.with_name(path.name.replace("sub-01", "sub-02")))
    with pytest.raises(InputError, match=r"2 recordings \(sub-01_task-walkingAndTalking, sub-02"):
        bodyfit.read_capture(root)
    named = STEM.replace("sub-01", "sub-02")
    assert bodyfit.read_capture(root / "sub-02" / "motion" / f"{named}_motion.tsv").person is None
    assert bodyfit.read_capture(root / "sub-01").person is not None


def test_sidecars_higher_up_apply(tmp_path):
    root = write_handmade(tmp_path / "set")
    near = root / "sub-01" / "motion" / f"{STEM}_motion.json"
    near.rename(root / "task-walkingAndTalking_motion.json")
    assert bodyfit.read_capture(root).title == "BIDS Motion fictive example"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("m/s^2", "furlong", r"units: found 'furlong' for ACCEL; expected one of m/s\^2"),
        ("tracked_point", "point", "no column 'tracked_point'"),
        (
            "t2_gyro_z\tz\tGYRO\tRightWrist\trad/s\tglobal\n",
            "",
            "found 12 columns, its channels.tsv names 11",
        ),
    ],
)
def test_what_is_wrong_is_named(old, new, said, tmp_path):
    root = write_handmade(tmp_path / "set")
    channels = root / "sub-01" / "motion" / f"{STEM}_channels.tsv"
    channels.write_text(channels.read_text().replace(old, new))
    with pytest.raises(InputError, match=said):
        bodyfit.read_capture(root)


def test_tracking_systems_are_put_on_one_clock_by_their_starts(tmp_path):
    root = write_handmade(tmp_path / "set")
    folder = root / "sub-01" / "motion"
    for path in list(folder.iterdir()):
        shutil.copy(path, path.with_name(path.name.replace("tracksys-imus", "tracksys-more")))
    lines = [f"motion/{STEM}_motion.tsv\t2026-03-01T10:00:00.250000"]
    lines += [f"motion/{STEM.replace('imus', 'more')}_motion.tsv\t2026-03-01T10:00:00.000000"]
    (root / "sub-01" / "sub-01_scans.tsv").write_text("\n".join(["filename\tacq_time", *lines]) + "\n")
    units = bodyfit.read_capture(root).units
    assert units["LeftFoot"].time[0] == pytest.approx(0.25) and units["LeftFoot_more"].time[0] == 0.0
