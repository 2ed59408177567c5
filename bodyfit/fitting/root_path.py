"""Where the fitted body goes: by the paths of its worn feet, else by the foot that stands."""

from __future__ import annotations

import dataclasses

import numpy as np
from scipy.ndimage import gaussian_filter1d, uniform_filter1d
from scipy.spatial.transform import Rotation, Slerp

from ..body.anatomy import FEET
from ..body.motion.poses import PoseSequence
from ..body.motion.root_trajectory import LOWEST, SMOOTH_S, SOLE, soles, velocities, with_root_path
from ..core.arrays.scratch import let_go, room, rows_at_once
from ..core.cubic_spline import CubicSpline
from ..feet.problem import LimbStart
from ..feet.root_path import Limb, RootPath, root_path
from ..feet.samples import FootSamples, foot_samples
from ..feet.smoother import FootPath, foot_path, lengths
from ..feet.weights import PathWeights
from ..recording.capture import Capture, Unit
from ..results.summary import RootPathFigures
from .figures.plain import exact
from .track import Track

LEVER_SD = 0.03  # m, of ball and heel about where the fitted body has them: a shoe's sole; chosen; not tried
LONGEST_PAUSE_S = 0.5  # s without any frame, over which no foot can be followed (by reasoning: half a stride)
STEP_S = (
    0.5  # s, over which the foot that stands is believed more than the feet's paths (by reasoning: a step)
)
BELT_S = 2.0  # s, standard deviation of the average that is the belt's: two strides (by reasoning)
SLOWEST_BELT = 0.2  # m/s, below which nobody walks on it (by reasoning)
LEG_SD = 0.015  # m, by which the body's foot is off its own path at a stride's ends; chosen; not tried
KEY_S = 0.02  # s from keyframe to keyframe of the root's path (as PER_KEY of the feet's)
STEP_M = 0.3  # m from stance to stance of a foot that walks (by reasoning: half a stride of a slow walker)
FLIES = (
    0.02  # weight of the feet's paths where no foot stands: next to none against one that does (by reasoning)
)
SHORTEST_S = 3.0  # s of a capture that a foot's path is worth (by reasoning: two strides)
NEEDED = frozenset({"accelerometer", "gyroscope"})


def with_path(
    capture: Capture, tracks: list[Track], poses: PoseSequence
) -> tuple[PoseSequence, RootPath | None]:
    """The motion with the root moved to where it went, and how sure that is.

    Parameters
    ----------
    capture : as fitted
    tracks : solved
    poses : its motion, the root at rest

    Returns
    -------
    poses : with a root path where both feet are in the body and every joint centre is known
    path : None where no foot carries a unit, so that only the foot that stands was followed
    """
    units = _foot_units(capture, tracks, poses)
    if not units:
        return with_root_path(poses), None
    paths, stride_sds = dict[str, FootPath](), list[np.ndarray]()
    for foot, unit in units.items():
        paths[foot], of_strides = _path(capture, tracks[0], poses, foot, unit)
        stride_sds.append(of_strides)
    if any(len(path.stances) < 2 for path in paths.values()):
        return with_root_path(poses), None
    first = max(path.time[0] for path in paths.values())
    last = min(path.time[-1] for path in paths.values())
    time = first + KEY_S * np.arange(int((last - first) / KEY_S))
    path = root_path(time, [_limb(poses, foot, found, time) for foot, found in paths.items()])
    still = dataclasses.replace(poses, root_position=None)
    far = CubicSpline(time, path.place)(np.clip(poses.time, time[0], time[-1]))
    moved, belt = _standing(still, paths, far), None
    if capture.ground == "treadmill":
        moved, belt = _staying(poses.time, moved)
    every = np.concatenate(stride_sds)
    stride_sd = float(np.median(every)) if len(every) else float("nan")
    path = dataclasses.replace(path, stride_sd=stride_sd, belt_speed=belt)
    moved = moved - moved[0]
    moved[:, 1] -= soles(still)[0, :, 1].min()
    return dataclasses.replace(poses, root_position=moved), path


