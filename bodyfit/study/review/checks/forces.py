"""Torques that no joint gives and forces that no ground gives."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ....body.anatomy import LEG_JOINTS, part_of
from ....core.findings import Finding
from ....core.gravity import STANDARD_GRAVITY
from ....core.intervals import stretches
from ..limits import FRICTION, IMPACT, PULL, TORQUE, Limit
from ..subject import Reviewed
from ..worst_stretches import worst_of
from .inverse_dynamics import Dynamics, inverse_dynamics
from .rates import of_joint

HELD_S = 0.15  # s that a force must last; a low-passed landing rings for less; by reasoning
END_S = 0.2  # s at both ends that are left out; chosen; not tried
LOADED = 0.5  # body weights of vertical force above which friction is judged; chosen; not tried
FOLLOWED = (
    "; the path of the body is taken from its feet, so this also shows where both were off the ground or slid"
)


def forces(reviewed: Reviewed) -> Iterator[Finding]:
    """Stretches in which joint torques or the force from outside are beyond what people and ground give.

    Yields
    ------
    Finding of kind joint-torque, ground-pull, ground-friction or ground-impact
    """
    dynamics = inverse_dynamics(reviewed.poses)
    if dynamics is None:
        return
    yield from _torques(reviewed, dynamics)
    if dynamics.whole and reviewed.poses.root_position is not None:
        yield from _ground(reviewed, dynamics)


def _torques(reviewed: Reviewed, dynamics: Dynamics) -> Iterator[Finding]:
    inside = _inside(dynamics)
    for name, torque in dynamics.torque.items():
        limit = of_joint(TORQUE, name)
        if limit is None or (part_of(name) in LEG_JOINTS and not dynamics.whole):
            continue  # without the ground's force the torque of a leg is not known
        known = dynamics.standing if part_of(name) in LEG_JOINTS else np.ones(len(torque), bool)
        relative = np.where(known & inside, torque / dynamics.body_mass, 0.0)
        found = worst_of(stretches(dynamics.time, relative > limit.value), relative)
        for stretch, more in found:
            most = float(relative[stretch.frames].max())
            yield Finding(
                "joint-torque",
                "warning",
                f"the motion asks for {most:.1f} N·m/kg at {name} ({most * dynamics.body_mass:.0f} N·m), "
                f"over the {limit.value:.1f} N·m/kg that people reach{more}",
                "Look for a jerk in the pose there, a slipped unit or a wrong body mass",
                joints=(name,),
                segments=(reviewed.poses.model.joints[name].child,),
                start=stretch.start,
                end=stretch.end,
                value=most,
                threshold=limit.value,
                measure="N·m/kg",
                source=limit.source,
            )


def _inside(dynamics: Dynamics) -> np.ndarray:
    """(N,) bool, frames away from both ends, where the filter has no samples to look ahead to."""
    return (dynamics.time > dynamics.time[0] + END_S) & (dynamics.time < dynamics.time[-1] - END_S)


def _ground(reviewed: Reviewed, dynamics: Dynamics) -> Iterator[Finding]:
    weights = dynamics.force / (dynamics.body_mass * STANDARD_GRAVITY)
    up, along = weights[:, 1], np.linalg.norm(weights[:, (0, 2)], axis=1)
    yield from _told(
        reviewed,
        dynamics,
        ("ground-pull", -up, Limit(-PULL.value, PULL.source), "body weights"),
        "the ground would have to pull the body down by {:.1f} body weights",
    )
    ratio = np.where(up > LOADED, along / np.maximum(up, LOADED), 0.0)
    yield from _told(
        reviewed,
        dynamics,
        ("ground-friction", ratio, FRICTION, "times"),
        "the ground would have to push sideways by {:.1f} times what it carries",
    )
    size = np.linalg.norm(weights, axis=1)
    yield from _told(
        reviewed,
        dynamics,
        ("ground-impact", size, IMPACT, "body weights"),
        "the ground would have to push with {:.0f} body weights",
    )


def _told(
    reviewed: Reviewed, dynamics: Dynamics, check: tuple[str, np.ndarray, Limit, str], sentence: str
) -> Iterator[Finding]:
    kind, size, limit, measure = check
    size = np.where(_inside(dynamics), size, 0.0)
    held = 0.0 if kind == "ground-impact" else HELD_S
    found = worst_of(stretches(dynamics.time, size > limit.value, join=0.0, shortest=held), size)
    for stretch, more in found:
        most = float(size[stretch.frames].max())
        yield Finding(
            kind,
            "note" if reviewed.root_followed else "warning",
            sentence.format(most) + more,
            "The path of the body or a leg is off there, or the person held on to something"
            + (FOLLOWED if reviewed.root_followed else ""),
            segments=(reviewed.poses.model.root,),
            start=stretch.start,
            end=stretch.end,
            value=most,
            threshold=limit.value,
            measure=measure,
            source=limit.source,
        )
