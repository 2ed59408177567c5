"""How far each residual may be off: one set of defaults for every capture."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Weights:
    """Standard deviations of the residuals, and the times over which their errors are alike.

    Set once, on recordings of several kinds; docs/method.md says how each one was arrived at.

    Attributes
    ----------
    gyroscope : rad/s/√Hz, noise and what scale errors look like
    gyroscope_scale : share of a turn that a gyroscope misses
    turning : rad/√s, how far a segment turns in a second when no gyroscope watches
    bias_at_start, bias_walk : rad/s and rad/s/√s
    acceleration, acceleration_s : m/s² of a worn unit, and the time over which it is alike
    accelerometer : m/s²/√Hz, error of what is integrated into velocity
    accelerometer_constant : m/s², what stays of an accelerometer's bias and misalignment; says how sure a
        result is
    speed, speed_s : m/s of the wearer and the time over which it is alike
    joint, joint_least, joint_at_start : m/s², joint-centre disagreement: prior, lower bound, first iteration
    joint_s : s over which that disagreement is alike
    hinge_least, hinge_s : rad, lower bound of a hinge's play, and the time over which it is alike
    range_, angle_s : rad, how soft the limit of a joint range is; time over which joint angles are alike
    offset : rad, how far the neutral of a stiff angle differs between people
    field, field_s : rad, heading error of a field that passed the gate, and the time over which it is alike
    field_lasts : s, over which what gyroscopes and joints show to be wrong with a unit's field is alike
    field_norm, field_dip, field_turn : gate: share of the norm, rad, rad within two seconds
    fused_inclination, fused_heading, fused_s : rad and s, orientations fused on a unit
    posture, posture_s : rad and s, how far a joint without both units is from its usual posture, and for how
        long
    usual_spread : factor on the spread that a table of usual postures tells
    usual_floor, usual_person : rad, added to it: in the course of a motion, and of a person's own mean
    stiff_s : s over which an angle that hardly moves is alike, beside a segment without a unit
    sole, sole_s : rad and s, how far the sole of a standing foot is from level, and for how long
    bridge, bridge_s : m and s, how far joints give and units shift, across segments without a unit
    rotation_at_start : rad, rotation of a unit at the start against where the search put it
    lever, position : m, length of an unknown lever arm; where a unit sits when its place is given
    joint_centre, joint_centre_measured : m, joint centre of a segment scaled from stature; of a measured one
    mounting : rad, a mounting that is given
    pose_tilt, pose_heading : rad, how well people hold a pose with trunk and legs, as in neutral
    pose_loose : factor on both for arms, head, hands and feet, and for what the pose turns from neutral
    heading_error, heading_at_start : rad, of a unit against the others, in a pose: solved, and by itself
    hinge_declared : rad, axis of a mechanical hinge against the model's
    flexion_axis, movement_axis : rad, axis about which people bend against the frames of their bones:
        whatever they do, and in a movement made for it
    joint_centre_given : m, joint centre given in metres
    elastic_common, elastic_own : rad per m/s², how far a unit turns against its segment under load: what all
        units share, and what each has of its own
    """

    gyroscope: float = math.radians(0.4)
    gyroscope_scale: float = 0.005
    turning: float = 1.5
    bias_at_start: float = math.radians(0.5)
    bias_walk: float = math.radians(0.01)
    acceleration: float = 2.5
    acceleration_s: float = 0.2
    accelerometer: float = 0.1
    accelerometer_constant: float = 0.05
    speed: float = 1.0
    speed_s: float = 1.0
    joint: float = 0.4
    joint_least: float = 0.1
    joint_at_start: float = 1.5
    joint_s: float = 0.15
    hinge_least: float = math.radians(0.5)
    hinge_s: float = 2.0
    range_: float = math.radians(3.0)
    angle_s: float = 0.5
    offset: float = math.radians(15.0)
    field: float = math.radians(10.0)
    field_s: float = 2.0
    field_lasts: float = 60.0
    field_norm: float = 0.1
    field_dip: float = math.radians(10.0)
    field_turn: float = math.radians(15.0)
    fused_inclination: float = math.radians(1.0)
    fused_heading: float = math.radians(20.0)
    fused_s: float = 2.0
    posture: float = math.radians(40.0)
    posture_s: float = 0.5
    usual_spread: float = 2.0
    usual_floor: float = math.radians(6.0)
    usual_person: float = math.radians(8.0)
    stiff_s: float = 10.0
    sole: float = math.radians(8.0)
    sole_s: float = 1.0
    travel: float = 0.05
    bridge: float = 0.02
    bridge_s: float = 0.3
    rotation_at_start: float = math.radians(100.0)
    lever: float = 0.3
    position: float = 0.01
    joint_centre: float = 0.05
    joint_centre_measured: float = 0.02
    mounting: float = math.radians(1.5)
    pose_tilt: float = math.radians(3.0)
    pose_heading: float = math.radians(5.0)
    pose_loose: float = 2.0
    heading_error: float = math.radians(3.0)
    heading_at_start: float = math.radians(60.0)
    hinge_declared: float = math.radians(1.5)
    flexion_axis: float = math.radians(6.0)
    movement_axis: float = math.radians(4.0)
    joint_centre_given: float = 0.01
    elastic_common: float = math.radians(2.0) / 9.81
    elastic_own: float = math.radians(2.0) / 9.81
