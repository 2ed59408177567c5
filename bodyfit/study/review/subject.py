"""What the checks look at: a motion, what its fit said about itself, and rates that several checks use."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from scipy.spatial.transform import Rotation

from ...body.motion.poses import PoseSequence
from ...core.findings import Finding
from ...results.joints import JointFigures
from ...results.summary import Summary
from ...results.units import UnitFigures
from .limits import JUMP_DEG, JUMP_OVER_NEIGHBOURS

PAUSE_S = 0.25  # s, a step beyond which a fit starts anew; as BRIDGED_S of recording/sampling.py
AROUND = 5  # frames on each side of a jump that tell how fast the segment turns anyway; chosen; not tried


@dataclass(frozen=True, eq=False)
class Reviewed:
    """A motion under review.

    Attributes
    ----------
    poses : the motion
    summary : what its fit told of itself; None for a motion that no fit made
    joint_angle_sd : joint -> angle -> (T,) rad, or empty: not known
    findings : of the fit
    """

    poses: PoseSequence
    summary: Summary | None = None
    joint_angle_sd: Mapping[str, Mapping[str, np.ndarray]] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()

    @property
    def time(self) -> np.ndarray:
        """(T,) s."""
        return self.poses.time

    @property
    def root_followed(self) -> bool:
        """Whether the path of the body was taken from its feet, not measured."""
        return self.summary is not None and self.summary.root_followed

    @property
    def on_treadmill(self) -> bool:
        """Whether a standing foot moves with a belt."""
        path = self.summary and self.summary.root_path
        return path is not None and path.belt_speed_m_s is not None

    @property
    def joints(self) -> Mapping[str, JointFigures]:
        """Joint -> what its fit found of it; empty for a motion that no fit made."""
        return self.summary.joints if self.summary else {}

    @property
    def units(self) -> Mapping[str, UnitFigures]:
        """Worn unit -> what its fit found of it; empty for a motion that no fit made."""
        return self.summary.units if self.summary else {}

    def mended_slips(self, segment: str) -> list[float]:
        """Times, s, at which the unit on a segment slipped and the fit took the slip off."""
        slips = self.summary.slips if self.summary else ()
        return [slip.time_s for slip in slips if self.units[slip.unit].segment == segment]

    @cached_property
    def step(self) -> float:
        """Usual time between frames, s."""
        return float(np.median(np.diff(self.time)))

    @cached_property
    def paused(self) -> np.ndarray:
        """(T − 1,) bool, steps over a pause in the recording: what lies on either side is not one motion."""
        return np.diff(self.time) > PAUSE_S

    @cached_property
    def relative(self) -> dict[str, Rotation]:
        """Joint -> rotation of length T, parent_from_child."""
        R = self.poses.rotations
        return {n: R[j.parent].inv() * R[j.child] for n, j in self.poses.model.joints.items()}

    @cached_property
    def turns(self) -> dict[str, np.ndarray]:
        """Segment -> (T − 1, 3) rad, turn from each frame to the next, in its frame; zero over a pause."""
        moving = ~self.paused[:, None]
        return {n: (R[:-1].inv() * R[1:]).as_rotvec() * moving for n, R in self.poses.rotations.items()}

    @cached_property
    def jumps(self) -> dict[str, np.ndarray]:
        """Segment -> (T − 1,) bool, turns that stand out from those before and after as no motion does."""
        return {name: _stands_out(turn) & ~self.paused for name, turn in self.turns.items()}

    @cached_property
    def joint_rates(self) -> dict[str, np.ndarray]:
        """Joint -> (T, 3) rad/s, angular rate of the child against the parent, over two frames.

        Where a segment of the joint jumps from one frame to the next it is zero, which is told by itself, and
        over a pause.
        """
        out = {}
        for name, joint in self.poses.model.joints.items():
            turn = (self.relative[name][:-1].inv() * self.relative[name][1:]).as_rotvec()
            turn[self.jumps[joint.parent] | self.jumps[joint.child] | self.paused] = 0.0
            rate = turn / np.diff(self.time)[:, None]
            padded = np.concatenate([rate[:1], rate, rate[-1:]])
            out[name] = 0.5 * (padded[1:] + padded[:-1])
        return out


def _stands_out(turn: np.ndarray) -> np.ndarray:
    """(T − 1,) bool: a turn far from the median of its neighbours, and many times what they differ."""
    if len(turn) < 2 * AROUND + 1:
        return np.zeros(len(turn), bool)
    padded = np.pad(turn, ((AROUND, AROUND), (0, 0)), mode="edge")
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * AROUND + 1, axis=0)
    middle = np.median(around, axis=-1)
    away = np.linalg.norm(turn - middle, axis=-1)
    usual = np.median(np.linalg.norm(around - middle[..., None], axis=1), axis=-1)
    return (away > np.radians(JUMP_DEG)) & (away > JUMP_OVER_NEIGHBOURS * usual)
