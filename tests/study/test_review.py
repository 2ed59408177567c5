"""A review: each fault found at its time and place, nothing in clean motions, and what findings say."""

from __future__ import annotations

import dataclasses
import json
import re
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pinocchio
import pytest
from click.testing import CliRunner
from example_summary import A_CENTRE, A_HEADING, joint, summary, unit
from faults import FAULTS, tells, with_rotations
from scipy.spatial.transform import Rotation
from scripted_motion import person, swung

import bodyfit
from bodyfit.body.motion.poses import PoseSequence, from_joint_angles
from bodyfit.body.plain_data import body_data
from bodyfit.commands.main import main
from bodyfit.core.findings import SEVERITIES, Finding
from bodyfit.core.intervals import stretches
from bodyfit.errors import InputError
from bodyfit.files.findings_file import read_findings, write_findings
from bodyfit.files.model.model_file import model_from_data, read_model
from bodyfit.fitting.result import Fit
from bodyfit.results.summary import Summary
from bodyfit.study.review.checks.interpenetration import Capsule, capsules, collision_model, distances
from bodyfit.study.review.checks.inverse_dynamics import inverse_dynamics
from bodyfit.study.review.kinds import KINDS

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "findings.md").read_text(encoding="utf-8")


@cache
def walking(seed: int = 0, seconds: float = 8.0, rate: float = 60.0) -> PoseSequence:
    """An invented walk on the spot: legs and arms swinging in step, the root moving with the lower foot."""
    rng = np.random.default_rng(seed)
    model, time = person("whole_body"), np.arange(0, seconds, 1 / rate)
    phase = 2 * np.pi * rng.uniform(0.8, 1.1) * time + rng.uniform(0, 6)
    angles = {}
    for side, sign in (("l", 1.0), ("r", -1.0)):
        step = sign * np.sin(phase)
        bent = 0.5 + 0.5 * sign * np.sin(phase + 1.0)
        angles |= {
            f"{side}_hip": {"flexion": np.radians(10 + 20 * step)},
            f"{side}_knee": {"flexion": np.radians(5 + 45 * bent**2)},
            f"{side}_talocrural": {"dorsiflexion": np.radians(5 * step)},
            f"{side}_shoulder": {
                "plane_of_elevation": np.radians(60 + 5 * step),
                "elevation": np.radians(-35 + 8 * step),
                "axial_rotation": np.radians(-60),
            },
            f"{side}_elbow": {"flexion": np.radians(30 - 10 * step), "pronation": np.radians(90)},
        }
    angles["vl5"] = {"flexion": np.radians(5 + 3 * np.sin(2 * phase))}
    root = np.stack([0 * time, 0.95 + 0.02 * np.cos(2 * phase), 0 * time], -1)
    return from_joint_angles(model, time, angles, None, root)


def warned(findings) -> list[Finding]:
    return [finding for finding in findings if finding.severity != "note"]


def with_angle(poses: PoseSequence, joint: str, angle: str, degrees: np.ndarray | float) -> PoseSequence:
    """The motion with another course of one joint angle."""
    angles = {name: dict(values) for name, values in poses.joint_angles.items()}
    angles[joint][angle] = np.radians(degrees) + 0 * poses.time
    root = poses.rotations[poses.model.root]
    return from_joint_angles(poses.model, poses.time, angles, root, poses.root_position)


# --- faults ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_found_at_its_time_and_place(name):
    fault = FAULTS[name](walking())
    assert any(tells(finding, fault) for finding in bodyfit.review(fault.poses))


@pytest.mark.parametrize("seed", range(3))
def test_a_clean_walk_gives_no_warning(seed):
    kinds = {finding.kind for finding in warned(bodyfit.review(walking(seed)))}
    assert not kinds - {"ground-friction", "ground-pull"}, "walking on the spot is no real ground contact"


@pytest.mark.parametrize("name", ["cello_arm", "steel_stairs"])
def test_the_true_motion_of_a_demo_capture_gives_no_warning(name):
    from bodyfit.files.motion.motion_file import read_motion

    capture = bodyfit.read_capture(ROOT / "demo_captures" / name)
    truth = read_motion(
        ROOT / "demo_captures" / name / "truth" / "segments.csv.gz", capture.model, capture.person
    )
    assert warned(bodyfit.review(truth)) == []


def test_a_slip_is_told_with_its_size():
    fault = FAULTS["unit slipped by 30°"](walking())
    slip = next(f for f in bodyfit.review(fault.poses) if f.kind == "unit-slip")
    assert slip.segments == ("r_thigh",) and set(slip.joints) == {"r_hip", "r_knee"}
    assert slip.value == pytest.approx(30, abs=4)
    assert slip.start == pytest.approx(fault.start + 0.05, abs=0.1)


