"""Motions scripted in a TOML file: what they become, what is refused, and that both commands take them."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import bodyfit
from bodyfit.commands.main import main
from bodyfit.errors import InputError
from bodyfit.study.planning import plan as planning_jobs

PAGE = Path(__file__).resolve().parents[2] / "docs" / "planning.md"
HEAD = 'duration_s = 6\n[body]\nmodel = "right_arm"\n[person]\nstature_m = 1.75\n'
STILL = HEAD + "[joints.r_elbow.flexion]\nmiddle = 30\n"


@pytest.fixture
def scripted(tmp_path):
    """A function from the text of a script to its file."""

    def write(text: str) -> Path:
        path = tmp_path / "motion.toml"
        path.write_text(text)
        return path

    return write


def angle(path: Path, joint: str, name: str) -> np.ndarray:
    return np.degrees(bodyfit.read_motion(path).joint_angles[joint][name])


def test_keyframes_are_met_never_passed_and_rest_at_both_ends(scripted):
    text = HEAD + "[joints.r_elbow.flexion]\nkeyframes = [[1, 10], [2, 90], [2.5, 90], [4, 20]]\n"
    flexion = angle(scripted(text), "r_elbow", "flexion")
    assert flexion[[0, 100, 200, 225, 250, 400, 600]] == pytest.approx([10, 10, 90, 90, 90, 20, 20])
    assert flexion.min() > 10 - 1e-6 and flexion.max() < 90 + 1e-6
    assert np.abs(np.diff(flexion)).max() < 2 * 80 / 100  # degrees a frame: nothing jumps


def test_keyframes_repeat_and_sines_are_added(scripted):
    text = HEAD + (
        "[joints.r_elbow.flexion]\nkeyframes = [[0, 40], [0.7, 80]]\nrepeat_s = 2\n"
        "[joints.r_elbow.pronation]\nmiddle = 80\n"
        "sines = [{ amplitude = 10, frequency_hz = 0.5, phase_deg = 90 }, "
        "{ amplitude = 2, frequency_hz = 3 }]\n"
    )
    path = scripted(text)
    flexion, pronation = angle(path, "r_elbow", "flexion"), angle(path, "r_elbow", "pronation")
    assert flexion[:400] == pytest.approx(flexion[200:600]) and flexion[[70, 270]] == pytest.approx([80, 80])
    t = np.arange(601) / 100
    assert pronation == pytest.approx(80 + 10 * np.cos(np.pi * t) + 2 * np.sin(6 * np.pi * t))


def test_the_root_turns_leans_and_travels_as_named(scripted):
    """Worked by hand: left is -Z where one faces +X; leaning back carries the head to -X, right to +Z."""
    for name, frame, way in (("turn_left", "x", [0, 0, -1]), ("lean_back", "y", [-1, 0, 0])):
        motion = bodyfit.read_motion(scripted(STILL + f"[root.{name}]\nmiddle = 90\n"))
        axis = {"x": [1.0, 0, 0], "y": [0, 1.0, 0]}[frame]
        assert motion.rotations["thorax"].apply(axis)[0] == pytest.approx(way, abs=1e-12)
    text = STILL + "[root.lean_right]\nmiddle = 90\n[root.x]\nkeyframes = [[0, 0], [5, 2]]\n"
    motion = bodyfit.read_motion(scripted(text))
    assert motion.rotations["thorax"].apply([0, 1.0, 0])[0] == pytest.approx([0, 0, 1], abs=1e-12)
    assert motion.root_position is not None
    assert motion.root_position[-1] == pytest.approx([2, 0, 0])


def test_what_is_asked_for_goes_before_what_the_script_says(scripted):
    path = scripted(STILL)
    own, small = (
        bodyfit.read_motion(path),
        bodyfit.read_motion(path, person=bodyfit.read_capture(DEMO).person),
    )
    arms = [m.model.joints["r_elbow"].centre_in_parent for m in (own, small)]
    assert own.model.name == "right_arm" and arms[0] is not None and arms[1] is not None
    assert abs(arms[0][1]) == pytest.approx(0.1602 * 1.75, abs=1e-3)  # mean of de Leva 1996, women and men
    assert abs(arms[1][1] - arms[0][1]) > 1e-3
    assert set(bodyfit.read_motion(path, bodyfit.read_model("upper_body")).rotations) > set(own.rotations)


DEMO = PAGE.parents[1] / "demo_captures" / "cello_arm"
FLEXION = "[joints.r_elbow.flexion]\n"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (STILL.replace("[person]\nstature_m = 1.75\n", ""), "person.stature_m: .* where r_shoulder is"),
        (HEAD, "joints: this key is missing; expected tables such as"),
        (STILL.replace("6", "2", 1), "duration_s: found 2; expected 3 to 600 seconds"),
        (STILL.replace("right_arm", "right_arn"), "body.model: no body model 'right_arn'"),
        (
            STILL.replace("r_elbow", "r_elbo"),
            "joints.r_elbo: unknown key 'r_elbo'; .* did you mean 'r_elbow'",
        ),
        (STILL.replace("flexion", "flexon"), "joints.r_elbow.flexon: .* did you mean 'flexion'"),
        (STILL.replace("middle", "midle"), "flexion.midle: .* did you mean 'middle'"),
        (
            STILL.replace("30", "160"),
            "flexion: found 160.0° at 0.00 s; expected -4.7 to 150°, .* check the sign",
        ),
        (STILL.replace("30", '"30"'), "flexion.middle: found '30'; expected a number"),
        (STILL + "keyframes = [[0, 1]]\n", "flexion.middle: found keyframes too; expected one of the two"),
        (STILL + "repeat_s = 1\n", "repeat_s: found no keyframes to repeat"),
        (HEAD + FLEXION + "keyframes = [[0, 1], [2]]", r"found \[2\] as pair 2; expected a list of pairs"),
        (
            HEAD + FLEXION + "keyframes = [[2, 1], [1, 5]]",
            "found 1 s after 2 s; expected seconds from 0 that",
        ),
        (HEAD + FLEXION + "keyframes = [[-1, 1]]", "found -1 s first; expected seconds from 0"),
        (HEAD + FLEXION + "keyframes = []", r"found \[\]; expected a list of pairs"),
        (HEAD + FLEXION + "keyframes = [[3, 1]]\nrepeat_s = 3", "repeat_s: found 3; expected more than"),
        (STILL + "sines = [{ amplitude = 1 }]\n", r"sines\[1\].frequency_hz: this key is missing"),
        (STILL + "sines = [{ amplitude = 1, frequency_hz = 50 }]\n", "found 50; expected above 0 to 10 Hz"),
        (
            STILL + "[root.lean_left]\nmiddle = 1\n",
            "root.lean_left: .*expected one of turn_left, lean_back, lean_right",
        ),
    ],
)
def test_what_is_wrong_is_named(scripted, text, said):
    path = scripted(text)
    with pytest.raises(InputError, match=said) as caught:
        bodyfit.read_motion(path)
    assert str(caught.value).startswith(str(path))


def test_the_script_of_the_planning_page_is_simulated_and_planned(scripted, tmp_path, monkeypatch):
    """Simulated in earnest; the plan's recordings are invented, since test_plan.py simulates some."""
    errors = {"r_elbow.flexion": 0.05}
    monkeypatch.setattr(
        planning_jobs, "done", lambda question, job: [errors | {"slips": 0.0}] * job.count or [errors]
    )
    shown = re.search(r"<!-- script -->\n```toml\n(.*?)```", PAGE.read_text(), re.S)
    assert shown
    path = scripted(shown[1])
    made = CliRunner().invoke(main, ["simulate", str(path), "--out", str(tmp_path / "capture"), "--perfect"])
    assert made.exit_code == 0, made.output
    capture = bodyfit.read_capture(tmp_path / "capture")
    assert capture.model.name == "right_arm" and capture.person and capture.person.stature_m == 1.75
    words = [
        *("--tolerance", "r_elbow.flexion=12", "--segments", "r_upperarm,r_forearm", "--kinds", "acc+gyro"),
        *("--jobs", "1"),
    ]
    planned = CliRunner().invoke(main, ["plan", str(path), *words, "--out", str(tmp_path / "plan")])
    assert planned.exit_code == 0, planned.output
    data = json.loads((tmp_path / "plan" / "plan.json").read_text())
    assert data["about"]["body"].startswith("right_arm") and data["answer"]["units"] == 1
