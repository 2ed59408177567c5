"""Small invented fits for the tests of what is written and printed."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from bodyfit.body.chain import BodyModel
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.parts import Joint, Segment
from bodyfit.body.person import Person
from bodyfit.files.model.model_file import read_model

SUMMARY = {
    "bodyfit_version": "0.1.0",
    "capture": "lamp_lighter",
    "sampling": {"start_s": 0.0, "end_s": 1.0, "frequency_hz": 100.0, "frames": 101, "keyframe_hz": 20.0},
    "model": {"name": "chain", "segments": 3, "joints": 2},
    "heading": {"reference": "a faces +X at the first frame"},
    "units": {
        "a_unit": {
            "segment": "a",
            "sensors": ["accelerometer", "gyroscope"],
            "mounting_quat_xyzw": np.array([0.0, 0.0, 0.0, 1.0]),
            "mounting_source": "given",
            "gyroscope_bias_deg_per_s": [0.12, -0.348, 1.0],
            "magnetometer_trusted_share": 0.834,
            "gaps": [[0.1, 0.2], [0.5, 0.6]],
        },
        "b_unit": {"segment": "b", "sensors": ["orientation"]},
    },
    "joints": {
        "first": {
            "type": "ball",
            "lever_arm_parent_m": [0.0104, -0.2804, 0.004],
            "lever_arm_child_m": [0.0, 0.123, 0.0],
            "lever_arm_source": "found from the motion",
            "residual_m_s2": 0.4123,
            "relative_heading_sd_deg": 1.26,
            "determined": True,
            "angles": {"flexion": {"min_deg": -12.34, "max_deg": 56.78}},
        },
        "second": {
            "type": "hinge",
            "hinge_axis_parent": [0.0, 0.0, 1.0],
            "relative_heading_sd_deg": 80.0,
            "determined": False,
            "note": "it never moved",
            "angles": {"flexion": {"min_deg": 0.0, "max_deg": np.float32(1.5)}},
        },
    },
    "solver": {"iterations": 12, "converged": True, "last_step_deg": 0.0123, "cost": np.float64("nan")},
    "wall_time_s": 1.94,
    "findings": [],
    "warnings": ["the second joint never moved"],
}


def smooth_rotations(count: int, seed: int) -> Rotation:
    """A turning that passes through more than a full turn, (count,)."""
    rng = np.random.default_rng(seed)
    phase = np.linspace(0, 1, count)[:, None]
    return Rotation.from_rotvec(rng.normal(size=3) * 4 * np.sin(2 * phase + rng.normal(size=3)))


def poses_of(model: BodyModel, count: int = 101, rate: float = 100.0, start: float = 0.0) -> PoseSequence:
    """Every segment turning by itself, the root walking."""
    rotations = {name: smooth_rotations(count, seed) for seed, name in enumerate(model.segments)}
    time = start + np.arange(count) / rate
    path = np.stack([np.linspace(0, 2, count), np.full(count, 0.95), np.linspace(0, -1, count)], axis=1)
    return PoseSequence(time, rotations, model, path)


def person(name: str = "whole_body", stature: float | None = 1.75) -> BodyModel:
    """A human model, scaled."""
    return read_model(name).scaled(Person(stature_m=stature, mass_kg=70.0))


def chain(known: bool = True) -> BodyModel:
    """Three segments; the second joint lies off its child's origin."""
    centre = np.array([0.05, -0.3, 0.02]) if known else None
    off = np.array([-0.1, 0.03, 0.2]) if known else None
    joints = {
        "first": Joint("first", "a", "b", centre_in_parent=centre),
        "second": Joint("second", "b", "c", "hinge", centre_in_parent=centre, centre_in_child=off),
    }
    return BodyModel("chain", {name: Segment(name) for name in "abc"}, joints)


def fit_of(poses: PoseSequence, with_sd: bool = False) -> Any:
    """What the estimator hands over."""
    sd = {joint: {a: 0.01 + 0 * v for a, v in angles.items()} for joint, angles in poses.joint_angles.items()}
    return SimpleNamespace(
        time=poses.time,
        rotations=poses.rotations,
        joint_angles=poses.joint_angles,
        joint_angle_sd=sd if with_sd else None,
        poses=poses,
        summary=SUMMARY,
        findings=(),
        trials=(),
    )
