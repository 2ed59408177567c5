"""The report's file: what it is made from, what it says, how large it gets, and what is refused."""

from __future__ import annotations

import base64
import json
import re
from typing import Any

import numpy as np
import pygltflib
import pytest
from click.testing import CliRunner
from example_out import FINDINGS, TITLE, spread, walk, write_out
from scipy.spatial.transform import Rotation

from bodyfit.commands.main import main
from bodyfit.core.findings import Finding
from bodyfit.errors import InputError, OutputError
from bodyfit.files.scene.glb import read_glb
from bodyfit.results.summary import FitOptions
from bodyfit.study.report.curves import curves
from bodyfit.study.report.files import read_fit_files
from bodyfit.study.report.page import report_text, write_report
from bodyfit.study.report.scene import light_scene, viewer_library
from bodyfit.study.report.tables import _command
from bodyfit.study.report.words import joint_label, number

POSES = walk(seconds=4.0)


@pytest.fixture(scope="module")
def out(tmp_path_factory):
    return write_out(tmp_path_factory.mktemp("fit"), POSES)


@pytest.fixture(scope="module")
def text(out):
    return report_text(read_fit_files(out))


@pytest.fixture
def own(tmp_path):
    """A folder to spoil."""
    return write_out(tmp_path / "out", POSES)


def visible(text: str) -> str:
    """The page without scripts, styles and data."""
    return re.sub(r"<(script|style)\b.*?</\1>", "", text, flags=re.S)


def rows(text: str, caption: str) -> list[list[str]]:
    """Cells of the table with that caption, without markup."""
    table = next(t for t in re.findall(r"<table>.*?</table>", text, re.S) if caption in t)
    found = re.findall(r"<tr[^>]*>(.*?)</tr>", table.split("</thead>")[1], re.S)
    cells = [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.S) for row in found]
    return [[re.sub(r"<[^>]+>", "", cell) for cell in row] for row in cells]


# --- the command


def test_command_writes_one_page_into_the_folder(own):
    before = sorted(path.name for path in own.iterdir())
    result = CliRunner().invoke(main, ["report", str(own)])
    assert result.exit_code == 0, result.output
    assert f"Written to {own / 'report.html'}" in result.output
    assert sorted(path.name for path in own.iterdir()) == sorted([*before, "report.html"])


def test_command_writes_where_it_is_told(own, tmp_path):
    page = tmp_path / "elsewhere.html"
    result = CliRunner().invoke(main, ["report", str(own), "--page", str(page)])
    assert result.exit_code == 0, result.output
    assert page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert not (own / "report.html").exists()


def test_a_page_that_cannot_be_written_leaves_what_stood_there(own, tmp_path):
    (own / "report.html").mkdir()
    with pytest.raises(OutputError, match=r"report\.html: cannot be written"):
        write_report(own)
    assert not list(own.glob(".*"))
    with pytest.raises(OutputError, match="cannot be written"):
        write_report(own, tmp_path / "missing" / "page.html")


# --- nothing fetched, nothing taken for markup


def test_nothing_is_fetched_from_anywhere(text):
    assert "default-src 'none'" in text
    assert not re.findall(r"""(?:src|href)\s*=\s*["'](?!data:|#)[^"']*["']""", visible(text))
    assert not re.findall(r"@import|url\((?!#|data:)", text.split("</style>")[0])


def test_text_of_the_files_is_never_markup(text):
    assert TITLE not in visible(text)
    assert "&lt;b&gt;Walk&lt;/b&gt; &amp; &quot;turn&quot;" in text
    assert "beyond &lt;its&gt; range" in text and "<its>" not in text
    assert "it &lt;hardly&gt; moved" in text
    data = re.findall(r'<script type="application/json" id="curves">(.*?)</script>', text, re.S)
    assert len(data) == 1 and "<" not in data[0]
    assert json.loads(data[0])["findings"][0]["what"] == FINDINGS[0].what


def test_cautions_stand_in_the_page(text):
    for sentence in (
        "not a medical device",
        "prompts for a professional’s review",
        "not a diagnosis",
        "without a licensed professional",
        "Local rules",
    ):
        assert sentence in visible(text)


def test_each_identifier_is_given_once_and_each_link_leads_somewhere(text):
    names = re.findall(r'\bid="([^"]+)"', visible(text))
    assert len(names) == len(set(names))
    asked = re.findall(r'(?:href="#|aria-labelledby="|for=")([^"]+)"', visible(text))
    assert asked and set(asked) <= set(names)


