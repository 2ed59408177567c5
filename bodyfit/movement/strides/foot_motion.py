"""How one foot moved, whatever it was found from: what events and strides are read off."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.spatial.transform import Slerp

from ...body.motion.poses import PoseSequence
from ...body.motion.root_trajectory import SOLE
from ...core.cubic_spline import CubicSpline
from ...core.rotations import UP, apply, log
from ...feet.contact import between_swings, log_energies, stances
from ...feet.samples import HZ, PER_KEY
from ...feet.smoother import FootPath, lengths
from ...recording.sampling import Coverage

SIDES = {"l_hindfoot": "left", "r_hindfoot": "right", "hindfoot": "none"}
# weight of a contact from which an instant may be the calmest of its stance: what the kernel's knee leaves
# (by reasoning)
BELIEVED = 0.25
FAR_M = 0.3  # m, a swing that tells which way the foot points (by reasoning: half a step)


@dataclass(frozen=True, eq=False)
class FootMotion:
    """One foot's motion at K keyframes, its turning at N samples.

    Attributes
    ----------
    side : "left", "right" or "none"
    time : (K,) s
    R : (K, 3, 3) world_from_unit; of a fitted body, the unit is its segment
    velocity, place : (K, 3) m/s and m, of the unit, world
    ground : (K,) m, height of the ground below the foot
    ball, heel : (3,) m, seen from the unit, unit frame
    rate_time, rate : (N,) s and (N, 3) rad/s, unit frame
    gap : (N,) s, length of the gap that each of these times lies in
    stances : (S, 3) keyframes: first, calmest, last of each
    path : where a unit's path was found; tells standard deviations
    """

    side: str
    time: np.ndarray
    R: np.ndarray
    velocity: np.ndarray
    place: np.ndarray
    ground: np.ndarray
    ball: np.ndarray
    heel: np.ndarray
    rate_time: np.ndarray
    rate: np.ndarray
    gap: np.ndarray
    stances: np.ndarray
    path: FootPath | None = None

    def speed_of(self, point: np.ndarray) -> np.ndarray:
        """(K,) m/s, of a point (3,) m of the foot seen from the unit."""
        rate = np.stack([np.interp(self.time, self.rate_time, w) for w in self.rate.T], 1)
        return np.linalg.norm(self.velocity + apply(self.R, np.cross(rate, point)), axis=1)

    def place_of(self, point: np.ndarray) -> np.ndarray:
        """(K, 3) m, of a point (3,) m of the foot seen from the unit."""
        return self.place + self.R @ point

    @cached_property
    def axes(self) -> np.ndarray:
        """(3, 3) rows forward, up, right of the foot, unit frame: up as it stands, forward as it swings.

        Where no swing goes anywhere, forward is any direction level with the foot.
        """
        calm = self.stances[:, 1]
        R = self.R[calm]
        way = np.diff(self.place[calm], axis=0) * [1, 0, 1]
        far = np.flatnonzero(np.linalg.norm(way, axis=1) > FAR_M)
        both = np.swapaxes(R[far], -1, -2) + np.swapaxes(R[far + 1], -1, -2)
        up = R[:, 1].mean(0) if len(R) else self.R[:, 1].mean(0)  # Rᵀ up
        right = apply(both, np.cross(way[far], UP)).sum(0)
        if not len(far):
            right = np.cross([1.0, 0.0, 0.0] if abs(up[0]) < max(abs(up[1:])) else [0.0, 1.0, 0.0], up)
        right /= np.linalg.norm(right)
        up = up - right * (up @ right)
        up /= np.linalg.norm(up)
        return np.stack([np.cross(up, right), up, right])

    @cached_property
    def heading(self) -> np.ndarray:
        """(K,) rad, of the foot, positive to the left seen from above, continuous."""
        forward = self.R @ self.axes[0]
        return np.unwrap(np.arctan2(-forward[:, 2], forward[:, 0]))

    def lengths(self, start: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Horizontal distances between keyframes (n,), m, and standard deviations, NaN where unknown."""
        way = (self.place[end] - self.place[start])[:, [0, 2]]
        if self.path is None or not len(start):
            return np.linalg.norm(way, axis=1), np.full(len(start), np.nan)
        return lengths(self.path, self.time[start], self.time[end])


def motion_of_path(path: FootPath, side: str) -> FootMotion:
    """The motion of a foot whose unit's path was found.

    Parameters
    ----------
    path : of the unit
    side : "left", "right" or "none"

    Returns
    -------
    FootMotion
    """
    s, c = path.samples, path.state
    return FootMotion(
        side,
        path.time,
        c.R,
        c.velocity,
        c.place,
        c.ground,
        c.ball,
        c.heel,
        s.time,
        s.rate(c.lag) - c.bias_rate,
        s.gap,
        _with_calm(path.stances, path.energies, path.weight),
        path,
    )


def _with_calm(
    stances: list[tuple[int, int]], energies: np.ndarray, believed: np.ndarray | None = None
) -> np.ndarray:
    """(S, 3) first, calmest and last keyframe of each stance.

    Calmest of those at which the contact is believed: a foot is calm in mid-air, too, where it glides.
    """
    quiet = energies.sum(1)
    rows = []
    for a, b in stances:
        among = np.arange(a, b)
        if believed is not None:
            among = among[believed[a:b] >= min(BELIEVED, believed[a:b].max())]
        rows.append((a, among[np.argmin(quiet[among])], b - 1))
    return np.array(rows, int).reshape(-1, 3)


def motion_of_body(poses: PoseSequence, foot: str) -> FootMotion:
    """The motion of a fitted body's foot.

    Parameters
    ----------
    poses : with every joint centre and the foot's length known
    foot : segment

    Returns
    -------
    FootMotion, its unit the segment itself; the ground is where the ball stands, even in between
    """
    assert poses.positions is not None
    length = poses.model.segments[foot].length
    assert length is not None
    keys = int((poses.time[-1] - poses.time[0]) * HZ / PER_KEY)
    fine = poses.time[0] + np.arange(keys * PER_KEY + 1) / HZ
    R = Slerp(poses.time, poses.rotations[foot])(np.minimum(fine, poses.time[-1])).as_matrix()
    rate = log(np.swapaxes(R[:-1], -1, -2) @ R[1:]) * HZ
    rate = np.concatenate([rate[:1], 0.5 * (rate[1:] + rate[:-1]), rate[-1:]])
    path = CubicSpline(poses.time, poses.positions[foot])
    pushed = path(fine, 2)
    rest = stances(energies := log_energies(rate, pushed), between_swings(rate, pushed))
    ball, heel = (share * length for share in SOLE[[1, 0]])
    time, R, place = fine[::PER_KEY], R[::PER_KEY], path(fine[::PER_KEY])
    calm = _with_calm(rest, energies)
    stood = calm[:, 1]
    height = (place + R @ ball)[:, 1]
    ground = np.interp(time, time[stood], height[stood]) if len(stood) else np.zeros(keys + 1)
    gap = Coverage(poses.time).step(fine)
    side = SIDES[foot]
    return FootMotion(side, time, R, path(time, 1), place, ground, ball, heel, fine, rate, gap, calm)
