"""Fits to hand over: a demo's true motion dressed as one, and what stands in its folder beside it."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
from example_summary import summary, unit
from scipy.spatial.transform import Rotation

import bodyfit
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.person import Person
from bodyfit.core.findings import Finding

DEMOS = Path(__file__).resolve().parents[3] / "demo_captures"
NAMES = ("cello_arm", "parcel_lift", "steel_stairs")
EVENTS = """\
time_s,time_sd_s,side,event
1.25,0.012,left,heel_strike
1.875,,right,toe_off
2.5,0.02,none,mid_swing
"""
STRIDES = """\
side,start_s,foot_flat_s,toe_off_s,mid_swing_s,end_s,stride_time_s,stride_length_m
left,1.25,1.4,1.9,2.1,2.35,1.1,1.234
right,1.8,,2.4,2.6,2.9,1.1,
"""


FINDINGS = (
    Finding("mounting-open", "warning", "one unit sat loosely", "fasten it"),
    Finding("gap-bridged", "note", "a gap", "nothing"),
)


def demo_fit(name: str, frames: int = 400, gap: bool = False) -> Any:
    """A fit whose motion is the start of a demo's true one; with `gap`, frames 100 to 149 are missing."""
    capture = bodyfit.read_capture(DEMOS / name)
    person = capture.person or Person()
    whole = bodyfit.read_motion(DEMOS / name, capture.model, person)
    kept = np.arange(min(frames, len(whole.time)))
    if gap:
        kept = np.r_[kept[:100], kept[150:]]
    root = None if whole.root_position is None else whole.root_position[kept]
    turned = {name: Rotation.from_quat(R.as_quat()[kept]) for name, R in whole.rotations.items()}
    poses = PoseSequence(whole.time[kept], turned, whole.model, root)
    sd = {
        joint: {angle: np.full(len(kept), np.radians(1.5 + k)) for k, angle in enumerate(angles)}
        for joint, angles in poses.joint_angles.items()
    }
    told = summary(poses, capture=capture.title, units={"first_unit": unit("r_hand")})
    return SimpleNamespace(
        poses=poses, joint_angle_sd=sd, summary=told, findings=FINDINGS, trials=(), segment_sd={}
    )


def beside(folder: Path) -> Path:
    """A folder with events.csv and strides.csv."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "events.csv").write_text(EVENTS)
    (folder / "strides.csv").write_text(STRIDES)
    return folder
