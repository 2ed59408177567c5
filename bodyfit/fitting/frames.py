"""Rotations of the segments at every output time, and the poses that they make."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.spatial.transform import Rotation

from ..alignment.compliance import elastic_turns
from ..body.motion.poses import PoseSequence
from ..core.arrays.scratch import give_back, let_go, room, rows_at_once
from ..core.arrays.stored_rotations import rotations_by_name
from ..core.rotations import as_rotation, exp, heading_matrix, heading_of
from ..recording.capture import Capture
from ..recording.preintegration import between_keyframes
from .track import Track

CHUNK = 300  # keyframe intervals worked on at once; chosen; not tried


def frames_of(track: Track) -> np.ndarray:
    """Rotations of a track's segments at the output times.

    Parameters
    ----------
    track : solved

    Returns
    -------
    (T, U, 3, 3) world_from_segment

    Notes
    -----
    Between keyframes by the gyroscope; the elastic part of the mounting follows the averaged force.
    """
    signals, found = track.problem.signals, track.found
    per_interval = signals.stride * signals.per_key
    whole = room((len(signals.units), signals.intervals * per_interval + 1, 3, 3))
    out = np.moveaxis(whole, 0, 1)  # a unit's own lie side by side: they are read alone
    unit_from_segment = np.swapaxes(found.body.mounting.segment_from_unit, -1, -2)
    for start in range(0, signals.intervals, CHUNK):
        end = min(start + CHUNK, signals.intervals)
        steps = signals.turns[start * per_interval : end * per_interval]
        R = between_keyframes(found.state.R[start : end + 1], _carried(steps, per_interval))
        share = np.arange(len(R)) / per_interval
        force = _between(found.average.force[start : end + 1], share)
        at = slice(start * per_interval, end * per_interval + 1)
        out[at] = R @ elastic_turns(found.body.elastic, R, force) @ unit_from_segment
        signals.let_go()
        found.average.let_go()
        let_go(whole, found.state.R)
    return out[: len(signals.time)]


def _carried(turns: np.ndarray, per_interval: int) -> np.ndarray:
    """(k, per_interval + 1, U, 3, 3) turns from each keyframe to every frame after it."""
    steps = exp(turns).reshape(-1, per_interval, turns.shape[1], 3, 3)
    carried = np.empty((len(steps), per_interval + 1, *steps.shape[2:]))
    carried[:, 0] = np.eye(3)
    for frame in range(per_interval):
        carried[:, frame + 1] = carried[:, frame] @ steps[:, frame]
    return carried


def _between(values: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Values at keyframes, linear in between; `at` in keyframe intervals."""
    low = np.minimum(at.astype(int), len(values) - 2)
    share = (at - low)[:, None, None]
    return (1 - share) * values[low] + share * values[low + 1]


def poses_of(capture: Capture, tracks: list[Track]) -> PoseSequence:
    """Pose sequence of the whole body, in the world that the contract asks for."""
    model, seen = capture.model, tracks[0].problem.signals.covered
    whole = room((len(model.segments), int(seen.sum()), 4))
    quat = dict(zip(model.segments, whole, strict=True))
    shown = {model.root}
    quat[model.root][:] = Rotation.identity().as_quat()
    for segment, turn, R in _together(tracks):
        count = 0
        for at in rows_at_once(len(R)):
            own = as_rotation(turn @ R[at]).as_quat()[seen[at]]
            quat[segment][count : (count := count + len(own))] = own
            let_go(quat[segment], R)
        shown.add(segment)
    for joint in model.joints.values():  # segments that no unit shows, each solved alone, follow their parent
        if joint.child not in shown:
            quat[joint.child][:] = quat[joint.parent]
    give_back()
    return PoseSequence(tracks[0].time[seen], rotations_by_name([*quat], whole), model)


def _together(tracks: list[Track]) -> Iterator[tuple[str, np.ndarray, np.ndarray]]:
    """Segments, a turn (3, 3) that makes headings agree, and what it turns, (T, 3, 3) world_from_segment.

    Where a field is trusted +X is magnetic north. Where none is, the first segment of a track (the root of a
    body) faces +X at the first frame, or, beside others that know north, where those face on average.
    """
    frames = [frames_of(track) for track in tracks]
    north = [bool(track.found.trust.trusted.any()) for track in tracks]
    towards = [np.exp(1j * heading_of(R[0, 0])) for R, known in zip(frames, north, strict=True) if known]
    facing = float(np.angle(np.sum(towards))) if towards else 0.0
    for track, R, known in zip(tracks, frames, north, strict=True):
        turn = np.eye(3) if known else heading_matrix(np.asarray(facing - heading_of(R[0, 0])))
        for u, segment in enumerate(track.segments):
            yield segment, turn, R[:, u]
