"""Joint ranges that hold exactly: where they do not, the nearest motion in which they do."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial.transform import Rotation

from ....core.intervals import runs
from ....core.progress import Progress
from ....errors import CannotReconstructError, InputError
from ...chain import BodyModel
from ...parts import Joint
from ..joint_angles import joint_angles
from ..poses import PoseSequence
from .free_chain import Bounds, chain_around, reach, world_rotations
from .nearest_motion import nearest_within, settling_frames
from .stretches import Stretch, merged, tied

# rad, an angle beyond its range by less is within it; by reasoning: 6e-5°, below the printed digits of
# joints.csv
HOLDS = 1e-6
# rad, by which an angle computed from a rotation may miss its bound; by reasoning: some ten million times
# that of a float
ROUNDING = 1e-9
# rad, a joint this near to a bound may take the segment at its other end along; chosen; not tried
NEAR = 1e-4
NARROWEST = 1e-3  # rad, of a range; by reasoning: 0.06°, as good as fixed


def within_ranges(poses: PoseSequence, progress: Progress | None = None) -> PoseSequence:
    """The motion nearest to this one in which every joint angle with a range stays within it.

    Parameters
    ----------
    poses : a motion
    progress : called as progress(done, total, what), in frames to correct

    Returns
    -------
    PoseSequence: ranges hold to 1e-6 rad at every frame. Only segments about the joints concerned change,
        and only about the times when a range is exceeded; all else is the same to the last bit, and without
        any excess it is `poses` itself. `root_position` stays

    Raises
    ------
    InputError
        A range of the model is empty, leaves out the neutral pose, or is none that its angle can be in.
    CannotReconstructError
        The solver failed.

    Notes
    -----
    What "nearest" means is written at `nearest_within`: the segments on both sides of a joint share the
    correction, the others keep their orientation in the world, until a range of theirs forbids it.
    """
    bounds = range_bounds(poses.model)
    todo = _stretches(poses, bounds)
    solved: dict[Stretch, dict[str, np.ndarray]] = {}
    while left := [stretch for stretch in todo if stretch not in solved]:
        stretch = left[0]
        rotations, pulled = _solved(poses, bounds, stretch, _teller(progress, todo, left))
        if pulled <= stretch.moving:
            solved[stretch] = rotations
        else:
            grown = replace(stretch, moving=tied(poses.model, stretch.moving | pulled))
            todo = merged(poses.model, [grown, *(s for s in todo if s is not stretch)])
    if not todo:
        return poses
    result = _with(poses, {stretch: solved[stretch] for stretch in todo})
    _check_holds(result, bounds)
    return result


def _teller(
    progress: Progress | None, todo: Sequence[Stretch], left: Sequence[Stretch]
) -> Callable[[int], None]:
    """What a solve tells of its frames, told on as frames of all stretches."""
    total, rest = (sum(s.end - s.start for s in group) for group in (todo, left))

    def tell(frames: int) -> None:
        if progress:
            progress(total - rest + frames, total, "holding joint ranges")

    tell(0)
    return tell


def range_bounds(model: BodyModel) -> dict[str, Bounds]:
    """Bounds of the joints that have a range narrower than what their angles can be.

    Parameters
    ----------
    model : the body

    Returns
    -------
    joint name -> Bounds

    Raises
    ------
    InputError
        A range is empty, leaves out the neutral pose, or is none that its angle can be in.
    """
    bounds = {name: _bounds(joint) for name, joint in model.joints.items()}
    return {name: b for name, b in bounds.items() if np.isfinite(b.low).any() or np.isfinite(b.high).any()}


def _bounds(joint: Joint) -> Bounds:
    """Bounds of one joint, infinite where its range says nothing."""
    low, high = np.full(3, -np.inf), np.full(3, np.inf)
    for index, angle in enumerate(joint.angles):
        if angle not in joint.range:
            continue
        least, most = reach(joint) if index == 1 else (-np.inf, np.inf)
        given = joint.range[angle]
        _check_range(joint, angle, given, (least, most))
        if index != 1 and given[1] - given[0] >= 2 * np.pi:
            continue
        low[index] = given[0] if given[0] > least + ROUNDING else -np.inf
        high[index] = given[1] if given[1] < most - ROUNDING else np.inf
    return Bounds(low, high)


def _check_range(joint: Joint, angle: str, given: tuple[float, float], can_be: tuple[float, float]) -> None:
    """Refuses a range that no motion can keep, or that the neutral pose is not in."""
    low, high = given
    where = f"joints.{joint.name}.range_deg.{angle}: found [{np.degrees(low):g}, {np.degrees(high):g}] deg"
    if not high - low >= NARROWEST:
        raise InputError(
            f"{where}, expected low below high by {np.degrees(NARROWEST):.2g} deg or more; correct the range"
        )
    if not low <= 0 <= high:
        raise InputError(f"{where}, expected it to hold 0, the neutral pose; correct the range")
    if min(high, can_be[1]) - max(low, can_be[0]) < NARROWEST:
        raise InputError(
            f"{where}, yet this angle is reported from {np.degrees(can_be[0]):g} to "
            f"{np.degrees(can_be[1]):g} deg, as the middle one of {joint.sequence}; correct the range or "
            "the signs"
        )


def range_excess(poses: PoseSequence, joint: Joint, bounds: Bounds) -> np.ndarray:
    """(T, 3) rad, how far the joint's angles are beyond their ranges."""
    return bounds.beyond(np.stack([*poses.joint_angles[joint.name].values()], -1))


