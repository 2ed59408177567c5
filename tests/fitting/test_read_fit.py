"""A fit read back from its folder is the fit that was written, as far as files hold it."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest

import bodyfit
from bodyfit.errors import InputError

DEMOS = sorted((Path(__file__).resolve().parents[2] / "demo_captures").glob("*/setup.toml"))


@pytest.fixture(scope="module", params=DEMOS, ids=lambda path: path.parent.name)
def fitted(request) -> bodyfit.Fit:
    return bodyfit.fit(bodyfit.read_capture(request.param.parent))


def test_a_fit_comes_back_as_it_was(fitted, tmp_path):
    fitted.write(tmp_path)
    back = bodyfit.read_fit(tmp_path)
    assert np.allclose(back.time, fitted.time, rtol=0, atol=1e-6)
    assert set(back.rotations) == set(fitted.rotations)
    for name, rotation in fitted.rotations.items():
        assert (rotation.inv() * back.rotations[name]).magnitude().max() < 1e-7
    assert back.findings == fitted.findings and back.findings
    assert list(back.mounting) and set(back.mounting) == set(fitted.mounting)
    for name, (R, covariance) in fitted.mounting.items():
        assert np.allclose(back.mounting[name][0], R, rtol=0, atol=5e-6)
        np.testing.assert_array_equal(
            back.mounting[name][1], np.where(np.isfinite(covariance), covariance, np.nan)
        )
    assert [f.identifier for f in bodyfit.review(back)] == [f.identifier for f in bodyfit.review(fitted)]


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
    from scipy.spatial.transform import Rotation

    from bodyfit.body.motion.poses import PoseSequence
    from bodyfit.body.plain_data import body_data

    scaled = model.scaled(None)
    rotations = {name: Rotation.identity(5) for name in scaled.segments}
    poses = PoseSequence(np.arange(5) / 100, rotations, scaled)
    return bodyfit.Fit(poses, {"body": body_data(scaled)})


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"units": {"a": {"mounting_covariance_rad2": [1.0]}}}, "units.a: its mounting can't be read"),
        ({"findings": [{"kind": 1}]}, "findings: one can't be read"),
    ],
)
def test_a_wrong_summary_is_refused(tmp_path, change, said):
    _still(bodyfit.read_model("whole_body")).write(tmp_path)
    told = json.loads((tmp_path / "summary.json").read_text()) | change
    (tmp_path / "summary.json").write_text(json.dumps(told))
    with pytest.raises(InputError, match=said):
        bodyfit.read_fit(tmp_path)