def _standing(poses: PoseSequence, paths: dict[str, FootPath], far: np.ndarray) -> np.ndarray:
    """(T, 3) m, a root path that far away is `far`, while within a step the standing foot keeps still.

    The foot's path and the body's leg differ by soft tissue and lengths: by centimetres, which would look
    like sliding. A foot stands when its own unit's path says so, on a step as on the floor; where none does,
    the body moves as `far`. q the path by the standing feet minus `far`; its Gaussian average over half a
    second is taken off. A foot without a unit is not asked.
    """
    points = soles(poses)
    velocity = velocities(points, poses.time)
    weight = np.zeros(points.shape[:2])
    for number, foot in enumerate(FEET):
        if foot in paths:
            pair = slice(2 * number, 2 * number + 2)
            height = points[:, pair, 1] - points[:, pair, 1].min(1, keepdims=True)
            stands = np.interp(poses.time, paths[foot].time, paths[foot].weight)
            weight[:, pair] = np.exp(-height / LOWEST) * stands[:, None]
    step = float(np.median(np.diff(poses.time)))
    weight = uniform_filter1d(weight, max(1, round(SMOOTH_S / step)), axis=0, mode="nearest")
    moved = FLIES * np.gradient(far, poses.time, axis=0) - np.einsum("tp,tpi->ti", weight, velocity)
    moved /= FLIES + weight.sum(1, keepdims=True)
    near = np.zeros_like(moved)
    steps = np.diff(poses.time)[:, None]
    np.cumsum(steps * (moved[1:] + moved[:-1]) / 2, axis=0, out=near[1:])  # by the trapezoidal rule
    q = near - far
    return far + q - gaussian_filter1d(q, STEP_S / step, axis=0, mode="nearest")


def _staying(time: np.ndarray, moved: np.ndarray) -> tuple[np.ndarray, float | None]:
    """(T, 3) m, a root path without the way of a treadmill's belt, and the belt's speed, m/s.

    Over some strides the walker keeps to the belt's place: the Gaussian average of the horizontal way is the
    belt's. Its speed is the median while it is near its top: over four fifths of it.
    """
    step = float(np.median(np.diff(time)))
    reach = min(round(3 * BELT_S / step), len(moved) - 1)
    longer = np.pad(moved, ((reach, reach), (0, 0)), "reflect", reflect_type="odd")  # goes on at both ends
    belt = gaussian_filter1d(longer, BELT_S / step, axis=0)[reach : reach + len(moved)] * [1.0, 0.0, 1.0]
    speed = np.linalg.norm(np.gradient(belt, time, axis=0), axis=1)
    top = float(np.percentile(speed, 90))
    return moved - belt, float(np.median(speed[speed > 0.8 * top])) if top > SLOWEST_BELT else None


