"""What a cell of a notebook that ends in a result shows, and tables for pandas and xarray."""

from __future__ import annotations

import dataclasses
import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import bodyfit
from bodyfit.study.comparison.cases import Case
from bodyfit.study.comparison.compare import Comparison
from bodyfit.study.comparison.result import CaseResult
from bodyfit.study.planning.answer import Plan
from bodyfit.study.planning.question import WornSet
from bodyfit.study.planning.set_result import SetResult
from tests.feet.stepping import stepping

DEMOS = Path(__file__).parents[2] / "demo_captures"
SCORE = bodyfit.Score(1.5, 1.0, 3.0, 0.7, 1.4, 0.5, None, None, 1.0, 2.0, None, None, 88.0, 1.4, 0.5, 0.95)


@pytest.fixture(scope="module")
def capture() -> bodyfit.Capture:
    return bodyfit.read_capture(DEMOS / "parcel_lift").between(0.0, 10.0)


@pytest.fixture(scope="module")
def fit(capture: bodyfit.Capture) -> bodyfit.Fit:
    return bodyfit.fit(capture)


@pytest.fixture(scope="module")
def results(capture: bodyfit.Capture, fit: bodyfit.Fit) -> dict[str, object]:
    """One of everything that a call returns, as large as it comes."""
    foot = stepping(segment="r_hindfoot")
    walked = bodyfit.Capture({"foot": foot.unit}, bodyfit.read_model("right_leg"))
    curve = {name: [1.0] * 3000 for name in fit.joint_angles}
    case = CaseResult(
        Case(("accelerometer", "gyroscope")), {n: SCORE for n in fit.joint_angles}, SCORE, curve=curve
    )
    worn = WornSet(tuple((s, ("accelerometer", "gyroscope")) for s in fit.poses.model.segments))
    bound = {f"{j}.{a}": 2.0 for j, angles in fit.joint_angles.items() for a in angles}
    one = SetResult(worn, bound, bound, 12, 11, (0.6, 1.0), dict.fromkeys(bound, 0.1))
    tolerance = dict.fromkeys(bound, 3.0)
    return {
        "capture": capture,
        "units": capture.units[
            "pelvis_unit" if "pelvis_unit" in capture.units else next(iter(capture.units))
        ],
        "model": capture.model,
        "fit": fit,
        "alone": bodyfit.fit(capture.between(0.0, 4.0), alone=True),
        "summary": fit.summary,
        "poses": fit.poses,
        "findings": fit.findings,
        "review": bodyfit.review(fit),
        "comparison": Comparison("title", "the reference", True, (case,) * 40),
        "case": case,
        "plan": Plan(tolerance, 0.7, (one,) * 50, one, one, (), True, {}, {"motion": "lifting"}),
        "set": one,
        "strides": bodyfit.strides(walked),
        "activities": bodyfit.activities(fit),
        "simulated": bodyfit.simulate(fit.poses.between(0.0, 2.0), ["pelvis", "l_thigh"]),
    }


KINDS = (
    *("capture", "units", "model", "fit", "alone", "summary", "poses", "findings", "review", "comparison"),
    *("case", "plan", "set", "strides", "activities", "simulated"),
)


class Tags(HTMLParser):
    """The tags of a page, and whether each is closed."""

    def __init__(self) -> None:
        super().__init__()
        self.seen: set[str] = set()
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.seen.add(tag)
        self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


@pytest.mark.parametrize("kind", KINDS)
def test_a_cell_that_ends_in_a_result_shows_a_screen_of_text(results: dict[str, object], kind: str) -> None:
    lines = repr(results[kind]).splitlines()
    assert 1 < len(lines) <= 20
    assert max(map(len, lines)) <= 100


@pytest.mark.parametrize("kind", KINDS)
def test_its_html_is_whole_and_plain(results: dict[str, object], kind: str) -> None:
    tags = Tags()
    tags.feed(results[kind]._repr_html_())  # type: ignore[attr-defined]
    assert tags.open == []
    assert tags.seen <= {"div", "strong", "table", "thead", "tbody", "tr", "th", "td"}


def test_html_of_a_capture_escapes_its_title(capture: bodyfit.Capture) -> None:
    nasty = dataclasses.replace(capture, title="<script>alert(1)</script>")
    assert "<script" not in nasty._repr_html_()
    assert "&lt;script&gt;" in nasty._repr_html_()


def test_a_figure_shows_itself(fit: bodyfit.Fit) -> None:
    picture = fit.plot_joint("r_knee")._repr_png_()  # type: ignore[attr-defined]
    assert picture.startswith(b"\x89PNG\r\n\x1a\n")
    width = int.from_bytes(picture[16:20], "big")
    assert width == round(100 * fit.plot_joint("r_knee").get_figwidth())


