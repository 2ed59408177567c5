"""Inverse dynamics: joint torques and the net force from outside that the motion asks for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.spatial.transform import Rotation

from ....body.anatomy import FEET
from ....body.chain import BodyModel
from ....body.motion.poses import PoseSequence
from ....body.motion.root_trajectory import LOWEST, soles
from ....body.person import Person, share_of
from ....core.filters import low_passed
from ....core.gravity import STANDARD_GRAVITY
from ....core.rotations import continuous
from .ground import soles_of

CUTOFF_HZ = 6.0  # low-pass before the poses are differentiated twice (Winter 2009, section 3.4.4: 6 Hz)
RATE_HZ = 50.0  # frames a second that are worked on; by reasoning: more than twice what the low-pass leaves
SHORTEST_S = 1.0  # s, of a motion that can be filtered
# s over which the ground's force passes from one foot to the other; as SMOOTH_S of the root's path
SHARED_S = 0.1
# share of the body mass that a whole body's segments have; by reasoning: hands or feet may be missing
WHOLE = 0.95


@dataclass(frozen=True, eq=False)
class Dynamics:
    """What a motion asks of the body and of the ground.

    Attributes
    ----------
    time : (N,) s
    torque : joint -> (N,) N·m, length of the torque vector
    force : (N, 3) N, net force from outside but gravity, world frame
    body_mass : kg
    standing : (N,) bool, a foot bears the ground's force: it is low and slow, or the model has none
    whole : whether all of the body is in the model, feet included, so that the force is the ground's
    """

    time: np.ndarray
    torque: dict[str, np.ndarray]
    force: np.ndarray
    body_mass: float
    standing: np.ndarray
    whole: bool


def body_share(model: BodyModel) -> float:
    """Share of the body's mass that the model's segments have; 1 for a model without such shares."""
    shares = [share_of(s.mass_of_body, Person()) for s in model.segments.values()]
    return 1.0 if any(s is None for s in shares) else float(sum(shares))


def inverse_dynamics(poses: PoseSequence) -> Dynamics | None:
    """Torques and net force by the recursive Newton-Euler method, on smoothed configurations.

    Parameters
    ----------
    poses : evenly sampled

    Returns
    -------
    Dynamics, or None: a mass, an inertia, a joint centre or an axis is unknown, or the motion is too short

    Notes
    -----
    τ = M(q) q̈ + C(q, q̇) q̇ + g(q) − Σ Jᵀ f, Featherstone 2008, chapter 5. With f = 0 the first six rows are
    the wrench W that the ground gives. It is then put on the feet, shared by how low each one is, so that the
    torques of the standing leg carry it. With both feet on the ground the share is a guess; with none, W is
    near zero, and a root path taken from the standing foot does not know.
    """
    if not _known(poses):
        return None
    time, q = _smooth_configurations(poses)
    speeds, accelerations, model = _derivatives(poses.model, time, q)
    return _newton_euler(poses, model, time, q, speeds, accelerations)


def _known(poses: PoseSequence) -> bool:
    segments, joints = poses.model.segments.values(), poses.model.joints.values()
    masses = all(s.mass is not None and s.com is not None and s.inertia is not None for s in segments)
    centres = all(j.centre_in_parent is not None for j in joints)
    axes = all(j.type != "hinge" or j.axis is not None for j in joints)
    return masses and centres and axes and len(poses.time) > 30 and np.ptp(poses.time) > SHORTEST_S


def _smooth_configurations(poses: PoseSequence) -> tuple[np.ndarray, np.ndarray]:
    """Times and configurations at some 50 Hz, low-passed."""
    frequency = (len(poses.time) - 1) / np.ptp(poses.time)
    every = max(1, round(frequency / RATE_HZ))
    quats = {n: low_passed(continuous(R.as_quat()), frequency, CUTOFF_HZ) for n, R in poses.rotations.items()}
    root = (
        None
        if poses.root_position is None
        else low_passed(poses.root_position, frequency, CUTOFF_HZ)[::every]
    )
    rotations = {n: Rotation.from_quat(quat[::every]) for n, quat in quats.items()}
    smooth = PoseSequence(poses.time[::every], rotations, poses.model, root)
    return smooth.time, smooth.configurations()


def _derivatives(body: BodyModel, time: np.ndarray, q: np.ndarray) -> tuple[np.ndarray, np.ndarray, Any]:
    """(N, nv) rates and accelerations by central differences, and the pinocchio model."""
    import pinocchio as pin

    model = body.pinocchio()
    model.gravity.linear = np.array([0.0, -STANDARD_GRAVITY, 0.0])
    two = time[2:] - time[:-2]
    speeds = np.zeros((len(q), model.nv))
    for k in range(1, len(q) - 1):  # pinocchio takes one configuration at a time
        speeds[k] = pin.difference(model, q[k - 1], q[k + 1]) / two[k - 1]
    speeds[0], speeds[-1] = speeds[1], speeds[-2]
    return speeds, np.asarray(np.gradient(speeds, time, axis=0)), model


def _newton_euler(
    poses: PoseSequence, model: Any, time: np.ndarray, q: np.ndarray, v: np.ndarray, a: np.ndarray
) -> Dynamics:
    import pinocchio as pin

    data = model.createData()
    share, feet = _shares(poses, model, time)
    root = model.getJointId(poses.model.root)
    force, tau = np.empty((len(q), 3)), np.empty((len(q), model.nv))
    for k in range(len(q)):
        pin.forwardKinematics(model, data, q[k])
        wrench = pin.Force(pin.rnea(model, data, q[k], v[k], a[k])[:6])
        outside = data.oMi[root].act(wrench)
        force[k] = outside.linear
        on_feet = [pin.Force.Zero() for _ in range(model.njoints)]
        for foot, part in zip(feet, share[k], strict=True):
            on_feet[foot] = data.oMi[foot].actInv(outside * float(part))
        tau[k] = pin.rnea(model, data, q[k], v[k], a[k], pin.StdVec_Force(on_feet))
    torque = {}
    for name, joint in poses.model.joints.items():
        if joint.type != "fixed":
            at = model.joints[model.getJointId(name)]
            torque[name] = np.linalg.norm(tau[:, at.idx_v : at.idx_v + at.nv], axis=1)
    mass = sum(float(s.mass or 0.0) for s in poses.model.segments.values())
    of_body = body_share(poses.model)
    whole = bool(feet) and of_body > WHOLE
    return Dynamics(time, torque, force, mass / of_body, _standing(poses, time), whole)


def _standing(poses: PoseSequence, time: np.ndarray) -> np.ndarray:
    """(N,) bool: some point of the soles stands."""
    soles = soles_of(poses)
    at = np.minimum(np.searchsorted(poses.time, time), len(poses.time) - 1)
    return np.ones(len(time), bool) if soles is None else np.any(soles.stands, axis=1)[at]


def _shares(poses: PoseSequence, model: Any, time: np.ndarray) -> tuple[np.ndarray, list[int]]:
    """(N, feet) share of the ground's force on each foot, and the feet's joints; none without both feet."""
    ends = {joint.child: name for name, joint in poses.model.joints.items() if joint.type != "fixed"}
    segments = poses.model.segments
    if not all(foot in ends and segments[foot].length for foot in FEET):
        return np.zeros((len(time), 0)), []
    lowest = soles(poses)[..., 1].reshape(-1, 2, 2).min(-1)
    weight = np.exp(-(lowest - lowest.min(1, keepdims=True)) / LOWEST)
    step = float(np.median(np.diff(poses.time)))
    weight = uniform_filter1d(weight, max(1, round(SHARED_S / step)), axis=0, mode="nearest")
    at = np.minimum(np.searchsorted(poses.time, time), len(weight) - 1)
    return (weight / weight.sum(1, keepdims=True))[at], [model.getJointId(ends[foot]) for foot in FEET]
