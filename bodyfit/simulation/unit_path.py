"""Where worn units sit, and the path each takes through the world."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import BSpline, make_interp_spline
from scipy.spatial.transform import Rotation

from ..body.chain import BodyModel
from ..body.motion.smooth_curves import SPLINE_DEGREE, RotationCurve, SmoothMotion
from .room_field import MagneticField
from .soft_tissue import SoftTissue

# Hz, grid on which soft tissue moves; filtered human motion ends near 20 Hz; by reasoning
FINE_FREQUENCY = 240.0
# Usual places: out along X and Z in m, and along Y as a share of the segment's length; chosen; not tried:
# flat places with little muscle. Limbs reach down from their origin, trunk and skull up.
USUAL_PLACES = {
    "pelvis": (-0.10, 0.3, 0.0),
    "thorax": (0.10, 0.6, 0.0),
    "skull": (-0.09, 0.6, 0.0),
    "upperarm": (0.0, -0.6, 0.045),
    "forearm": (-0.01, -0.8, 0.03),
    "hand": (-0.02, -0.4, 0.0),
    "thigh": (0.03, -0.5, 0.08),
    "calf": (0.03, -0.4, 0.03),
    "hindfoot": (0.09, -0.5, 0.0),
}
# m, where the model has none; chosen; not tried
USUAL_LENGTHS = {"skull": 0.2, "hand": 0.17, "hindfoot": 0.07, "pelvis": 0.12}


def usual_place(model: BodyModel, segment: str) -> np.ndarray:
    """Where a unit is usually worn on a segment.

    Parameters
    ----------
    model : gives the segment's length
    segment : name; `l_` segments mirror `r_` segments

    Returns
    -------
    position : (3,) m in the segment frame; the middle of a segment that is no part of a person
    """
    length = _length(model, segment)
    side, _, part = segment.rpartition("_")
    if part not in USUAL_PLACES:
        return 0.5 * _reach(model, segment)
    forward, along, right = USUAL_PLACES[part]
    return np.array([forward, along * length, -right if side == "l" else right])


def _reach(model: BodyModel, segment: str) -> np.ndarray:
    """Mean of the joint centres that a segment carries outwards, (3,) m, or zero."""
    centres = [j.centre_in_parent for j in model.joints.values() if j.parent == segment]
    centres = [c for c in centres if c is not None]
    return np.mean(centres, axis=0) if centres else np.zeros(3)


def _length(model: BodyModel, segment: str) -> float:
    known = model.segments[segment].length
    part = segment.rpartition("_")[2]
    if part in USUAL_LENGTHS:
        return USUAL_LENGTHS[part]
    return known or float(np.linalg.norm(_reach(model, segment))) or 0.2


@dataclass(frozen=True, eq=False)
class WornUnit:
    """Where a unit is worn.

    Attributes
    ----------
    segment : name in the model
    position : (3,) m, unit origin in the segment frame; None: the usual place on that segment
    mounting : (4,) quaternion xyzw, segment_from_unit; None: axes along the segment's
    """

    segment: str
    position: np.ndarray | None = None
    mounting: np.ndarray | None = None


@dataclass(frozen=True, eq=False)
class UnitPath:
    """Path of one unit as curves.

    Attributes
    ----------
    rotation : world_from_unit, soft tissue included
    position : spline, m, world frame
    soft_turn, soft_shift : splines, rotation vector (rad) and m, unit against bone, segment frame
    """

    rotation: RotationCurve
    position: BSpline
    soft_turn: BSpline
    soft_shift: BSpline

    def signals(
        self, time: np.ndarray, dt: float, field: MagneticField, gravity: float
    ) -> dict[str, np.ndarray]:
        """True signals in the unit frame.

        Parameters
        ----------
        time : (N,) s
        dt : s, the gyroscope's averaging time
        field : magnetic field of the room
        gravity : m/s²

        Returns
        -------
        signals : accelerometer (N, 3) m/s², gyroscope (N, 3) rad/s, magnetometer (N, 3) T
        """
        unit_from_world = self.rotation(time).inv()
        acceleration = self.position.derivative(2)(time)
        return {
            "accelerometer": unit_from_world.apply(acceleration + np.array([0.0, gravity, 0.0])),
            "gyroscope": self.rotation.mean_rate(time, dt),
            "magnetometer": unit_from_world.apply(field.at(self.position(time))),
        }


def unit_path(
    segment: str,
    position: np.ndarray,
    mounting: Rotation,
    tissue: SoftTissue,
    motion: SmoothMotion,
    sagging: float = 0.0,
) -> UnitPath:
    """Path of a unit worn on a moving segment.

    Parameters
    ----------
    segment : name in the motion's model
    position : (3,) m, unit origin at rest, segment frame
    mounting : segment_from_unit at rest
    tissue : what lies between unit and bone
    motion : of the whole body
    sagging : m/s², gravity that pulls at the tissue

    Returns
    -------
    path : splines through `FINE_FREQUENCY` samples

    Notes
    -----
    R_world_from_unit = R_world_from_segment Exp(soft_turn) mounting;
    p = p_segment + R_world_from_segment (position + soft_shift). What turns and shifts the unit is a − g in
    the segment frame: tissue can't tell gravity from acceleration. Along the segment nothing gives, so an
    upright one does not sag.
    """
    count = max(20, int(np.ceil((motion.end - motion.start) * FINE_FREQUENCY)))
    time = np.linspace(motion.start, motion.end, count)
    poses = motion.poses(time)
    bone, origin = poses.rotations[segment], (poses.positions or {})[segment]
    rigid = make_interp_spline(time, origin + bone.apply(position), SPLINE_DEGREE)
    pushed = bone.inv().apply(rigid.derivative(2)(time) + np.array([0.0, sagging, 0.0]))
    turn, shift = tissue.response(pushed, time[1] - time[0])
    return UnitPath(
        RotationCurve.through(time, bone * Rotation.from_rotvec(turn) * mounting),
        make_interp_spline(time, origin + bone.apply(position + shift), SPLINE_DEGREE),
        make_interp_spline(time, turn, SPLINE_DEGREE),
        make_interp_spline(time, shift, SPLINE_DEGREE),
    )