def test_the_table_is_tidy(fit: bodyfit.Fit) -> None:
    table = fit.to_frame()
    assert list(table) == ["time_s", "joint", "angle", "value_deg", "sd_deg"]
    assert not table.duplicated(["time_s", "joint", "angle"]).any()
    knee = table[(table.joint == "r_knee") & (table.angle == "flexion")]
    np.testing.assert_array_equal(knee.time_s, fit.time)
    np.testing.assert_allclose(knee.value_deg, np.degrees(fit.joint_angles["r_knee"]["flexion"]))
    assert fit.joint_angle_sd is not None
    np.testing.assert_allclose(knee.sd_deg, np.degrees(fit.joint_angle_sd["r_knee"]["flexion"]))
    wide = table.pivot_table("value_deg", "time_s", ["joint", "angle"], observed=True)
    assert wide.shape == (len(fit.time), 3 * len(fit.joint_angles))


def test_the_table_is_that_of_joints_csv(fit: bodyfit.Fit, tmp_path: Path) -> None:
    fit.write(tmp_path)
    written = pd.read_csv(tmp_path / "joints.csv")
    table = fit.to_frame()
    for (joint, angle), rows in table.groupby(["joint", "angle"], observed=True):
        np.testing.assert_allclose(rows.value_deg, written[f"{joint}_{angle}_deg"], atol=1e-6)


def test_joints_that_nothing_measured_come_only_when_asked_for(capture: bodyfit.Capture) -> None:
    fit = bodyfit.fit(capture.between(0.0, 4.0).without("r_hand_unit", "r_hand"))
    assert fit.inferred_joints
    named = set(fit.to_frame().joint)
    assert not named & set(fit.inferred_joints)
    assert set(fit.to_frame(inferred=True).joint) == named | set(fit.inferred_joints)
    assert set(fit.to_xarray().joint.values) == named
    assert set(fit.to_xarray(inferred=True).joint.values) == named | set(fit.inferred_joints)


def test_trials_have_a_column(fit: bodyfit.Fit) -> None:
    time = fit.time
    trials = (bodyfit.Trial("a", time[0], time[300]), bodyfit.Trial("b", time[500], time[-1]))
    table = dataclasses.replace(fit, trials=trials).to_frame().iloc[: len(time)]
    assert set(table.trial[:301]) == {"a"} and set(table.trial[500:]) == {"b"}
    assert table.trial[301:500].isna().all()


def test_labelled_arrays_hold_the_fit(fit: bodyfit.Fit) -> None:
    xr = pytest.importorskip("xarray")
    data = fit.to_xarray()
    assert isinstance(data, xr.Dataset)
    assert data.angle.dims == data.angle_sd.dims == ("time", "joint_angle")
    assert data.rotation.dims == ("time", "segment", "quaternion")
    assert data.heading_sd.dims == ("time", "segment")
    knee = data.sel(joint_angle="r_knee_flexion")
    np.testing.assert_allclose(knee.angle, np.degrees(fit.joint_angles["r_knee"]["flexion"]))
    assert "intrinsic sequence ZXY" in str(knee.meaning.values)
    thigh = data.sel(segment="r_thigh")
    turned = fit.rotations["r_thigh"].as_quat()
    np.testing.assert_allclose(np.abs(np.sum(thigh.rotation.values * turned, 1)), 1.0)
    np.testing.assert_allclose(thigh.heading_sd, np.degrees(fit.segment_sd["r_thigh"].heading))
    units = {name: data[name].attrs["units"] for name in data.data_vars}
    assert set(units) == {
        "angle",
        "angle_sd",
        "rotation",
        "position",
        "heading_sd",
        "inclination_sd",
        "position_sd",
    }
    assert units["angle"] == units["angle_sd"] == "degree" and units["position"] == "m"
    assert "+Y up" in data.attrs["frames"] and "Not a medical device" in data.attrs["caution"]


def test_labelled_arrays_are_written_as_they_are(fit: bodyfit.Fit, tmp_path: Path) -> None:
    xr = pytest.importorskip("xarray")
    pytest.importorskip("netCDF4")
    data = fit.to_xarray()
    data.to_netcdf(tmp_path / "fit.nc")
    with xr.open_dataset(tmp_path / "fit.nc") as again:
        xr.testing.assert_equal(again.load(), data)


def test_pandas_is_loaded_only_when_asked_for() -> None:
    script = (
        "import sys, bodyfit\n"
        f"fit = bodyfit.fit(bodyfit.read_capture({str(DEMOS / 'cello_arm')!r}).between(0, 5))\n"
        "repr(fit), fit._repr_html_(), repr(fit.findings)\n"
        "assert 'pandas' not in sys.modules and 'xarray' not in sys.modules\n"
        "fit.to_frame()\n"
        "assert 'pandas' in sys.modules\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_what_is_printed_can_be_read(fit: bodyfit.Fit, capture: bodyfit.Capture) -> None:
    assert "  findings " in repr(fit)
    assert re.search(r"^  r_knee +[\d.]+  flexion -?\d+ to \d+", repr(fit), re.M)
    assert "80.0" in repr(bodyfit.read_capture(DEMOS / "steel_stairs"))
    assert f"body {capture.model.name}, {len(capture.model.segments)} segments" in repr(capture)
