"""How sure joint angles are: what the smoother says of units, what lies between unit and bone, mounting."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.ndimage import uniform_filter1d

from ...alignment.compliance import elastic_turns
from ...alignment.joint_centre import heading_information, joint_forces
from ...alignment.mounting import segment_rotations
from ...body.motion.joint_angles import angle_rates
from ...body.parts import Joint
from ...core.arrays.scratch import let_go, room, rows_at_once
from ..problem.estimate import Estimate
from ..updates.joint_geometry import prior_of_levers
from .lever_arms import capture_softness

PUSHED_S = 1.0  # s over which the load on soft tissue is taken together
# share of a joint's disagreement that counts as one constant turn; tried: on simulated captures
# (docs/method.md, section 10)
SYSTEMATIC = 0.5


def unit_turn_variance(found: Estimate) -> np.ndarray:
    """Variance of each unit's turn against its bone beyond the mounting.

    Parameters
    ----------
    found : solved

    Returns
    -------
    (K + 1, U) rad², of each component
    """
    problem, body, average = found.problem, found.body, found.average
    up = np.array([0.0, problem.g, 0.0])
    squares = np.sum((average.force - up) ** 2, -1) * average.known
    window = max(1, round(PUSHED_S / problem.signals.key_step))
    if not len(body.levers):
        return np.zeros(squares.shape)
    load, felt = (
        uniform_filter1d(x, window, axis=0, mode="nearest") for x in (squares, average.known.astype(float))
    )
    return capture_softness(found) ** 2 / 3 * load / np.maximum(felt, 1 / window)


def systematic_heading_variance(found: Estimate) -> np.ndarray:
    """Variance of each child's heading against its parent's that no length of motion averages out.

    Parameters
    ----------
    found : solved

    Returns
    -------
    (J,) rad² per tie

    Notes
    -----
    Soft tissue answers the acceleration it is under, so that part of a joint's disagreement is r = E a with
    one matrix E all along, and the antisymmetric part of E looks like a turn. With entries of E alike,
    σ_E = rms(r) / rms |a|; half of it is taken for systematic.
    """
    problem, body = found.problem, found.body
    out = np.zeros(len(problem.ties))
    if not len(body.levers):
        return out
    parent, child = joint_forces(found.average, body.ends, body.levers)
    known = found.average.known[:, body.ends.units].all(-1)
    moved = 0.5 * (parent + child) - np.array([0.0, problem.g, 0.0])
    share = np.mean((parent - child) ** 2, -1), np.sum(moved**2, -1)
    squares = [np.sum(x * known, 0) / np.maximum(known.sum(0), 1) for x in share]
    noise = 0.75 * squares[0]  # of the mean of both sides, three components; it feels like motion and is none
    out[list(body.joints)] = SYSTEMATIC**2 * squares[0] / np.maximum(squares[1] - noise, 1e-6)
    return np.minimum(out, np.pi**2)


def heading_variance(found: Estimate) -> np.ndarray:
    """Variance of each child's heading against its parent's.

    Parameters
    ----------
    found : solved

    Returns
    -------
    (K + 1, J) rad² per tie

    Notes
    -----
    The smoother's V and the systematic s², as far as it is the joint that shows the heading: V + (V I)² s²,
    V I at most one, I what the motion of that joint tells (`geometry.heading_information`; noise that both
    sides feel is no motion). Where neither a hinge's axis nor a trusted field shows the heading too, V I
    counts as one and the variance is no less than 1 / I: what a model takes for likely is no measurement.
    """
    smooth = found.relative[..., 1, 1]
    if not len(found.body.levers):
        return smooth
    told, alone = _told_by_joints(found)
    share = np.where(alone, 1.0, np.minimum(1.0, smooth * told))
    least = np.where(alone, np.minimum(1 / np.maximum(told, 1e-12), np.pi**2), 0.0)
    return np.maximum(smooth + share**2 * systematic_heading_variance(found), least)


def _told_by_joints(found: Estimate) -> tuple[np.ndarray, np.ndarray]:
    """By tie: (J,) 1/rad², information that its joint has about the heading; whether nothing else has any."""
    problem, body, trust = found.problem, found.body, found.trust
    told, alone = np.zeros(len(problem.ties)), np.zeros(len(problem.ties), bool)
    prior = prior_of_levers(problem, body.ends, body.joints, body.mounting)
    alike, at = problem.alike(problem.weights.joint_s), list(body.joints)
    told[at] = heading_information(found.average, body.ends, body.levers, body.joint_sd, alike, prior)[1]
    north = trust.trusted.any(0) & (trust.usual_level < problem.weights.field)
    for i in at:
        tie = problem.ties[i]
        alone[i] = i not in body.axes and not (north[tie.parent] and north[tie.child])
    return told, alone


def heading_sd(found: Estimate) -> np.ndarray:
    """Standard deviation of each child's heading against its parent's.

    Parameters
    ----------
    found : solved

    Returns
    -------
    (J,) rad per tie, median over the time in which both units were measured
    """
    variance, problem = np.maximum(heading_variance(found), 0.0), found.problem
    seen = [problem.watched((tie.parent, tie.child)) for tie in problem.ties]
    middle = [np.median(of_tie[at]) for of_tie, at in zip(variance.T, seen, strict=True)]
    return np.minimum(np.sqrt(np.array(middle)), np.pi)


def relative_covariance(found: Estimate) -> np.ndarray:
    """Covariance of each child segment's rotation against its parent segment.

    Parameters
    ----------
    found : solved

    Returns
    -------
    (K + 1, J, 3, 3) rad² per tie, of a rotation vector in the parent's segment frame

    Notes
    -----
    What the smoother says of the two units, lever arms and the like included; what both may be turned by
    against their bones; the heading as in `heading_variance`; both mountings.
    """
    problem, body = found.problem, found.body
    p, c = np.array([[tie.parent, tie.child] for tie in problem.ties], int).reshape(-1, 2).T
    soft, heading, out = unit_turn_variance(found), heading_variance(found), room(found.relative.shape)
    for at in rows_at_once(len(out)):
        world = found.relative[at] + (soft[at][:, p] + soft[at][:, c])[..., None, None] * np.eye(3)
        world[..., 1, 1] += heading[at] - found.relative[at, :, 1, 1]
        R, force = found.state.R[at], found.average.force[at]
        R = segment_rotations(R @ elastic_turns(body.elastic, R, force), body.mounting)
        back = np.swapaxes(R[:, p], -1, -2)
        out[at] = back @ world @ R[:, p] + _of_mounting(back @ R[:, c], body.mounting.together, p, c)
        let_go(out, found.relative)
        found.state.let_go()
        found.average.let_go()
    return out


def separate_covariance(parent: Estimate, child: Estimate) -> np.ndarray:
    """Covariance between two segments whose units were each solved alone.

    Parameters
    ----------
    parent, child : estimates of one unit each

    Returns
    -------
    (K + 1, 3, 3) rad², parent's segment frame; without a trusted field headings are unknown
    """
    R, world = [], np.zeros(parent.rotation[:, 0].shape)
    for found in (parent, child):
        world = world + found.rotation[:, 0]
        R.append(segment_rotations(found.state.R, found.body.mounting)[:, 0])
        if not found.trust.trusted.any():
            world[:, 1, 1] += np.pi**2
    back = np.swapaxes(R[0], -1, -2)
    one, other = (found.body.mounting.covariance[0] for found in (parent, child))
    relative = back @ R[1]
    return back @ world @ R[0] + one + relative @ other @ np.swapaxes(relative, -1, -2)


def _of_mounting(relative: np.ndarray, covariance: np.ndarray, p: np.ndarray, c: np.ndarray) -> np.ndarray:
    """(K + 1, J, 3, 3) share of the mountings, parent's segment frame: child's turn minus parent's."""
    units = len(covariance) // 3
    blocks = np.swapaxes(covariance.reshape(units, 3, units, 3), 1, 2)
    cross = relative @ blocks[c, p]
    own = relative @ blocks[c, c] @ np.swapaxes(relative, -1, -2)
    return own + blocks[p, p] - cross - np.swapaxes(cross, -1, -2)