def _stride_sd(path: FootPath) -> np.ndarray:
    """(n,) m, standard deviations of the lengths of a foot's strides."""
    middle = np.array([(a + b) // 2 for a, b in path.stances], int)
    length, sd = lengths(path, path.time[middle[:-1]], path.time[middle[1:]])
    return np.hypot(sd[length > STEP_M], LEG_SD)


def _foot_units(capture: Capture, tracks: list[Track], poses: PoseSequence) -> dict[str, Unit]:
    """Foot -> its unit; none where the body's own path can't be followed by them."""
    segments, time = poses.model.segments, poses.time
    if not all(foot in segments and segments[foot].length for foot in FEET) or poses.positions is None:
        return {}
    if not tracks[0].problem.ties or time[-1] - time[0] < SHORTEST_S or np.diff(time).max() > LONGEST_PAUSE_S:
        return {}
    worn = {str(unit.segment): unit for unit in capture.units.values() if unit.sensors >= NEEDED}
    return {foot: worn[foot].between(time[0], time[-1]) for foot in FEET if foot in worn}


def _path(
    capture: Capture, track: Track, poses: PoseSequence, foot: str, unit: Unit
) -> tuple[FootPath, np.ndarray]:
    """The path of a foot's unit from where the body has it, and as `_stride_sd`; all else is let go."""
    samples = foot_samples(unit, capture.gravity)
    path = foot_path(samples, _start(track, poses, foot, unit, samples))
    return dataclasses.replace(path, solved=None), _stride_sd(path)


def _limb(poses: PoseSequence, foot: str, path: FootPath, time: np.ndarray) -> Limb:
    """Ball of the foot by its own path and against the root, at common times (K,) s."""
    assert poses.positions is not None
    length = poses.model.segments[foot].length
    assert length is not None
    ball = poses.positions[foot] + poses.rotations[foot].apply(SOLE[1] * length)
    relative = ball - poses.positions[poses.model.root]
    relative = np.stack([np.interp(path.time, poses.time, x) for x in relative.T], 1)
    own = path.state.place + path.state.R @ path.state.ball
    return Limb(CubicSpline(path.time, own)(time), CubicSpline(path.time, relative)(time), _slip_share(path))


def _slip_share(path: FootPath) -> float:
    """Slip of the stances against the speed from stance to stance, of those that lie a step apart."""
    middle = np.array([(a + b) // 2 for a, b in path.stances])
    way = np.linalg.norm(np.diff(path.state.place[middle], axis=0)[:, [0, 2]], axis=1)
    walked = way > STEP_M
    if not walked.any():
        return 0.0
    slip = 0.5 * (path.slipped[1:] + path.slipped[:-1])[walked]
    return float(np.sum(slip * np.diff(path.time[middle])[walked]) / way[walked].sum())


def _start(track: Track, poses: PoseSequence, foot: str, unit: Unit, samples: FootSamples) -> LimbStart:
    """The unit as the body has it: its rotation, and where ball and heel lie."""
    u = track.problem.signals.units.index(unit.name)
    mounting = track.found.body.mounting.segment_from_unit[u]
    world = poses.rotations[foot] * Rotation.from_matrix(mounting)
    at = np.clip(samples.key_time, poses.time[0], poses.time[-1])
    R = room((len(at), 3, 3))
    for own in rows_at_once(len(at)):
        first, last = np.searchsorted(poses.time, at[[own.start, own.stop - 1]])
        near = slice(max(0, first - 1), last + 2)
        R[own] = Slerp(poses.time[near], world[near])(at[own]).as_matrix()
        let_go(R)
    length = poses.model.segments[foot].length
    assert length is not None
    ankle = _ankle(track, foot)
    if ankle is None:
        return LimbStart(R, True, np.zeros(3), np.zeros(3), np.eye(3) / PathWeights().lever ** 2)
    heel, ball = (ankle + mounting.T @ (share * length) for share in SOLE)
    return LimbStart(R, True, ball, heel, np.eye(3) / LEVER_SD**2)


def _ankle(track: Track, foot: str) -> np.ndarray | None:
    """(3,) m, the ankle seen from the foot's unit, unit frame, as the motion shows it."""
    body = track.found.body
    for j, i in enumerate(body.joints):
        if track.problem.ties[i].joint.child == foot:
            return np.asarray(body.levers[j, 1], float)
    return None


def path_account(path: RootPath) -> RootPathFigures:
    """What summary.json holds of a root path: standard deviations at some instants.

    Parameters
    ----------
    path : of the root

    Returns
    -------
    RootPathFigures
    """
    across = np.sqrt((path.sd[:, 0] ** 2 + path.sd[:, 2] ** 2) / 2)
    return RootPathFigures(
        time_s=tuple(path.sd_time.round(3).tolist()),
        horizontal_sd_m=exact(across.round(4)),
        height_sd_m=exact(path.sd[:, 1].round(4)),
        stride_length_sd_m=None if np.isnan(path.stride_sd) else round(path.stride_sd, 4),
        belt_speed_m_s=None if path.belt_speed is None else round(path.belt_speed, 4),
    )
