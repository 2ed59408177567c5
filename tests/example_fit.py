"""Small invented fits for the tests of what is written and printed."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace
from typing import Any

import numpy as np
from example_summary import A_CENTRE, A_HEADING, joint, summary, unit
from scipy.spatial.transform import Rotation

from bodyfit.body.chain import BodyModel
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.parts import Joint, Segment
from bodyfit.body.person import Person
from bodyfit.core.findings import Finding
from bodyfit.files.model.model_file import read_model
from bodyfit.results.joints import AngleFigures, HingeFigures, JointHeadingFigures
from bodyfit.results.summary import SolverFigures, Summary

FINDINGS = (
    Finding("heading-undetermined", "warning", "the second joint never moved", "move it", joints=("second",)),
    Finding("gap-bridged", "note", "two gaps", "nothing", units=("a_unit",)),
)


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


def chain_summary(poses: PoseSequence) -> Summary:
    """What a fit of the chain might tell of itself."""
    first, second = (
        joint(of, poses, angles={"flexion": AngleFigures(*limits)})
        for of, limits in zip(poses.model.joints.values(), [(-12.34, 56.78), (0.0, 1.5)], strict=True)
    )
    a_unit = unit(
        "a",
        gyroscope_bias_deg_per_s=(0.12, -0.348, 1.0),
        magnetometer_trusted_share=0.834,
        gaps=((0.1, 0.2), (0.5, 0.6)),
    )
    return summary(
        poses,
        units={"a_unit": a_unit, "b_unit": unit("b", sensors=("orientation",))},
        joints={
            "first": dataclasses.replace(first, centre=A_CENTRE, heading=A_HEADING),
            "second": dataclasses.replace(
                second,
                hinge=HingeFigures((0.0, 0.0, 1.0), (0.0, 0.0, 1.0), 1.5, 2.0),
                heading=JointHeadingFigures(80.0, False, "it never moved"),
            ),
        },
        solver=SolverFigures(12, True, None, 0.0123),
    )


def fit_of(poses: PoseSequence, with_sd: bool = False) -> Any:
    """What the estimator hands over."""
    sd = {joint: {a: 0.01 + 0 * v for a, v in angles.items()} for joint, angles in poses.joint_angles.items()}
    return SimpleNamespace(
        time=poses.time,
        rotations=poses.rotations,
        joint_angles=poses.joint_angles,
        joint_angle_sd=sd if with_sd else None,
        poses=poses,
        summary=chain_summary(poses) if poses.model.name == "chain" else summary(poses),
        findings=FINDINGS,
        trials=(),
        segment_sd={},
    )
