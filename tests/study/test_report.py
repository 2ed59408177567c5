"""The report's file: what it is made from, what it says, how large it gets, and what is refused."""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import html
import json
import re
import shlex
from typing import Any

import example_out
import numpy as np
import pygltflib
import pytest
from capture_files import write_folder
from click.testing import CliRunner
from example_out import FINDINGS, TITLE, spread, walk, write_out
from scipy.spatial.transform import Rotation

from bodyfit.body.anatomy import spoken
from bodyfit.body.chain import BodyModel
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.parts import Segment
from bodyfit.commands.main import main
from bodyfit.core.findings import Finding
from bodyfit.errors import InputError, OutputError
from bodyfit.files.capture.folder import read_capture
from bodyfit.files.scene.glb import read_glb
from bodyfit.results.joints import AngleFigures
from bodyfit.results.summary import FitOptions
from bodyfit.study.report.curves import _angle, curves
from bodyfit.study.report.files import read_fit_files
from bodyfit.study.report.made_how import command
from bodyfit.study.report.page import report_text, write_report
from bodyfit.study.report.scene import light_scene, viewer_library
from bodyfit.study.report.words import number

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
    assert len(re.findall(r"<script>", text)) == 3  # shared, three.js, the report's own


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
    low, high, extent, sd, limits, beyond, determined = found["right knee", "flexion"]
    assert [low, high, extent] == [
        number(v) for v in (float(flexion.min()), float(flexion.max()), float(np.ptp(flexion)))
    ]
    assert sd == f"{np.degrees(spread(POSES)['r_knee']['flexion']).mean():.1f}"
    # Soucie 2011, as models/lower_body.toml gives it
    assert limits == "−1.6 to 157.0"
    assert beyond == f"{100 * np.mean((flexion < -1.6) | (flexion > 157.0)):.1f}" != "0.0"
    assert determined == "yes, heading ± 1.5°"
    assert found["left hip", "flexion"][-1].startswith("no, heading")
    assert found["right knee", "adduction"][4:6] == ["–", "–"]


def test_joints_and_angles_keep_the_order_of_the_model(text):
    names = [tuple(row[:2]) for row in rows(text, "Joint angles")]
    asked = [(spoken(j), a.replace("_", " ")) for j, angles in POSES.joint_angles.items() for a in angles]
    assert names == asked
    assert re.findall(r'class="plain" data-joint="(\w+)"', text) == list(POSES.joint_angles)


def turning_hip(tmp_path):
    """Files of a fit whose right thigh turns on about the hip's axis of flexion, by 6 rad, past ±180°."""
    poses = walk(seconds=2.0)
    turning = poses.rotations["r_thigh"] * Rotation.from_rotvec(
        np.outer(np.linspace(0, 6, len(poses.time)), [0, 0, 1])
    )
    object.__setattr__(poses, "rotations", dict(poses.rotations) | {"r_thigh": turning})
    return poses, read_fit_files(write_out(tmp_path, poses))


def test_a_curve_goes_on_past_half_a_turn_without_a_jump(tmp_path):
    poses, files = turning_hip(tmp_path)
    flexion = poses.joint_angles["r_hip"]["flexion"]
    assert np.abs(np.diff(flexion)).max() > np.pi  # in the file it jumps
    hip = next(joint for joint in curves(files)["joints"] if joint["name"] == "r_hip")["angles"][0]
    drawn = np.frombuffer(base64.b64decode(hip["values"]), "<i2") / hip["perDegree"]
    assert np.abs(np.diff(drawn)).max() < 30
    assert np.cos(np.radians(drawn)) == pytest.approx(
        np.cos(flexion[::2]), abs=1e-3
    )  # the same but for turns
    found = {tuple(row[:2]): row[2:5] for row in rows(report_text(files), "Joint angles")}
    low, high, extent = (float(cell.replace("−", "-")) for cell in found["right hip", "flexion"])
    assert high - low == pytest.approx(extent, abs=0.11) and extent > 300