# --- figures


def test_joint_table_shows_what_numpy_finds_in_the_angles(text):
    found = {tuple(row[:2]): row[2:] for row in rows(text, "Joint angles")}
    flexion = np.degrees(POSES.joint_angles["r_knee"]["flexion"])
    low, high, extent, sd, limits, beyond, determined = found["right knee r_knee", "flexion"]
    assert [low, high, extent] == [
        number(v) for v in (float(flexion.min()), float(flexion.max()), float(np.ptp(flexion)))
    ]
    assert sd == f"{np.degrees(spread(POSES)['r_knee']['flexion']).mean():.1f}"
    # Soucie 2011, as models/lower_body.toml gives it
    assert limits == "−5.4 to 152.6"
    assert beyond == f"{100 * np.mean((flexion < -5.4) | (flexion > 152.6)):.1f}" != "0.0"
    assert determined == "yes, heading ± 1.5°"
    assert found["left hip l_hip", "flexion"][-1].startswith("no, heading")
    assert found["right knee", "adduction"][4:6] == ["–", "–"]


def test_joints_and_angles_keep_the_order_of_the_model(text):
    names = [(row[0].split(" ")[-1], row[1]) for row in rows(text, "Joint angles") if "_" in row[0]]
    assert names == [(j, next(iter(a)).replace("_", " ")) for j, a in POSES.joint_angles.items()]


def test_an_angle_that_passes_half_a_turn_has_no_extent(tmp_path):
    poses = walk(seconds=2.0)
    turning = poses.rotations["r_thigh"] * Rotation.from_rotvec(
        np.outer(np.linspace(0, 6, len(poses.time)), [0, 0, 1])
    )
    object.__setattr__(poses, "rotations", dict(poses.rotations) | {"r_thigh": turning})
    text = report_text(read_fit_files(write_out(tmp_path, poses)))
    found = {tuple(row[:2]): row[2:5] for row in rows(text, "Joint angles")}
    assert found["right hip r_hip", "flexion"] == ["–", "–", "passes ±180"]


def test_unit_table_says_how_far_each_can_be_trusted(text):
    found = {row[0]: row[1:] for row in rows(text, "Worn units")}
    assert found["l_thigh_unit"] == [
        "l_thigh",
        "accelerometer, gyroscope, magnetometer",
        "still pose; open: about Y",
        "3, 5, 3",
        "7.4",
        "0.12, −0.35, 1.00",
        "−12.3",
        "83",
        "1 stretch, 0.40 s",
    ]


def test_options_become_the_command_again(text):
    told = re.sub(r"<[^>]+>", "", visible(text))
    assert "bodyfit fit CAPTURE --out OUT --leave-out &#x27;spare unit&#x27; --strict-ranges" in told


def test_curves_are_the_angles_in_steps_of_a_fiftieth_of_a_degree(out):
    told = curves(read_fit_files(out))
    time = np.frombuffer(base64.b64decode(told["time"]), "<f4")
    assert 1 / np.diff(time).mean() == pytest.approx(30, abs=0.1)  # every second of 60 frames a second
    knee = next(joint for joint in told["joints"] if joint["name"] == "r_knee")
    assert (knee["label"], knee["side"], knee["twin"]) == ("right knee", "right", "l_knee")
    flexion = knee["angles"][0]
    drawn = np.frombuffer(base64.b64decode(flexion["values"]), "<i2") / told["perDegree"]
    assert drawn == pytest.approx(np.degrees(POSES.joint_angles["r_knee"]["flexion"])[::2], abs=0.0101)
    sd = np.degrees(spread(POSES)["r_knee"]["flexion"])[::2]
    widest = [sd[n : n + 5].max() for n in range(0, len(sd), 5)]
    assert np.frombuffer(base64.b64decode(flexion["spread"]), "<i2") / 50 == pytest.approx(widest, abs=0.0101)