# --- against sources outside -----------------------------------------------------------------------------


def test_distances_of_capsules_are_those_of_segments_less_radii():
    """Closest points of two line segments, sampled densely; geometry from first principles."""
    model, poses = person("whole_body"), walking()
    body = model.pinocchio()
    geometry = collision_model(model, body)
    frame = 100
    found = distances(body, geometry, poses.configurations()[frame : frame + 1])[0]
    shapes = capsules(model)
    for pair, gap in list(zip(geometry.collisionPairs, found, strict=True))[::7]:
        a, b = (_in_world(shapes[k], poses, frame) for k in (pair.first, pair.second))
        apart = np.linalg.norm(a[:, None] - b[None], axis=-1).min()
        radii = shapes[pair.first].radius + shapes[pair.second].radius
        assert gap == pytest.approx(apart - radii, abs=2e-3)


def _in_world(capsule: Capsule, poses: PoseSequence, frame: int) -> np.ndarray:
    along = np.linspace(0, 1, 400)[:, None]
    points = (1 - along) * capsule.start + along * capsule.end
    assert poses.positions is not None
    return poses.rotations[capsule.segment][frame].apply(points) + poses.positions[capsule.segment][frame]


def test_net_force_is_newtons_second_law():
    """F = m (a_com − g), with the centre of mass from positions alone, not from pinocchio."""
    poses = walking()
    dynamics = inverse_dynamics(poses)
    assert dynamics is not None
    mass = sum(segment.mass for segment in poses.model.segments.values())  # type: ignore[misc]
    com = poses.centre_of_mass()
    acceleration = np.gradient(np.gradient(com, poses.time, axis=0), poses.time, axis=0)
    expected = mass * (acceleration + np.array([0, 9.80665, 0]))
    middle = slice(60, -60)
    assert dynamics.force[middle] == pytest.approx(expected[middle], abs=0.03 * mass * 9.81)


def test_torque_of_a_level_arm_is_its_weight_times_its_lever():
    """Statics: m g r of everything beyond the shoulder, with de Leva's masses and centres in the model."""
    model = person("right_arm")
    time = np.arange(0, 3, 1 / 50)
    angles = {"r_shoulder": {"plane_of_elevation": np.pi / 2, "elevation": -np.pi / 2, "axial_rotation": 0.0}}
    poses = from_joint_angles(model, time, angles)
    dynamics = inverse_dynamics(poses)
    assert dynamics is not None and poses.positions is not None
    moment = np.zeros(3)
    shoulder = poses.positions["r_upperarm"][0]
    for name in ("r_upperarm", "r_forearm", "r_hand"):
        segment = model.segments[name]
        at = poses.positions[name][0] + poses.rotations[name][0].apply(segment.com)
        moment += np.cross(at - shoulder, [0, -9.80665 * float(segment.mass or 0), 0])
    assert dynamics.torque["r_shoulder"][75] == pytest.approx(np.linalg.norm(moment), rel=1e-6)


def test_a_standing_leg_carries_the_body():
    """Standing on the left foot alone, leaning: the ankle's moment is weight times lever."""
    model = person("whole_body")
    time = np.arange(0, 3, 1 / 50)
    lean = Rotation.from_rotvec(np.outer(np.ones(len(time)), [0, 0, -0.09]))
    poses = from_joint_angles(
        model, time, {"r_hip": {"flexion": 0.8}, "r_knee": {"flexion": 1.2}}, lean, np.zeros((len(time), 3))
    )
    dynamics = inverse_dynamics(poses)
    assert dynamics is not None and poses.positions is not None
    foot = model.segments["l_hindfoot"]
    on_foot = poses.positions["l_hindfoot"][75]
    foot_com = on_foot + poses.rotations["l_hindfoot"][75].apply(foot.com)
    weight = np.array([0, -9.80665, 0])
    total = sum(float(s.mass or 0) for s in model.segments.values())
    above = total * poses.centre_of_mass()[75] - float(foot.mass or 0) * foot_com
    moment = np.cross(above - (total - float(foot.mass or 0)) * on_foot, weight)
    # three per cent of the weight is put on the lifted foot, whose height decides
    assert dynamics.torque["l_talocrural"][75] == pytest.approx(np.linalg.norm(moment), rel=0.05)
    assert dynamics.body_mass == pytest.approx(70.0, rel=1e-3)


