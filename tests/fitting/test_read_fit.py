"""A fit read back from its folder is the fit that was written, as far as files hold it."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest
from example_summary import summary
from scipy.spatial.transform import Rotation

import bodyfit
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.plain_data import body_data
from bodyfit.errors import InputError
from bodyfit.files.fit_folder import FILES

FOLDER = Path(__file__).resolve().parents[2] / "demo_captures"
DEMOS = sorted(path.parent.name for path in FOLDER.glob("*/setup.toml"))
LONG_S = 10.0  # of each capture: what is read back does not hang on its length
TIME, ANGLE = 1e-6, np.radians(1e-6)  # s, rad: what the tables' decimals leave, with a factor of two


def same(fitted: bodyfit.Fit, back: bodyfit.Fit) -> None:
    """All that the files hold, as it was: figures and findings exactly, arrays to the decimals written."""
    assert back.summary == fitted.summary
    assert back.findings == fitted.findings
    assert body_data(back.poses.model) == json.loads(json.dumps(body_data(fitted.poses.model)))
    assert list(back.poses.model.segments) == list(fitted.poses.model.segments)
    assert list(back.poses.model.joints) == list(fitted.poses.model.joints)
    assert np.allclose(back.time, fitted.time, rtol=0, atol=TIME)
    assert list(back.rotations) == list(fitted.rotations)
    for name, rotation in fitted.rotations.items():
        assert (rotation.inv() * back.rotations[name]).magnitude().max() < 1e-7
    if fitted.poses.root_position is None:
        assert back.poses.root_position is None
    else:
        np.testing.assert_allclose(back.poses.root_position, fitted.poses.root_position, rtol=0, atol=1e-6)
    for joint, angles in fitted.joint_angles.items():
        for angle, values in angles.items():
            off = back.joint_angles[joint][angle] - values
            assert np.abs(np.angle(np.exp(1j * off))).max() < 1e-5
    for joint, angles in (fitted.joint_angle_sd or {}).items():
        for angle, values in angles.items():
            np.testing.assert_allclose(back.joint_angle_sd[joint][angle], values, rtol=0, atol=ANGLE)
    assert set(back.mounting) == set(fitted.mounting)
    for name, (R, covariance) in fitted.mounting.items():
        assert np.allclose(back.mounting[name][0], R, rtol=0, atol=5e-6)
        np.testing.assert_array_equal(
            back.mounting[name][1], np.where(np.isfinite(covariance), covariance, np.nan)
        )


@pytest.mark.parametrize("kind", ["chain", "knee", "pendulum", "robot_arm", "single"])
def test_fits_of_all_recordings_come_back_as_they_were(kind, recordings, tmp_path):
    found = sorted(path.parent for path in recordings.glob(f"{kind}*/setup.toml"))
    assert found
    for folder in found:
        comes_back(folder, tmp_path / folder.name)


def comes_back(folder: Path, out: Path) -> None:
    capture = bodyfit.read_capture(folder)
    start = min(unit.time[0] for unit in capture.units.values())
    fitted = bodyfit.fit(capture.between(start, start + LONG_S))
    fitted.write(out)
    same(fitted, bodyfit.read_fit(out))


CASES = [(name, {}) for name in DEMOS] + [(DEMOS[0], {"alone": True}), (DEMOS[0], {"strict_ranges": True})]


@pytest.mark.parametrize(("demo", "options"), CASES, ids=str)
def test_a_fit_comes_back_as_it_was(demo, options, tmp_path):
    fitted = bodyfit.fit(bodyfit.read_capture(FOLDER / demo).between(0.0, LONG_S), **options)
    fitted.write(tmp_path / "once", inferred=True)
    back = bodyfit.read_fit(tmp_path / "once")
    same(fitted, back)
    back.write(tmp_path / "twice", inferred=True)
    once, twice = (
        {name: (tmp_path / out / name).read_bytes() for name in FILES} for out in ("once", "twice")
    )
    assert twice["summary.json"] == once["summary.json"]
    for table in ("segments.csv", "joints.csv"):  # last digits change, since angles are worked out anew
        assert twice[table].split(b"\n")[0] == once[table].split(b"\n")[0]
    if not options:
        told = [[f.identifier for f in bodyfit.review(fit)] for fit in (fitted, back)]
        assert told[0] == told[1]


@pytest.mark.parametrize("empty", [False, True], ids=["left out", "empty, as earlier versions wrote it"])
def test_a_body_without_a_source_is_read_back(tmp_path, empty):
    model = dataclasses.replace(bodyfit.read_model("whole_body"), source="")
    fit = _still(model)
    fit.write(tmp_path)
    if empty:
        told = json.loads((tmp_path / "summary.json").read_text())
        told["body"]["source"] = ""
        (tmp_path / "summary.json").write_text(json.dumps(told))
    assert bodyfit.read_fit(tmp_path).poses.model.source == ""


def _still(model: bodyfit.BodyModel) -> bodyfit.Fit:
    scaled = model.scaled(None)
    rotations = {name: Rotation.identity(5) for name in scaled.segments}
    poses = PoseSequence(np.arange(5) / 100, rotations, scaled)
    return bodyfit.Fit(poses, summary(poses))


def test_a_table_of_another_body_is_refused(tmp_path):
    _still(bodyfit.read_model("whole_body")).write(tmp_path)
    table = (tmp_path / "segments.csv").read_text().replace("r_hand_q", "r_paw_q")
    (tmp_path / "segments.csv").write_text(table)
    with pytest.raises(InputError, match=r"segments\.csv: no columns of segment 'r_hand'"):
        bodyfit.read_fit(tmp_path)
