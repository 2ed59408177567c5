"""Each check of a review by itself: one motion of which it speaks, with joint, time, number and limit; one of
which it is silent.

Motions are closed forms, so what a check has to measure follows from the angle, rate or height put in.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest
from example_summary import A_CENTRE, A_HEADING, joint, summary, unit
from faults import feet_swapped, forearm_through_trunk
from scipy.spatial.transform import Rotation
from scripted_motion import person

from bodyfit.body.motion.poses import PoseSequence, from_joint_angles
from bodyfit.core.findings import Finding
from bodyfit.study.review.checks.asymmetry import asymmetry, swapped_sides
from bodyfit.study.review.checks.clipped_rates import clipped_rates
from bodyfit.study.review.checks.forces import forces
from bodyfit.study.review.checks.gimbal_lock import near_gimbal
from bodyfit.study.review.checks.ground import feet
from bodyfit.study.review.checks.interpenetration import interpenetration
from bodyfit.study.review.checks.jumps import root_jumps, rotation_jumps
from bodyfit.study.review.checks.ranges import joint_ranges, stiff_angles
from bodyfit.study.review.checks.rates import joint_accelerations, joint_rates
from bodyfit.study.review.checks.self_report import drift, headings, joint_centres, soft_tissue
from bodyfit.study.review.checks.slips import slips
from bodyfit.study.review.limits import (
    ASYMMETRY,
    FASTEST_DEG_S,
    FRICTION,
    GAP,
    GIMBAL,
    HEADING,
    IMPACT,
    JUMP_DEG,
    PULL,
    SLIDE,
    SLIP_DEG,
    SOFT_TISSUE,
    SWAP,
    TO_TOP_RATE_S,
    TORQUE,
    UNDER,
    ZERO_RATE,
)
from bodyfit.study.review.review import review
from bodyfit.study.review.subject import Reviewed
from bodyfit.study.review.worst_stretches import MOST, worst_of

Check = Callable[[Reviewed], Iterator[Finding]]
G = 9.80665  # m/s², CGPM 1901
START, END = 1.5, 2.5  # s, when a fault is there


def moved(
    model: str, seconds: float = 4.0, rate: float = 50.0, root: Any = None, **angles: dict[str, Any]
) -> PoseSequence:
    """A body in its neutral pose but for angles in degrees, functions of time or numbers; its root level."""
    time = np.arange(0, seconds, 1 / rate)

    def course(value: Any) -> np.ndarray:
        return np.radians((value(time) if callable(value) else value) + 0 * time)

    turned = {name: {angle: course(value) for angle, value in of.items()} for name, of in angles.items()}
    place = np.zeros((len(time), 3)) if root is None else root(time)
    return from_joint_angles(person(model), time, turned, None, place)


def there(time: np.ndarray) -> np.ndarray:
    """1 from START to END, else 0."""
    return ((time >= START) & (time <= END)).astype(float)


def told(check: Check, poses: PoseSequence, kind: str, **more: Any) -> list[Finding]:
    return [finding for finding in check(Reviewed(poses, **more)) if finding.kind == kind]


def spoken(check: Check, poses: PoseSequence, kind: str, **more: Any) -> Finding:
    """The one finding of that kind."""
    (finding,) = told(check, poses, kind, **more)
    assert finding.source and finding.advice and finding.measure
    return finding


def at_fault(finding: Finding, slack: float = 0.1) -> bool:
    """Whether it is told of START to END and of no other time."""
    assert finding.start is not None and finding.end is not None
    return abs(finding.start - START) < slack and abs(finding.end - END) < slack


def tissue_summary(poses: PoseSequence, **unit_figures: Any):
    return dataclasses.replace(summary(poses), units={"u": unit("r_forearm", **unit_figures)})


# --- angles ---


def test_joint_ranges():
    bent = moved("left_leg", l_knee={"flexion": lambda t: 10 - 30 * there(t)})
    finding = spoken(joint_ranges, bent, "joint-range")
    assert finding.joints == ("l_knee",) and at_fault(finding)
    assert finding.value == pytest.approx(-20) and finding.threshold == pytest.approx(-1.6)
    assert finding.severity == "warning"  # 18.4° beyond: between a spread of people and two
    within = moved("left_leg", l_knee={"flexion": lambda t: 60 * there(t)})
    assert told(joint_ranges, within, "joint-range") == []


def test_a_range_exceeded_within_its_band_is_a_note():
    bent = moved("left_leg", l_knee={"flexion": -20})
    unsure = {"l_knee": {"flexion": np.full(len(bent.time), np.radians(10))}}
    assert spoken(joint_ranges, bent, "joint-range", joint_angle_sd=unsure).severity == "note"


def test_stiff_angles():
    held = moved("left_leg", l_knee={"adduction": lambda t: 25 * (there(t) + (t > END))})
    finding = spoken(stiff_angles, held, "stiff-angle")
    assert finding.joints == ("l_knee",) and finding.start == pytest.approx(START, abs=0.1)
    assert finding.value == pytest.approx(25) and finding.threshold == pytest.approx(12)  # three times 4°
    brief = moved("left_leg", l_knee={"adduction": lambda t: 25 * (np.abs(t - 2) < 0.2)})
    assert told(stiff_angles, brief, "stiff-angle") == []


def test_near_gimbal():
    raised = moved("right_arm", r_shoulder={"elevation": lambda t: -40 + 34 * there(t)})
    finding = spoken(near_gimbal, raised, "gimbal")
    assert finding.joints == ("r_shoulder",) and at_fault(finding)
    assert finding.value == pytest.approx(6, abs=0.01) and finding.threshold == GIMBAL.value
    assert told(near_gimbal, moved("right_arm", r_shoulder={"elevation": -40}), "gimbal") == []


def test_asymmetry():
    """Spans of two sines by their amplitudes; the index by its definition (Herzog et al. 1989)."""

    def striding(left: float, right: float) -> PoseSequence:
        def sine(size):
            return {"flexion": lambda t: size * np.sin(2 * np.pi * t)}

        return moved("lower_body", l_hip=sine(left), r_hip=sine(right))

    finding = spoken(asymmetry, striding(30, 20), "asymmetry")
    assert finding.joints == ("l_hip", "r_hip") and finding.severity == "note"
    assert finding.value == pytest.approx(100 * 10 / 25, rel=0.01) and finding.threshold == ASYMMETRY.value
    assert told(asymmetry, striding(30, 28), "asymmetry") == []


def walking_legs() -> PoseSequence:
    """Legs that swing one after the other, each foot with its own calf."""

    def leg(side: str, late: float) -> dict[str, dict]:
        return {
            f"{side}_hip": {"flexion": lambda t: 10 + 20 * np.sin(6 * t - late)},
            f"{side}_knee": {"flexion": lambda t: 25 + 20 * np.sin(6 * t - late + 1)},
            f"{side}_talocrural": {"dorsiflexion": lambda t: 5 * np.sin(6 * t - late)},
        }

    return moved("lower_body", **leg("l", 0.0), **leg("r", 2.0))


def test_swapped_sides():
    legs = walking_legs()
    finding = spoken(swapped_sides, feet_swapped(legs).poses, "sides-swapped")
    assert finding.joints == ("l_talocrural", "r_talocrural") and finding.severity == "serious"
    assert (finding.start, finding.end) == (legs.time[0], legs.time[-1])
    assert finding.value is not None and finding.value > 3 > SWAP.value == finding.threshold
    assert told(swapped_sides, legs, "sides-swapped") == []


# --- jumps, slips, rates ---


def turned_after(poses: PoseSequence, segment: str, degrees: float, within: float) -> PoseSequence:
    """A segment turned about its long axis from START on, in so many seconds."""
    share = np.clip((poses.time - START) / within, 0, 1)
    turn = Rotation.from_rotvec(np.outer(share, [0, np.radians(degrees), 0]))
    return dataclasses.replace(poses, rotations={**poses.rotations, segment: poses.rotations[segment] * turn})


def test_slips():
    legs = walking_legs()
    finding = spoken(slips, turned_after(legs, "l_thigh", 30, 0.1), "unit-slip")
    assert finding.segments == ("l_thigh",) and set(finding.joints) == {"l_hip", "l_knee"}
    assert finding.start == pytest.approx(START + 0.05, abs=0.1) and finding.end == legs.time[-1]
    assert finding.value == pytest.approx(30, abs=3) and finding.threshold == SLIP_DEG
    assert told(slips, legs, "unit-slip") == []


def test_a_slip_that_the_fit_took_off_is_not_told_again():
    slipped = turned_after(walking_legs(), "l_thigh", 30, 0.1)

    class Mended(Reviewed):
        def mended_slips(self, segment: str) -> list[float]:
            return [START + 0.3] if segment == "l_thigh" else []

    assert list(slips(Mended(slipped))) == []


def test_rotation_jumps():
    legs = walking_legs()
    finding = spoken(rotation_jumps, turned_after(legs, "r_calf", 34, 1e-3), "rotation-jump")
    assert finding.segments == ("r_calf",) and set(finding.joints) == {"r_knee", "r_talocrural"}
    assert finding.start == pytest.approx(START, abs=0.03)
    assert finding.value == pytest.approx(34, abs=6) and finding.threshold == JUMP_DEG
    assert told(rotation_jumps, legs, "rotation-jump") == []


def test_root_jumps():
    def leaping(metres: float):
        return lambda t: np.outer(t > START, [metres, 0, 0]) + np.outer(1.4 * t, [1, 0, 0])

    finding = spoken(root_jumps, moved("left_leg", root=leaping(2.0)), "root-jump")
    assert finding.segments == ("pelvis",) and finding.start == pytest.approx(START, abs=0.03)
    assert finding.value == pytest.approx(2.0 * 50 + 1.4)  # m/s over one frame
    assert told(root_jumps, moved("left_leg", root=leaping(0.05)), "root-jump") == []


def flexing(frequency: float) -> PoseSequence:
    """A knee that bends by 70 ± 60° so often a second from START to END."""

    def angle(t):
        return 70 + 60 * np.sin(2 * np.pi * frequency * (t - START)) * there(t)

    return moved("left_leg", rate=400.0, l_knee={"flexion": angle})


def test_joint_rates():
    finding = spoken(joint_rates, flexing(10), "joint-rate")
    assert finding.joints == ("l_knee",) and START <= finding.start < finding.end <= END  # type: ignore
    assert finding.value == pytest.approx(60 * 2 * np.pi * 10, rel=0.01)  # A ω
    assert finding.threshold == FASTEST_DEG_S["knee"].value
    assert told(joint_rates, flexing(7.8), "joint-rate") == []  # 2940 of 3000 deg/s


def test_joint_accelerations():
    found = told(joint_accelerations, flexing(10), "joint-acceleration")
    assert {f.joints for f in found} == {("l_knee",)}
    most = max(f.value for f in found if f.value is not None)
    assert 0.7 * 60 * (2 * np.pi * 10) ** 2 < most < 1.05 * 60 * (2 * np.pi * 10) ** 2  # A ω², low-passed
    assert found[0].threshold == FASTEST_DEG_S["knee"].value / TO_TOP_RATE_S
    assert told(joint_accelerations, flexing(4), "joint-acceleration") == []


def clipped_elbow(share: float) -> PoseSequence:
    """A forearm whose rate is a sine of 300 deg/s, cut off at a share of that."""

    def angle(t):
        rate = np.clip(300 * np.sin(2 * np.pi * t), -300 * share, 300 * share)
        return 75 - 20 + np.cumsum(rate) * (t[1] - t[0])

    return moved("right_arm", rate=100.0, r_elbow={"flexion": angle})


def test_clipped_rates():
    found = told(clipped_rates, clipped_elbow(0.6), "rate-plateau")
    assert {f.segments for f in found} <= {("r_forearm",), ("r_hand",)} and found
    top = found[0]
    assert top.value == pytest.approx(100, abs=10) and top.threshold == pytest.approx(70)
    assert "180 deg/s" in top.what  # 60 % of 300
    assert told(clipped_rates, clipped_elbow(1.0), "rate-plateau") == []


# --- what a fit tells of itself ---


def swinging_elbow() -> PoseSequence:
    return moved("right_arm", 20.0, r_elbow={"flexion": lambda t: 60 + 35 * np.sin(2 * np.pi * t)})


def of_elbow(poses: PoseSequence, **figures: Any):
    of = joint(poses.model.joints["r_elbow"], poses, **figures)
    return dataclasses.replace(summary(poses), joints={"r_elbow": of})


@pytest.mark.parametrize(("residual", "speaks"), [(4.0, True), (1.0, False)])
def test_joint_centres(residual, speaks):
    """D = a / (2πf)² at 1 Hz: 101 mm of 4 m/s², 25 mm of 1."""
    poses = swinging_elbow()
    given = of_elbow(poses, centre=dataclasses.replace(A_CENTRE, residual_m_s2=residual))
    found = told(joint_centres, poses, "joint-centre", summary=given)
    assert bool(found) is speaks
    if speaks:
        assert found[0].joints == ("r_elbow",) and found[0].threshold == GAP.value
        assert found[0].value == pytest.approx(4000 / (2 * np.pi) ** 2, rel=0.03)


@pytest.mark.parametrize(("sd", "speaks"), [(55.0, True), (12.0, False)])
def test_headings(sd, speaks):
    poses = swinging_elbow()
    given = of_elbow(poses, heading=dataclasses.replace(A_HEADING, relative_heading_sd_deg=sd))
    found = told(headings, poses, "heading-undetermined", summary=given)
    assert [(f.joints, f.value, f.threshold, f.harm_deg) for f in found] == (
        [(("r_elbow",), 55.0, HEADING.value, 55.0)] if speaks else []
    )


@pytest.mark.parametrize(("rate", "severity"), [(4.0, "warning"), (0.5, "note")])
def test_drift(rate, severity):
    poses = swinging_elbow()
    given = tissue_summary(poses, gyroscope_bias_deg_per_s=(0.0, rate, 0.0), heading_drift_removed_deg=-32.0)
    finding = spoken(drift, poses, "heading-drift", summary=given)
    assert (finding.units, finding.severity) == (("u",), severity)
    assert (finding.value, finding.threshold) == (rate, ZERO_RATE.value) and "-32°" in finding.what
    little = tissue_summary(poses, gyroscope_bias_deg_per_s=(0.0, rate, 0.0), heading_drift_removed_deg=4.0)
    assert told(drift, poses, "heading-drift", summary=little) == []


@pytest.mark.parametrize(("size", "speaks"), [(14.0, True), (6.0, False)])
def test_soft_tissue(size, speaks):
    poses = swinging_elbow()
    turn = ((0.0, 0.0, size), (0.0, 0.0, 0.0), (0.0, 0.0, 0.0))
    found = told(soft_tissue, poses, "soft-tissue", summary=tissue_summary(poses, elastic_deg_per_g=turn))
    assert [(f.units, f.segments, f.value, f.threshold) for f in found] == (
        [(("u",), ("r_forearm",), pytest.approx(14.0), SOFT_TISSUE.value)] if speaks else []
    )


# --- contact and forces ---


def test_interpenetration():
    arm = moved("right_arm", r_shoulder={"elevation": -40}, r_elbow={"flexion": 20})
    fault = forearm_through_trunk(arm)
    found = told(interpenetration, fault.poses, "interpenetration")
    worst = max(found, key=lambda f: f.value or 0)
    assert set(worst.segments) == {"thorax", "r_forearm"} or set(worst.segments) == {"thorax", "r_hand"}
    assert worst.start is not None and abs(worst.start - fault.start) < 0.3
    assert worst.value is not None and worst.threshold is not None and worst.value > worst.threshold > 30
    assert told(interpenetration, arm, "interpenetration") == []


def test_a_foot_under_the_ground():
    """A body that glides on, too fast for a foot to stand, by so much below where it stood."""

    def gliding(depth: float):
        return lambda t: np.outer(np.clip(t, START, END), [1, 0, 0]) - np.outer(there(t), [0, depth, 0])

    found = told(feet, moved("lower_body", root=gliding(0.3)), "foot-under-ground")
    assert {f.segments for f in found} == {("l_hindfoot",), ("r_hindfoot",)}
    assert all(at_fault(f) and f.threshold == UNDER.value for f in found)
    assert [f.value for f in found] == pytest.approx([300, 300], abs=1)
    assert told(feet, moved("lower_body", root=gliding(0.03)), "foot-under-ground") == []


def test_a_foot_that_slides():
    """A body that stands and is carried evenly along the ground, so slowly that its feet stand."""

    def carried(speed: float):
        return lambda t: np.outer(speed * t, [1, 0, 0])

    found = told(feet, moved("lower_body", root=carried(0.05)), "foot-sliding")
    assert {f.segments for f in found} == {("l_hindfoot",), ("r_hindfoot",)}
    for finding in found:
        assert finding.start is not None and finding.end is not None and finding.threshold == SLIDE.value
        assert finding.end - finding.start == pytest.approx(4, abs=0.2)  # but for both edges of the stance
        assert finding.value == pytest.approx(0.05 * (finding.end - finding.start), rel=0.02)
    assert told(feet, moved("lower_body", root=carried(0.02)), "foot-sliding") == []


def test_a_body_that_floats_up_evenly():
    """Steps on the spot: no stance of under a second rises by 50 mm, all of them together do."""

    def rising(speed: float) -> PoseSequence:
        tap = {"dorsiflexion": lambda t: 60 * np.sin(0.7 * np.pi * t) ** 16}
        return moved(
            "lower_body",
            12.0,
            root=lambda t: np.outer(speed * t, [0, 1, 0]),
            l_talocrural=tap,
            r_talocrural=tap,
        )

    (found,) = told(feet, rising(0.018), "foot-floating")
    assert found.segments == ("l_hindfoot", "r_hindfoot") and found.start == 0.0
    assert found.value == pytest.approx(18 * 12, rel=0.1)
    assert "rise by 18 mm a second" in found.what
    assert told(feet, rising(0.004), "foot-floating") == []


def bouncing(size: float, frequency: float, axis: int = 1) -> PoseSequence:
    """A whole body that moves as one, x = A sin ωt along an axis."""
    way = np.eye(3)[axis]
    return moved("whole_body", root=lambda t: np.outer(size * np.sin(2 * np.pi * frequency * t), way))


@pytest.mark.parametrize(
    ("kind", "loud", "quiet", "number", "limit"),
    [
        # F / m = A ω² + g: pulled where A ω² is over g; the filter takes some off
        ("ground-pull", (0.9, 1.1), (0.1, 1.1), 0.9 * (2 * np.pi * 1.1) ** 2 / G - 1, -PULL.value),
        ("ground-impact", (2.0, 2.0), (0.5, 1.0), 2.0 * (2 * np.pi * 2.0) ** 2 / G + 1, IMPACT.value),
        ("ground-friction", (0.9, 1.1, 0), (0.1, 1.1, 0), 0.9 * (2 * np.pi * 1.1) ** 2 / G, FRICTION.value),
    ],
)
def test_forces_from_outside(kind, loud, quiet, number, limit):
    found = told(forces, bouncing(*loud), kind)
    assert found and found[0].segments == ("pelvis",) and found[0].threshold == pytest.approx(limit)
    assert max(f.value for f in found if f.value is not None) == pytest.approx(number, rel=0.1)
    assert all(0 <= f.start < f.end <= 4 for f in found if f.start is not None and f.end is not None)
    assert told(forces, bouncing(*quiet), kind) == []


def test_joint_torques():
    """An arm shaken at the shoulder: with some 0.35 kg m² of it (from memory) I A ω² / m = 5.9 N·m/kg, less
    what the low-pass takes.
    """

    def shaken(frequency: float):
        def angle(t):
            return -90 + 85 * np.sin(2 * np.pi * frequency * (t - START)) * there(t)

        return moved("right_arm", rate=200.0, r_shoulder={"elevation": angle})

    found = [f for f in told(forces, shaken(4.5), "joint-torque") if f.joints == ("r_shoulder",)]
    assert found and found[0].threshold == TORQUE["shoulder"].value and found[0].measure == "N·m/kg"
    assert all(f.value is not None and 4 < f.value < 6 for f in found)
    assert all(START - 0.2 < f.start < f.end < END + 0.2 for f in found)  # type: ignore[operator]
    assert told(forces, shaken(1.0), "joint-torque") == []


# --- the review as a whole ---


def test_worst_stretches_are_told_one_by_one_and_the_others_counted():
    from bodyfit.core.intervals import stretches

    time = np.arange(0, 10, 0.1)
    size = np.where((time % 2) < 1, 1 + time, 0.0)
    kept = worst_of(stretches(time, size > 0, join=0.0, shortest=0.0), size)
    assert [stretch.start for stretch, _ in kept] == pytest.approx([8, 6, 4])
    assert [more for _, more in kept] == ["; 2 more such stretches, smaller ones", "", ""] and len(
        kept
    ) == MOST


def test_a_motion_at_rest_gives_no_finding():
    assert review(moved("left_leg")) == ()