def test_a_gap_is_what_a_swinging_residual_implies():
    """D = a / (2πf)²: 4 m/s² at 1 Hz is 101 mm (textbook sine)."""
    model, time = person("right_arm"), np.arange(0, 20, 0.02)
    swing = {"r_elbow": {"flexion": 1.0 + 0.6 * np.sin(2 * np.pi * time)}}
    poses = from_joint_angles(model, time, swing)
    elbow = joint(model.joints["r_elbow"], poses, centre=dataclasses.replace(A_CENTRE, residual_m_s2=4.0))
    told = dataclasses.replace(summary(poses), joints={"r_elbow": elbow})
    gap = next(f for f in bodyfit.review(Fit(poses, told)) if f.kind == "joint-centre")
    assert gap.value == pytest.approx(4000 / (2 * np.pi) ** 2, rel=0.03)


# --- what findings say -----------------------------------------------------------------------------------


def examples() -> dict[str, Finding]:
    """One finding of every kind."""
    base = walking()
    found: list[Finding] = []
    for put in FAULTS.values():
        found += bodyfit.review(put(base).poses)
    time, half = base.time, base.time > 4
    found += bodyfit.review(with_angle(base, "l_knee", "adduction", 25.0))
    jumped = base.rotations["skull"] * Rotation.from_rotvec(np.outer(half, [0, 0.6, 0]))
    found += bodyfit.review(with_rotations(base, skull=jumped))
    quick = walking(0, 3.0, 200.0)
    found += bodyfit.review(with_angle(quick, "r_hip", "flexion", 20 + 40 * np.sin(20 * np.pi * quick.time)))
    found += bodyfit.review(with_angle(quick, "r_knee", "flexion", 70 + 60 * np.sin(20 * np.pi * quick.time)))
    found += bodyfit.review(with_angle(base, "r_elbow", "flexion", 70 + 60 * np.sin(2 * np.pi * 4.5 * time)))
    found += bodyfit.review(_moved(base, up=0.9 * np.sin(2 * np.pi * 1.1 * time)))
    found += bodyfit.review(_moved(base, up=2.0 * np.sin(2 * np.pi * 2.0 * time)))
    found += bodyfit.review(_moved(base, forward=0.8 * np.sin(2 * np.pi * 1.1 * time)))
    found += bodyfit.review(_moved(base, up=-0.3 * ((time > 3) & (time < 4.5))))
    found += bodyfit.review(_still(base, sliding=True))
    found += bodyfit.review(_still(base, sliding=False, lifted=0.2))
    found += bodyfit.review(with_angle(base, "r_shoulder", "elevation", -2.0))
    found += bodyfit.review(with_angle(base, "r_hip", "flexion", 0.0))
    found += bodyfit.review(Fit(base, told_by(base)))
    return {finding.kind: finding for finding in found}


def _moved(poses: PoseSequence, up: Any = 0.0, forward: Any = 0.0) -> PoseSequence:
    root = poses.root_position
    assert root is not None
    zero = np.zeros(len(poses.time))
    return dataclasses.replace(poses, root_position=root + np.stack([zero + forward, zero + up, zero], -1))


def _still(poses: PoseSequence, sliding: bool, lifted: float = 0.0) -> PoseSequence:
    """Standing, then carried along level ground or lifted by some metres, then standing."""
    level = from_joint_angles(poses.model, poses.time, {}, None, np.zeros((len(poses.time), 3)))
    way = np.cumsum((poses.time > 3) & (poses.time < 4)) / 60.0 * sliding
    return _moved(level, up=lifted * np.clip(poses.time - 3, 0, 1), forward=way)


def told_by(poses: PoseSequence) -> Summary:
    """An account with something of each kind to find."""
    elbow = joint(
        poses.model.joints["r_elbow"],
        poses,
        centre=dataclasses.replace(A_CENTRE, residual_m_s2=9.0),
        heading=dataclasses.replace(A_HEADING, relative_heading_sd_deg=55.0),
    )
    plain = summary(poses)
    worn = unit(
        "r_forearm",
        gyroscope_bias_deg_per_s=(0.0, 4.0, 0.0),
        heading_drift_removed_deg=-32.0,
        magnetometer_trusted_share=0.4,
        field_untrusted_s=((1.0, 3.0),),
        elastic_deg_per_g=((0.0, 0.0, 14.0), (0.0, 0.0, 0.0), (0.0, 0.0, 0.0)),
    )
    return dataclasses.replace(plain, joints={**plain.joints, "r_elbow": elbow}, units={"u": worn})


SHOWN_AS = {"deg": "°", "times": "times", "body weights": "body weights"}