def _stretches(poses: PoseSequence, bounds: Mapping[str, Bounds]) -> list[Stretch]:
    """Where ranges are exceeded, with time for a correction to come and go; those that meet are merged."""
    margin, count = settling_frames(poses.time), len(poses.time)
    found = []
    for name, limits in bounds.items():
        joint = poses.model.joints[name]
        beyond = np.any(range_excess(poses, joint, limits) > ROUNDING, axis=-1)
        ends = tied(poses.model, frozenset((joint.parent, joint.child)))
        found += [Stretch(max(a - margin, 0), min(b + margin, count), ends) for a, b in runs(beyond).tolist()]
    return merged(poses.model, found)


def _solved(
    poses: PoseSequence, bounds: Mapping[str, Bounds], stretch: Stretch, tell: Callable[[int], None]
) -> tuple[dict[str, np.ndarray], set[str]]:
    """New rotations (T, 3, 3) of the segments that move, and segments that should move with them."""
    chain = chain_around(poses.model, stretch.moving)
    held = stretch.start > 0, stretch.end < len(poses.time)
    frames = slice(stretch.start - held[0], stretch.end + held[1])
    top = chain.joints[0]
    names = chain.segments if top is None else (top.parent, *chain.segments)
    matrices = {name: poses.matrices[name][frames] for name in names}
    try:
        local = nearest_within(chain, bounds, matrices, poses.time[frames], held, tell)
    except CannotReconstructError as failure:
        raise CannotReconstructError(_failed(poses, bounds, stretch, failure)) from failure
    base = matrices[top.parent] if top else np.broadcast_to(np.eye(3), local[:, 0].shape)
    inside = slice(held[0], len(local) - held[1])
    world = world_rotations(chain, base, local)[inside]
    pulled = set[str]()
    for index, joint in enumerate(chain.joints):
        if joint and joint.name in bounds and _at_bound(joint, bounds[joint.name], local[inside, index]):
            pulled |= {joint.parent, joint.child}
    return {s: world[:, i] for i, s in enumerate(chain.segments) if s in stretch.moving}, pulled


def _at_bound(joint: Joint, bounds: Bounds, R: np.ndarray) -> bool:
    """Whether any angle comes near a bound at any time."""
    angles = np.stack([*joint_angles(joint, R).values()], -1)
    return bool((np.minimum(angles - bounds.low, bounds.high - angles) < NEAR).any())


def _with(poses: PoseSequence, solved: Mapping[Stretch, Mapping[str, np.ndarray]]) -> PoseSequence:
    """The motion with these rotations put in; the others keep every bit."""
    rotations = dict(poses.rotations)
    for stretch, named in solved.items():
        for name, R in named.items():
            old = rotations[name]
            parts = [old[: stretch.start], Rotation.from_matrix(R), old[stretch.end :]]
            rotations[name] = Rotation.concatenate([part for part in parts if len(part)])
    return replace(poses, rotations=rotations)


def _worst(poses: PoseSequence, bounds: Mapping[str, Bounds], frames: slice) -> tuple[float, str]:
    """The largest excess of a range, rad, and words for it."""
    worst, words = 0.0, "no range is exceeded"
    for name, limits in bounds.items():
        joint = poses.model.joints[name]
        excess = range_excess(poses, joint, limits)[frames]
        if excess.max() > worst:
            frame, angle = np.unravel_index(excess.argmax(), excess.shape)
            worst, at = float(excess.max()), poses.time[frames][frame]
            words = (
                f"{name} {joint.angles[angle]} is {np.degrees(worst):.4g} deg beyond its range at {at:.2f} s"
            )
    return worst, words


def _check_holds(poses: PoseSequence, bounds: Mapping[str, Bounds]) -> None:
    """Refuses a result that is not what was promised."""
    worst, words = _worst(poses, bounds, slice(None))
    if worst > HOLDS:
        raise CannotReconstructError(f"joint ranges: {words} after the bounded solve; {_ADVICE}")


def _failed(poses: PoseSequence, bounds: Mapping[str, Bounds], stretch: Stretch, failure: Exception) -> str:
    """What was solved, why it failed, how far the motion was beyond its ranges, what to do."""
    frames = slice(stretch.start, stretch.end)
    start, end = poses.time[stretch.start], poses.time[stretch.end - 1]
    return (
        f"joint ranges: the bounded solve of {', '.join(sorted(stretch.moving))} from {start:.2f} to "
        f"{end:.2f} s failed: {failure}. Before it, {_worst(poses, bounds, frames)[1]}; {_ADVICE}"
    )


_ADVICE = "check the mounting of the units there, widen range_deg in the model, or fit without strict ranges"