def test_unknown_angles_are_marked_and_stay_out_of_the_table(tmp_path):
    poses = walk(seconds=1.0)
    hip = dict(poses.joint_angles["r_hip"])
    hip["flexion"] = np.where(poses.time > 1.0, np.nan, hip["flexion"])
    object.__setattr__(poses, "joint_angles", dict(poses.joint_angles) | {"r_hip": hip})
    files = read_fit_files(write_out(tmp_path, poses, sd=False))
    drawn = next(j for j in curves(files)["joints"] if j["name"] == "r_hip")["angles"][0]
    assert (np.frombuffer(base64.b64decode(drawn["values"]), "<i2") == -32768).sum() == 15
    assert drawn["spread"] is None
    assert "nan" not in visible(report_text(files))


def test_findings_come_with_the_joints_of_their_units_and_segments(out):
    everything = curves(read_fit_files(out))
    told = everything["findings"]
    assert everything["stretches"] == [
        {"label": "no samples", "spans": [(8.0, 8.4)]},
        {"label": "field doubted", "spans": [(2.0, 3.5)]},
    ]
    assert [found["joints"] for found in told] == [["r_knee"], ["l_talocrural"], ["l_hip"]]


def test_a_fit_nobody_reviewed_and_one_without_findings_say_so(tmp_path):
    unseen = report_text(read_fit_files(write_out(tmp_path / "a", POSES, findings=None)))
    clean = report_text(read_fit_files(write_out(tmp_path / "b", POSES, findings=())))
    assert "bodyfit review OUT" in unseen
    assert "That is no clearance" in clean


def test_notes_are_folded_and_the_fit_repeats_no_finding(text, tmp_path):
    shown = visible(text)
    assert shown.count(FINDINGS[0].what.split("<")[0]) == 1
    assert "<summary>one note, good to know</summary>" in shown
    folded = shown.split("<details")[1].split("</details>")[0]
    assert 'data-finding="1"' in folded and 'data-finding="0"' not in folded
    only = report_text(read_fit_files(write_out(tmp_path, POSES, findings=FINDINGS[1:2])))
    assert "No warning, and nothing serious. That is no clearance" in only


def test_large_numbers_are_no_powers_of_ten(tmp_path):
    dated = Finding("field-date", "note", "no date", "give one", value=2027.5, measure="year")
    assert "found 2028 year" in report_text(read_fit_files(write_out(tmp_path, POSES, findings=(dated,))))


# --- the figure


def test_figure_turns_as_pose_glb_does(out):
    # read back by pygltflib, which knows nothing of this project
    scene = read_glb(out / "pose.glb")
    light: Any = pygltflib.GLTF2.load_from_bytes(light_scene(scene))
    turned = [c.sampler for c in light.animations[0].channels if c.target.path == "rotation"]
    assert len(turned) == len(POSES.model.segments)
    for sampler in turned:
        accessor = light.accessors[light.animations[0].samplers[sampler].output]
        view = light.bufferViews[accessor.bufferView]
        assert (accessor.componentType, accessor.normalized, accessor.type) == (5122, True, "VEC4")
        data = light.binary_blob()[view.byteOffset : view.byteOffset + view.byteLength]
        # glTF 2.0, section 3.11: f = max(c / 32767, -1)
        quat = np.maximum(np.frombuffer(data, "<i2").reshape(-1, 4) / 32767, -1)
        exact = scene[1][scene[0]["animations"][0]["samplers"][sampler]["output"]]
        off = (Rotation.from_quat(quat).inv() * Rotation.from_quat(exact)).magnitude()
        assert np.degrees(off).max() < 0.005


def test_the_viewer_comes_with_its_notice_and_its_loader():
    library = viewer_library()
    assert "SPDX-License-Identifier: MIT" in library[:300]
    assert library.endswith("THREE.GLTFLoader=GLTFLoader;})();")
    assert "</script" not in library and len(library) < 0.8e6


def test_another_release_of_the_viewer_is_refused_in_words(monkeypatch):
    import trimesh.resources

    monkeypatch.setattr(trimesh.resources, "get_bytes", lambda name: b"not a zip file")
    with pytest.raises(InputError, match=r"trimesh .*three\.js.*pip install"):
        viewer_library()


def test_ten_minutes_of_a_whole_body_stay_below_8_MB(tmp_path):
    minute = walk(seconds=60.0, rate=30.0, model="whole_body")
    shorter = walk(seconds=6.0, rate=30.0, model="whole_body")
    sizes = [len(report_text(read_fit_files(write_out(tmp_path / str(n), p))))
             for n, p in enumerate((minute, shorter))]  # fmt: skip
    each_second = (sizes[0] - sizes[1]) / 54
    assert sizes[0] + 540 * each_second < 8e6