def joint_angle_sd(
    joint: Joint, angles: Mapping[str, np.ndarray], covariance: np.ndarray, at: np.ndarray
) -> dict[str, np.ndarray]:
    """Standard deviation of the angles of one joint at every frame.

    Parameters
    ----------
    joint : with its sequence and signs
    angles : name -> (T,) rad
    covariance : (K + 1, 3, 3) rad² at keyframes, see `relative_covariance`
    at : (T,) frames in keyframe intervals, 0 to K

    Returns
    -------
    name -> (T,) rad, at most π: next to gimbal lock the first and the third angle mean nothing

    Notes
    -----
    a = signs ∘ E⁻¹ φ for a small turn φ in the parent frame (`residuals.joint_angle.angle_rates`), so
    Σ_a = E⁻¹ Σ E⁻ᵀ; Σ linear between keyframes. Next to gimbal lock the first and the third turn are about
    one axis e. The second angle is what lies between them: a turn across e changes it by no more than itself,
    whichever way it goes, so its variance is at most tr Σ − eᵀ Σ e.
    """
    raw = np.stack([angles[name] for name in joint.angles], -1) * np.array(joint.signs, float)
    rates, clear = angle_rates(raw, joint.sequence)
    low = np.clip(at.astype(int), 0, len(covariance) - 2)
    share = (at - low)[:, None, None]
    sigma = (1 - share) * covariance[low] + share * covariance[low + 1]
    variance = np.einsum("tij,tij->ti", rates @ sigma, rates)
    first = "XYZ".index(joint.sequence[0])
    locked = np.full(variance.shape, np.pi**2)
    locked[:, 1] = np.trace(sigma, axis1=1, axis2=2) - sigma[:, first, first]
    sd = np.sqrt(np.maximum(np.where((clear > 0)[:, None], variance, locked), 0.0))
    return {name: np.minimum(sd[:, i], np.pi) for i, name in enumerate(joint.angles)}
