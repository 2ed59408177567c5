"""What an invented fit tells of itself, for the tests of what reads it."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np

from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.parts import Joint
from bodyfit.results.joints import AngleFigures, JointCentreFigures, JointFigures, JointHeadingFigures
from bodyfit.results.summary import (
    FOLLOWED,
    NOT_FOLLOWED,
    FitOptions,
    HeadingFigures,
    ModelFigures,
    SamplingFigures,
    SolverFigures,
    Summary,
)
from bodyfit.results.units import UnitFigures

NOTHING_KNOWN: Any = ((None,) * 3,) * 3
NO_TURN: Any = ((0.0,) * 3,) * 3

A_CENTRE = JointCentreFigures(
    lever_arm_parent_m=(0.0104, -0.2804, 0.004),
    lever_arm_child_m=(0.0, 0.123, 0.0),
    lever_arm_sd_m=(0.001, 0.002, 0.003, 0.004, 0.005, 0.006),
    lever_arm_source="motion",
    residual_m_s2=0.4123,
)
A_HEADING = JointHeadingFigures(relative_heading_sd_deg=1.26, determined=True, note=None)


def unit(segment: str, **changes: Any) -> UnitFigures:
    """A unit of which little was found."""
    plain = UnitFigures(
        segment=segment,
        sensors=("accelerometer", "gyroscope"),
        mounting_quat_xyzw=(0.0, 0.0, 0.0, 1.0),
        mounting_source="given",
        mounting_sd_deg=(None, None, None),
        mounting_covariance_rad2=NOTHING_KNOWN,
        mounting_open=(),
        elastic_deg_per_g=NO_TURN,
        gyroscope_bias_deg_per_s=None,
        accelerometer_scale=1.0,
        heading_drift_removed_deg=None,
        field_untrusted_s=None,
        gaps=(),
        magnetometer_trusted_share=None,
    )
    return dataclasses.replace(plain, **changes)


def joint(of: Joint, poses: PoseSequence, **changes: Any) -> JointFigures:
    """A joint of which only the angles are known."""
    angles = {
        angle: AngleFigures(
            float(np.degrees(values.min())),
            float(np.degrees(values.max())),
            tuple(np.degrees(of.range[angle]).tolist()) if angle in of.range else None,
        )
        for angle, values in poses.joint_angles[of.name].items()
    }
    plain: Any = (of.type, of.parent, of.child, angles, of.range_source or None, False)
    return dataclasses.replace(JointFigures(*plain), **changes)


def summary(poses: PoseSequence, **changes: Any) -> Summary:
    """What a fit of that motion tells that found nothing about units and joints."""
    model, time = poses.model, poses.time
    plain = Summary(
        bodyfit_version="0.1.0",
        capture="lamp_lighter",
        options=FitOptions(None, False, (), False, "given", True, None),
        sampling=SamplingFigures(
            start_s=float(time[0]),
            end_s=float(time[-1]),
            frequency_hz=float(1 / np.median(np.diff(time))),
            frames=len(time),
            stretches_s=((float(time[0]), float(time[-1])),),
            inferred_s={},
            keyframe_hz=20.0,
            start_time=None,
            trials=(),
        ),
        model=ModelFigures(model.name, len(model.segments), len(model.joints), ()),
        heading=HeadingFigures("the root segment faces +X at the first frame", "unknown"),
        root_position=NOT_FOLLOWED if poses.root_position is None else FOLLOWED,
        units={},
        joints={name: joint(of, poses) for name, of in model.joints.items()},
        segments={},
        residuals={},
        gyroscope_latency_s=0.0,
        clocks={},
        solver=SolverFigures(7, True, 544.0, 0.0123),
        wall_time_s=1.94,
        slips=(),
    )
    return dataclasses.replace(plain, **changes)