def test_an_angle_that_turns_on_and_on_is_drawn_whole(tmp_path):
    """A hundred turns do not fit into 655°: more coarsely drawn, not cut off."""
    many = np.linspace(0.0, 200 * np.pi, 4000)
    (told,) = (
        _angle("a", np.angle(np.exp(1j * many)), None, slice(None), AngleFigures(None, None)) for _ in "a"
    )
    drawn = np.frombuffer(base64.b64decode(told["values"]), "<i2") / told["perDegree"]
    assert np.ptp(drawn) == pytest.approx(36000, abs=3)


def test_frames_whose_band_is_wider_than_a_turn_are_not_known(tmp_path, monkeypatch):
    plain = example_out.spread

    def wide(poses):
        """The first second of the right knee's flexion may be any angle; its adduction may throughout."""
        found = plain(poses)
        flexion = np.where(poses.time < poses.time[0] + 1.0, np.radians(95.0), found["r_knee"]["flexion"])
        found["r_knee"] = {
            **found["r_knee"], "flexion": flexion, "adduction": np.full(len(flexion), np.radians(95.0))
        }  # fmt: skip
        return found

    monkeypatch.setattr(example_out, "spread", wide)
    files = read_fit_files(write_out(tmp_path, POSES))
    found = {tuple(row[:2]): row[2:] for row in rows(report_text(files), "Joint angles")}
    assert found["right knee", "adduction"][:4] == ["not known"] * 4
    later = POSES.time >= POSES.time[0] + 1.0
    inside = np.degrees(POSES.joint_angles["r_knee"]["flexion"][later])
    assert found["right knee", "flexion"][:2] == [number(float(inside.min())), number(float(inside.max()))]
    knee = next(joint for joint in curves(files)["joints"] if joint["name"] == "r_knee")["angles"]
    drawn = [np.frombuffer(base64.b64decode(angle["values"]), "<i2") for angle in knee]
    assert (drawn[1] == -32768).all() and ((drawn[0] == -32768) == ~later[::2]).all()


def test_unit_table_says_how_far_each_can_be_trusted(text):
    found = {row[0]: row[1:] for row in rows(text, "Worn units")}
    assert found["left thigh"] == [
        "left thigh",
        "accelerometer, gyroscope, magnetometer",
        "still pose; open: about Y",
        "3, 5, 3",
        "7.4",
        "0.12, −0.35, 1.00",
        "−12.3",
        "83",
        "1 stretch, 0.40 s",
    ]


def test_the_call_and_the_checksums_of_the_recording_are_those_of_the_fit(tmp_path):
    """Checksums against hashlib's own of the files; the call as one types it."""
    (folder := tmp_path / "a capture").mkdir()
    write_folder(folder)
    capture = read_capture(folder)
    table = next(folder.glob("*.csv"))
    assert capture.files is not None and capture.files.folder == str(folder)
    assert capture.files.sha256[table.name] == hashlib.sha256(table.read_bytes()).hexdigest()
    assert set(capture.files.sha256) == {"setup.toml", *(one.name for one in folder.glob("*.csv"))}
    assert capture.between(0.1, 0.5).files is None  # the call would fit all of it
    out = write_out(tmp_path / "out", POSES, recording=capture.files)
    told = html.unescape(re.sub(r"<[^>]+>", "", visible(report_text(read_fit_files(out)))))
    asked = shlex.join(["bodyfit", "fit", str(folder), "--out", str(out), "--leave-out", "spare unit"])
    assert f"{asked} --strict-ranges" in told
    assert f"{capture.files.sha256[table.name]} {table.name}" in told


def test_a_fit_of_no_files_says_so(text):
    assert "not known: the capture was not read from files" in text
    assert "bodyfit fit CAPTURE --out" in text


def test_curves_are_the_angles_in_steps_of_a_fiftieth_of_a_degree(out):
    told = curves(read_fit_files(out))
    time = np.frombuffer(base64.b64decode(told["time"]), "<f4")
    assert 1 / np.diff(time).mean() == pytest.approx(30, abs=0.1)  # every second of 60 frames a second
    knee = next(joint for joint in told["joints"] if joint["name"] == "r_knee")
    assert (knee["label"], knee["side"], knee["twin"]) == ("right knee", "right", "l_knee")
    flexion = knee["angles"][0]
    drawn = np.frombuffer(base64.b64decode(flexion["values"]), "<i2") / flexion["perDegree"]
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
    assert "<summary>one kind of note, good to know</summary>" in shown
    folded = shown.split("<details")[1].split("</details>")[0]
    assert 'data-finding="1"' in folded and 'data-finding="0"' not in folded
    only = report_text(read_fit_files(write_out(tmp_path, POSES, findings=FINDINGS[1:2])))
    assert "No warning, and nothing serious. That is no clearance" in only


