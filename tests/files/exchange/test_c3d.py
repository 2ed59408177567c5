"""C3D: what an independent reader (the PyPI package c3d) finds in it."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from some_fit import NAMES, beside, demo_fit

import bodyfit
from bodyfit.errors import OutputError
from bodyfit.files.exchange.c3d import file as c3d_file

ezc3d = pytest.importorskip(
    "ezc3d", reason="C3D files are written with ezc3d: pip install 'bodyfit[exchange]'"
)
c3d = pytest.importorskip("c3d", reason="C3D files are read back with c3d: pip install 'bodyfit[test]'")


def read(path):
    """Reader, labels, frame numbers, points (T, points, 5)."""
    with warnings.catch_warnings(), open(path, "rb") as file:
        warnings.simplefilter("ignore")  # it warns of files without analogue channels
        reader = c3d.Reader(file)
        frames = list(reader.read_frames())
    labels = [label.strip() for label in reader.point_labels]
    return reader, labels, np.array([f[0] for f in frames]), np.stack([f[1] for f in frames])


def texts(reader, name):
    return [text.strip() for text in reader.get(name).string_array]


@pytest.mark.parametrize("name", NAMES)
def test_centres_and_angles_come_back(name, tmp_path):
    fit = demo_fit(name)
    bodyfit.export(fit, tmp_path / "x.c3d")
    reader, labels, _, points = read(tmp_path / "x.c3d")
    assert len(points) == len(fit.poses.time)
    for joint_name, joint in fit.poses.model.joints.items():
        parent = joint.parent
        centre = fit.poses.positions[parent] + fit.poses.rotations[parent].apply(joint.centre_in_parent)
        np.testing.assert_allclose(points[:, labels.index(joint_name), :3], 1000 * centre, atol=0.1)
        angles = np.stack([fit.poses.joint_angles[joint_name][angle] for angle in joint.angles], axis=1)
        written = points[:, labels.index(f"{joint_name}_angles"), :3]
        np.testing.assert_allclose(written, np.degrees(angles), atol=0.01)
        sd = points[:, labels.index(f"{joint_name}_angles_sd"), :3]
        np.testing.assert_allclose(sd, np.broadcast_to([1.5, 2.5, 3.5], sd.shape), atol=1e-4)
    assert texts(reader, "POINT:UNITS") == ["mm"]


def test_frames_of_segments_come_back(tmp_path):
    fit = demo_fit("parcel_lift")
    bodyfit.export(fit, tmp_path / "x.c3d")
    _, labels, _, points = read(tmp_path / "x.c3d")
    for segment, R in fit.poses.matrices.items():
        o, *arrows = (points[:, labels.index(f"{segment}_{part}"), :3] for part in "oxyz")
        axes = np.stack([arrow - o for arrow in arrows], axis=2) / 100
        np.testing.assert_allclose(axes, R, atol=np.radians(0.01))


def test_rate_labels_and_account(tmp_path):
    fit = demo_fit("steel_stairs")
    bodyfit.export(fit, tmp_path / "x.c3d")
    reader, labels, frames, _ = read(tmp_path / "x.c3d")
    rate = (len(fit.poses.time) - 1) / (fit.poses.time[-1] - fit.poses.time[0])
    assert reader.point_rate == pytest.approx(rate, rel=1e-6)
    assert frames[0] == round(fit.poses.time[0] * rate) + 1
    assert {"r_knee", "r_knee_angles", "r_knee_angles_sd", "pelvis_o", "r_hindfoot_end"} <= set(labels)
    said = texts(reader, "POINT:DESCRIPTIONS")[labels.index("r_knee_angles")]
    assert said.startswith("x y z = flexion, adduction, internal_rotation, deg; ZXY, r_thigh to r_calf")
    about = " ".join(texts(reader, "TRIAL:DESCRIPTIONS"))
    assert f"bodyfit {bodyfit.__version__}" in about
    assert "Not a medical device" in about and "lower_body" in about and "gyroscope" in about


def test_events_are_at_their_frames(tmp_path):
    fit = demo_fit("steel_stairs")
    bodyfit.export(fit, tmp_path / "x.c3d", beside=beside(tmp_path / "fit"))
    reader, _, frames, _ = read(tmp_path / "x.c3d")
    minutes, seconds = reader.get("EVENT:TIMES").float_array.reshape(2, -1, order="F")
    if reader.get("EVENT:TIMES").dimensions[0] == 2:
        minutes, seconds = np.reshape(reader.get("EVENT:TIMES").float_array, (-1, 2)).T
    at = np.round((60 * minutes + seconds) * reader.point_rate).astype(int) + 1 - frames[0]
    expected = [np.argmin(np.abs(fit.poses.time - t)) for t in (1.25, 1.875, 2.5)]
    assert at.tolist() == expected
    assert texts(reader, "EVENT:CONTEXTS") == ["Left", "Right", "General"]
    assert texts(reader, "EVENT:LABELS") == ["heel strike", "toe off", "mid swing"]
    assert texts(reader, "EVENT:DESCRIPTIONS")[0] == "time known to 12 ms"


def test_a_gap_is_invalid_frames_not_a_shift(tmp_path):
    fit = demo_fit("cello_arm", gap=True)
    bodyfit.export(fit, tmp_path / "x.c3d")
    _, labels, _, points = read(tmp_path / "x.c3d")
    assert len(points) == 400
    residual = points[:, labels.index("r_elbow"), 3]
    assert (residual[100:150] == -1).all() and (residual[:100] >= 0).all() and (residual[150:] >= 0).all()
    last = np.degrees(fit.poses.joint_angles["r_elbow"]["flexion"][-1])
    assert points[-1, labels.index("r_elbow_angles"), 0] == pytest.approx(last, abs=0.01)


def test_what_it_cannot_hold_is_told(tmp_path):
    told = bodyfit.export(demo_fit("cello_arm"), tmp_path / "x.c3d", beside=beside(tmp_path / "fit")).left_out
    assert any("strides.csv" in sentence for sentence in told)


def test_too_long_is_refused_with_the_way_out(tmp_path, monkeypatch):
    monkeypatch.setattr(c3d_file, "MOST_FRAMES", 300)
    with pytest.raises(OutputError, match=r"counts to 300.*\.parquet"):
        bodyfit.export(demo_fit("cello_arm"), tmp_path / "x.c3d")
    assert not list(tmp_path.iterdir())