@pytest.fixture(scope="module")
def all_kinds() -> dict[str, Finding]:
    return examples()


def test_every_kind_has_an_example_and_no_other_appears(all_kinds):
    assert sorted(all_kinds) == sorted(KINDS)


def test_every_text_holds_its_number_unit_limit_and_source(all_kinds):
    for kind, finding in all_kinds.items():
        expected = KINDS[kind]
        assert finding.measure == expected.measure, kind
        assert finding.threshold is not None and finding.value is not None, kind
        if expected.limit is not None:
            assert finding.threshold == pytest.approx(expected.limit), kind
        assert SHOWN_AS.get(finding.measure, finding.measure) in finding.what, finding.what
        shown = [abs(float(n)) for n in re.findall(r"-?\d+(?:\.\d+)?", finding.what)]
        assert any(n == pytest.approx(abs(finding.value), rel=0.06, abs=0.6) for n in shown), finding.what
        assert finding.source and finding.advice and not finding.what.endswith("."), kind
        assert (finding.severity in SEVERITIES and finding.what[0].islower()) or finding.what[1] == "_", kind


def test_a_number_lies_beyond_its_limit(all_kinds):
    below = {"gimbal"}  # told when they are less than the limit
    signed = {"joint-range", "stiff-angle"}
    small = {"heading-drift", "root-jump"}  # told for the heading, or for one frame, as well
    for kind, finding in all_kinds.items():
        value, limit = finding.value, finding.threshold
        assert value is not None and limit is not None
        if kind in below:
            assert value < limit
        elif kind in signed:
            assert abs(value) > abs(limit)
        elif kind not in small:
            assert value > limit, kind


def test_angles_say_how_their_sign_counts(all_kinds):
    for kind in ("joint-range", "stiff-angle"):
        assert "positive as the angle is named" in all_kinds[kind].what
    assert "positive: to the left" in all_kinds["heading-drift"].what


def test_a_knee_bent_backwards_is_negative_flexion():
    """Grood & Suntay 1983: flexion positive; backwards is below the range's low end."""
    fault = FAULTS["knee bent backwards by 20°"](walking())
    told = next(f for f in bodyfit.review(fault.poses) if f.joints == ("r_knee",) and f.kind == "joint-range")
    assert told.value == pytest.approx(-20.0, abs=0.2)
    assert told.threshold == pytest.approx(-1.6)  # Soucie 2011, women 20-44 y: knee extension 1.6°


def test_known_standard_deviations_are_told_and_soften():
    fault = FAULTS["knee bent backwards by 20°"](walking())
    wide = {"r_knee": {"flexion": np.full(len(fault.poses.time), np.radians(10.0))}}
    for sd, severity in ((wide, "note"), (None, "warning")):
        told = next(
            f
            for f in bodyfit.review(Fit(fault.poses, summary(fault.poses), sd))
            if f.kind == "joint-range" and f.joints == ("r_knee",)
        )
        assert told.severity == severity
        assert ("standard deviations of the estimate" in told.what) == (sd is not None)


def test_page_and_code_agree():
    rows = re.findall(r"^\| `([\w-]+)` \| ([^|]+) \| ([^|]+) \|$", PAGE, re.M)
    told = {kind: (measure.strip(), limit.strip()) for kind, measure, limit in rows}
    assert list(told) == list(KINDS)
    for kind, (measure, limit) in told.items():
        assert measure == KINDS[kind].measure
        assert (None if limit.startswith("by") else float(limit)) == (
            None if KINDS[kind].limit is None else pytest.approx(KINDS[kind].limit)
        )
    assert sorted(re.findall(r"^### ([\w-]+)$", PAGE, re.M)) == sorted(KINDS)


def test_cautions_stand_on_the_page():
    assert "not a diagnosis or clearance" in PAGE and "not a medical device" in PAGE


# --- files and command -----------------------------------------------------------------------------------


def test_findings_are_read_back_as_written(tmp_path, all_kinds):
    worst, *others = all_kinds.values()
    before = (dataclasses.replace(worst, stretches=((1.0, 2.5), (4.0, 5.0))), *others)
    write_findings(before, tmp_path / "findings.json", "1.2.3", "careful")
    assert read_findings(tmp_path / "findings.json") == before
    content = json.loads((tmp_path / "findings.json").read_text())
    assert content["bodyfit_version"] == "1.2.3" and content["findings"][0]["id"] == before[0].identifier


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "not valid JSON"),
        ('{"findings": [{"kind": 1}]}', r"findings\[0\]\.kind: found 1"),
        (
            '{"findings": [{"kind": "a", "severity": "note", "what": "", "advice": "", "stretches_s": [1]}]}',
            r"findings\[0\]\.stretches_s\[0\]: found 1",
        ),
    ],
)
def test_a_wrong_findings_file_is_refused(tmp_path, text, said):
    (tmp_path / "findings.json").write_text(text)
    with pytest.raises(InputError, match=said):
        read_findings(tmp_path / "findings.json")
    with pytest.raises(InputError, match=r"no such file\. Make it with"):
        read_findings(tmp_path / "other.json")