def test_findings_of_a_kind_are_one_card_that_leads_to_each_of_them(tmp_path):
    gaps = [
        Finding("gap", "warning", f"{name}: {k} s are missing", "See it.", units=(name,), start=k, harm_deg=k)
        for k, name in enumerate(("l_thigh_unit", "r_thigh_unit", "l_calf_unit"), 1)
    ]  # fmt: skip
    other = Finding("gap", "serious", "pelvis_unit: all is missing", "See it.", units=("pelvis_unit",))
    shown = visible(report_text(read_fit_files(write_out(tmp_path, POSES, findings=(*gaps, other)))))
    cards = shown.split('<ol class="findings">')[1].split('<li class="')[1:]
    assert [card.split('"')[0] for card in cards] == ["serious", "warning"]
    head, more = cards[1].split("</ol>")[0].split("<details>")
    assert "Left shank: 3 s are missing." in head and "See it." in head
    assert "2 more alike" in more and more.count("data-finding") == 2
    assert "right thigh: 2 s are missing" in more and "_unit" not in more


def test_large_numbers_are_no_powers_of_ten(tmp_path):
    fast = Finding("rate", "note", "fast", "look", value=2027.5, measure="deg/s")
    assert "measured 2028 deg/s" in report_text(read_fit_files(write_out(tmp_path, POSES, findings=(fast,))))


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


def test_the_licence_of_the_viewer_travels_with_it(text):
    """MIT, as the three.js repository has it; its notice with the years that the library itself bears."""
    told = html.unescape(visible(text))
    assert re.search(r"Copyright 2010-20\d\d Three\.js Authors", told)
    for words in ("Permission is hereby granted, free", "The above copyright notice", "WITHOUT WARRANTY"):
        assert words in told


def test_a_body_of_one_segment_makes_a_page_without_empty_parts(tmp_path):
    alone = BodyModel("one", {"r_hindfoot": Segment("r_hindfoot", length=0.26)}, {})
    time = np.arange(0.0, 3.0, 1 / 60)
    turned = Rotation.from_rotvec(np.outer(np.sin(time), [0, 0, 1]))
    poses = PoseSequence(time, {"r_hindfoot": turned}, alone, np.zeros((len(time), 3)))
    text = report_text(read_fit_files(write_out(tmp_path, poses, findings=())))
    shown = visible(text)
    assert 'id="joints"' not in shown and 'href="#joints"' not in shown
    assert "1 worn unit ·" in shown and 'class="stage alone"' in shown


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


# --- words


@pytest.mark.parametrize(
    ("name", "label"),
    [("l_talocrural", "left ankle"), ("r_radiocarpal", "right wrist"), ("joint_1", "joint 1")],
)
def test_joints_have_names_that_people_use(name, label):
    assert spoken(name) == label


def with_options(options: FitOptions):
    return dataclasses.replace(example_out.summary_of(POSES), options=options)


def test_the_call_is_told_with_options_that_the_command_has():
    from bodyfit.commands.fit import fit

    named = {option for parameter in fit.params for option in parameter.opts}
    every = FitOptions(("accelerometer", "gyroscope"), True, ("a b", "c"), True, "auto", False, "study/first")
    told = command(with_options(every), "OUT")
    assert told == (
        "bodyfit fit CAPTURE --out OUT --sensors accelerometer,gyroscope --alone --leave-out 'a b' "
        "--leave-out c --strict-ranges --no-usual-postures --same-person FIT --assign auto"
    )
    assert {word for word in told.split() if word.startswith("--")} <= named
    plain = with_options(FitOptions(None, False, (), False, "given", True, None))
    assert command(plain, "OUT") == "bodyfit fit CAPTURE --out OUT"