# --- refusals


@pytest.mark.parametrize("name", ["segments.csv", "joints.csv", "summary.json", "pose.glb"])
def test_a_missing_file_is_named(own, name):
    (own / name).unlink()
    with pytest.raises(InputError, match=rf"{re.escape(name)} missing; expected .*bodyfit fit CAPTURE") as e:
        read_fit_files(own)
    assert e.value.exit_code == 2


def test_a_missing_folder_is_named(tmp_path):
    result = CliRunner().invoke(main, ["report", str(tmp_path / "nowhere")])
    assert result.exit_code == 2
    assert "nowhere: no such folder; expected the OUT of" in result.output
    assert not (tmp_path / "nowhere").exists()


def test_a_damaged_scene_is_refused(own):
    whole = (own / "pose.glb").read_bytes()
    for data in (whole[:-10], b"", b"PK" + whole[2:]):
        (own / "pose.glb").write_bytes(data)
        with pytest.raises(
            InputError, match=r"pose\.glb: cannot be read as a glTF scene .*Run the fit again"
        ):
            read_fit_files(own)


def test_files_of_two_fits_are_refused(own):
    other = (own / "joints.csv").read_text().replace("r_knee_flexion", "r_knee_twist", 2)
    (own / "joints.csv").write_text(other)
    with pytest.raises(InputError, match=r"no column 'r_knee_flexion_deg'.*not of the same fit"):
        read_fit_files(own)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("{", r"summary\.json: not valid JSON"),
        ("[1]", r"summary\.json: found \[1\], expected an object"),
        ("{}", r"summary\.json: body: this key is missing"),
    ],
)
def test_a_wrong_summary_is_refused(own, content, message):
    (own / "summary.json").write_text(content)
    with pytest.raises(InputError, match=message):
        read_fit_files(own)


GOOD = FINDINGS[0].as_data()


@pytest.mark.parametrize(
    ("findings", "message"),
    [
        (None, r"findings: found null; expected a list"),
        (["text"], r"findings\[0\]: found 'text'; expected an object"),
        ([GOOD, GOOD | {"what": 3}], r"findings\[1\]\.what: found 3; expected text"),
        ([GOOD | {"severity": "dire"}], r"findings\[0\]\.severity: found 'dire'; expected one of note, warn"),
        ([GOOD | {"start_s": "soon"}], r"findings\[0\]\.start_s: found 'soon'; expected a number"),
        ([GOOD | {"value": [1]}], r"findings\[0\]\.value: found \[1\]; expected a number"),
    ],
)
def test_wrong_findings_are_refused(own, findings, message):
    (own / "findings.json").write_text(json.dumps({"findings": findings}))
    with pytest.raises(InputError, match=message):
        read_fit_files(own)


# --- words and colours


@pytest.mark.parametrize(
    ("name", "label"),
    [("l_talocrural", "left ankle"), ("r_radiocarpal", "right wrist"), ("joint_1", "joint 1")],
)
def test_joints_have_names_that_people_use(name, label):
    assert joint_label(name) == label


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.1."""
    share = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_letters_and_curves_stand_out_from_the_paper(text):
    # WCAG 2.1, success criteria 1.4.3 (text: 4.5) and 1.4.11 (graphics: 3)
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", text.split("</style>")[0]))
    assert contrast("#ffffff", "#000000") == pytest.approx(21)
    for name in ("ink", "quiet", "plum", "serious", "warning", "note", "left", "right", "middle"):
        assert contrast(colours[name], colours["paper"]) > 4.5, name
        assert contrast(colours[name], colours["range"]) > 3, name


def test_the_call_is_told_with_options_that_the_command_has():
    from bodyfit.commands.fit import fit

    named = {option for parameter in fit.params for option in parameter.opts}
    every = FitOptions(("accelerometer", "gyroscope"), True, ("a b", "c"), True, "auto", False)
    told = _command(every)
    assert told == (
        "bodyfit fit CAPTURE --out OUT --sensors accelerometer,gyroscope --alone --leave-out 'a b' "
        "--leave-out c --strict-ranges --no-usual-postures --assign auto"
    )
    assert {word for word in told.split() if word.startswith("--")} <= named
    assert _command(FitOptions(None, False, (), False, "given", True)) == "bodyfit fit CAPTURE --out OUT"
