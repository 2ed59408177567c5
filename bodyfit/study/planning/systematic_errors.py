"""Errors of worn units that no averaging takes away, as constants that residuals and joint angles depend on.

In this order for every unit: how its soft tissue turns under acceleration across the segment (6 numbers, rad
per g) and how far it gives way (1, m per g), see `soft_tissue`; what its accelerometer's axes are off by (9,
scale and misalignment).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...core.gravity import STANDARD_GRAVITY
from ...core.rotations import skew
from ...estimator.problem.unknowns import Body, State
from ...estimator.residuals.base import Linearised
from ...recording.keyframe_averages import HALF_WINDOW_S, Averages
from ...simulation.settings import SimulationSettings
from ...simulation.simulate import Simulated
from ...simulation.soft_tissue import damped_mass

TISSUE, AXES = 7, 9  # constants of a unit; by definition: six of turn and one of shift; a matrix
NONE = 1e-9  # in place of a standard deviation of zero; by reasoning
ACROSS = [0, 2]  # components across the segment's long axis; by definition: +Y is the long axis


@dataclass(frozen=True, eq=False)
class TissueEffect:
    """What a unit's tissue would do to it, per unit of each constant.

    Attributes
    ----------
    turn : (T, 3, 7) rad, bone against unit, world frame
    parted : joint name -> (T, 3, 7) m, by which the joint's centre as seen from the unit is off, world frame
    """

    turn: np.ndarray
    parted: Mapping[str, np.ndarray]


def tissue_effects(made: Simulated, names: Sequence[str]) -> dict[str, TissueEffect]:
    """Effect of the tissue under each unit, by segment.

    Parameters
    ----------
    made : simulated capture with its truth
    names : units to look at

    Returns
    -------
    segment -> TissueEffect, at the true times

    Notes
    -----
    With a the acceleration across the segment after the tissue's damped mass, the unit turns by φ = E a and
    shifts by −s a. The bone is turned back by φ, and a joint r₀ away from the unit seems off by
    R (r₀ × φ + s a).
    """
    return {str(made.units[n].segment): _effect(made, n) for n in names}


def _effect(made: Simulated, name: str) -> TissueEffect:
    unit, truth = made.units[name], made.truth
    segment, time = unit.segment, truth.time
    bone, R = truth.rotations[segment], truth.matrices[segment]
    assert truth.positions is not None
    place = truth.positions[segment] + bone.apply(unit.position)
    push = np.zeros((len(time), 3))
    felt = bone.inv().apply(second_derivative(place, time)) / STANDARD_GRAVITY
    push[:, ACROSS] = damped_mass(felt, time[1] - time[0])[:, ACROSS]
    basis = np.einsum("ij,tk->tijk", np.eye(3), push[:, ACROSS]).reshape(len(time), 3, 6)
    still, parted = np.zeros((len(time), 3, 1)), {}
    for joint in truth.model.joints.values():
        centre = {joint.parent: joint.centre_in_parent, joint.child: joint.centre_in_child}
        if segment in centre:
            at = centre[segment]
            arm = (np.zeros(3) if at is None else at) - unit.position
            parted[joint.name] = R @ np.concatenate([skew(arm) @ basis, push[..., None]], -1)
    return TissueEffect(np.concatenate([-R @ basis, still], -1), parted)


def second_derivative(values: np.ndarray, time: np.ndarray) -> np.ndarray:
    """Second derivative by central differences.

    Parameters
    ----------
    values : (T, ...) array
    time : (T,) s, evenly spaced

    Returns
    -------
    (T, ...) array, per s²
    """
    step = time[1] - time[0]
    return np.gradient(np.gradient(values, step, axis=0), step, axis=0)


def at_keyframes(values: np.ndarray, time: np.ndarray, at: np.ndarray, averaged: bool = False) -> np.ndarray:
    """Values at keyframes, averaged about them as `averages` does where wanted.

    Parameters
    ----------
    values : (T, ...) array
    time : (T,) s, evenly spaced
    at : (K + 1,) s; outside of `time` the nearest counts
    averaged : with a Hann window of 0.2 s to either side

    Returns
    -------
    (K + 1, ...) array
    """
    flat = values.reshape(len(values), -1)
    if averaged:
        half = max(1, round(HALF_WINDOW_S / (time[1] - time[0])))
        window = 0.5 + 0.5 * np.cos(np.pi * np.arange(-half + 1, half) / half)
        padded = np.pad(flat, ((half - 1, half - 1), (0, 0)), "edge")
        flat = np.stack([np.convolve(c, window / window.sum(), "valid") for c in padded.T], -1)
    out = np.stack([np.interp(at, time, column) for column in flat.T], -1)
    return out.reshape(len(at), *values.shape[1:])


def variances(settings: SimulationSettings) -> np.ndarray:
    """Variance of each constant of a unit, (16,) array."""
    turn = np.radians(settings.soft_tissue_deg_per_g) ** 2 / 3
    shift = (settings.soft_tissue_mm_per_g / 1000) ** 2
    axes = np.full((3, 3), settings.misalignment_sd**2)
    np.fill_diagonal(axes, settings.scale_error_sd**2)
    return np.maximum(np.concatenate([np.full(6, turn), [shift], axes.ravel()]), NONE**2)


def disturbed(
    parts: Sequence[Linearised],
    constants: int,
    accelerometers: int,
    effects: Mapping[int, Mapping[str, np.ndarray]],
    joints: Sequence[str],
    setting: tuple[Body, State, Averages, SimulationSettings],
) -> list[Linearised]:
    """The residuals with their derivatives by the constants of this module too.

    Parameters
    ----------
    parts : with the constants of `constants.with_constants`
    constants : how many those are; ours follow
    accelerometers : where the accelerometers' constant errors start among them
    effects : unit -> joint name -> (K + 1, 3, 7) m/s² by which the joint's force is off
    joints : names of the body's joints with lever arms
    setting : body, state, averages and settings

    Returns
    -------
    list of Linearised; joint-centre agreement counts less where soft tissue is expected to disturb it
    """
    body, state, average, settings = setting
    units = state.R.shape[1]
    force = np.einsum("kuji,kuj->kui", state.R, average.force)
    out = []
    for part in parts:
        if part.name == "joint-centre agreement":
            part = _softer(part, body, constants, effects, joints, variances(settings)[:TISSUE])
        if part.constants is not None:
            part = _with_axes(part, accelerometers, units, constants + TISSUE * units, force)
        out.append(part)
    return out


def _softer(
    part: Linearised,
    body: Body,
    first: int,
    effects: Mapping[int, Mapping[str, np.ndarray]],
    joints: Sequence[str],
    variance: np.ndarray,
) -> Linearised:
    """Joint-centre agreement with the tissue's constants, weighted by what they are expected to do."""
    assert part.constants is not None
    ends = body.ends.units
    J = [np.concatenate([effects[p][n], -effects[c][n]], -1) for (p, c), n in zip(ends, joints, strict=True)]
    own = np.stack(J, 1)
    at = np.array([[first + TISSUE * u + np.arange(TISSUE) for u in pair] for pair in ends])
    expected = np.mean(own**2 @ np.tile(variance, 2), -1)
    share = body.joint_sd**2 / (body.joint_sd**2 + expected)
    before, J_before = part.constants
    constants = np.concatenate([before, at.reshape(len(ends), -1)], 1), np.concatenate([J_before, own], -1)
    return replace(part, weight=part.weight * share[..., None], constants=constants)


def _with_axes(part: Linearised, start: int, units: int, first: int, force: np.ndarray) -> Linearised:
    """A residual that knows accelerometers' constant errors, with those of their axes: b becomes M f."""
    assert part.constants is not None
    at, J = part.constants
    felt = force if len(J) == len(force) else 0.5 * (force[1:] + force[:-1])
    new_at, new = [], []
    for e, row in enumerate(at):
        columns = np.flatnonzero((row >= start) & (row < start + 3 * units))[::3]
        if not len(columns):
            return part
        of = [(row[c] - start) // 3 for c in columns]
        own = [
            J[:, e, :, c : c + 3, None] * felt[:, u][:, None, None] for c, u in zip(columns, of, strict=True)
        ]
        new.append(np.concatenate([o.reshape(*o.shape[:2], AXES) for o in own], -1))
        new_at.append(np.concatenate([first + AXES * u + np.arange(AXES) for u in of]))
    constants = np.concatenate([at, np.array(new_at)], 1), np.concatenate([J, np.stack(new, 1)], -1)
    return replace(part, constants=constants)