def test_a_body_comes_back_from_its_data():
    model = read_model("whole_body").scaled(None)
    for body in (model, person("whole_body")):
        back = model_from_data(json.loads(json.dumps(body_data(body))), "summary.json", "body")
        assert body_data(back) == body_data(body)


@pytest.fixture
def written(tmp_path) -> Path:
    poses = FAULTS["knee bent backwards by 20°"](walking()).poses
    Fit(poses, summary(poses)).write(tmp_path)
    return tmp_path


def test_a_written_fit_is_reviewed_as_it_was(written):
    fit = bodyfit.read_fit(written)
    again = Fit(dataclasses.replace(fit.poses), fit.summary)
    assert [f.identifier for f in bodyfit.review(fit)] == [f.identifier for f in bodyfit.review(again)]
    before, after = walking().root_position, fit.poses.root_position
    assert before is not None and after is not None and np.allclose(before, after, atol=2e-6)


def test_the_command_prints_and_writes(written):
    result = CliRunner().invoke(main, ["review", str(written), "--no-notes"])
    assert result.exit_code == 0, result.output
    assert "r_knee flexion reaches -20.0°" in result.output
    assert "not a diagnosis" in " ".join(result.output.split())
    assert "note " not in result.output.split("\n", 2)[2]
    assert any(f.joints == ("r_knee",) for f in read_findings(written / "findings.json"))


def test_a_folder_without_a_fit_is_refused(tmp_path, written):
    result = CliRunner().invoke(main, ["review", str(tmp_path / "none")])
    assert result.exit_code == 2 and "summary.json: no such file" in result.output
    (written / "summary.json").write_text("{}")
    result = CliRunner().invoke(main, ["review", str(written)])
    assert result.exit_code == 2 and "body: this key is missing" in result.output


def test_findings_from_before_the_fit_are_carried_over():
    clock = Finding("clock-offset", "serious", "a 30 ms", "check", units=("a",), value=30.0, measure="ms")
    spans = ((1.0, 3.0), (4.0, 5.5))
    field = Finding("field-untrusted", "warning", "u 40 %", "look", units=("u",), stretches=spans)
    found = bodyfit.review(Fit(walking(), summary(walking()), findings=(clock, field)))
    assert found[0] == clock
    assert [f for f in found if f.kind == "field-untrusted"] == [field]


def test_serious_findings_come_first():
    ranks = [SEVERITIES.index(f.severity) for f in bodyfit.review(FAULTS["swapped feet"](walking()).poses)]
    assert ranks == sorted(ranks, reverse=True)


def test_too_few_frames_are_refused():
    poses = walking()
    few = PoseSequence(poses.time[:5], {n: R[:5] for n, R in poses.rotations.items()}, poses.model)
    with pytest.raises(InputError, match="found 5 frames, expected 12"):
        bodyfit.review(few)


def test_other_bodies_and_unknown_lengths_are_reviewed():
    bodyfit.review(swung(person("right_arm"), 4.0, rate=50.0))
    loose = read_model("left_leg")
    poses = swung(person("left_leg"), 4.0, rate=50.0)
    bodyfit.review(PoseSequence(poses.time, poses.rotations, loose))


def test_stretches_join_what_is_near_and_leave_out_what_is_short():
    time = np.arange(0, 5, 0.1)
    holds = np.zeros(50, bool)
    holds[[5, 6, 8, 9, 20, 40]] = True
    found = [(s.first, s.last) for s in stretches(time, holds, join=0.3, shortest=0.15)]
    assert found == [(5, 9)]


def test_a_minute_of_a_whole_body_is_reviewed_within_two_seconds_of_contact():
    import time as clock

    from bodyfit.study.review.checks.interpenetration import interpenetration
    from bodyfit.study.review.subject import Reviewed

    poses = walking(0, seconds=60.0)
    started = clock.process_time()
    list(interpenetration(Reviewed(poses)))
    assert clock.process_time() - started < 2.0
    assert pinocchio.__version__ >= "3"
