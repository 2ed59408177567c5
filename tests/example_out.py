"""A folder as `bodyfit fit` leaves it, of an invented walk, for the tests of the report."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.person import Person
from bodyfit.core.findings import Finding
from bodyfit.files.model.model_file import read_model
from bodyfit.files.motion.pose_tables import write_joints, write_segments
from bodyfit.files.plain.json_text import summary_text
from bodyfit.files.scene.gltf import write_pose

TITLE = '</script><script>window.broken = 1</script><b>Walk</b> & "turn"'
FINDINGS = (
    Finding(
        "joint-range-exceeded",
        "serious",
        "The right knee bends 21.5° beyond <its> range.",
        "Look at the calf's unit.",
        joints=("r_knee",),
        start=4.0,
        end=5.5,
        value=21.5,
        threshold=0.0,
        measure="deg",
        source="Soucie 2011",
        harm_deg=20.0,
    ),
    Finding(
        "field-untrusted",
        "note",
        "The field at the left foot is not that of the Earth.",
        "Nothing to do.",
        units=("l_hindfoot_unit",),
        handled="left out",
        harm_deg=0.5,
    ),
    Finding(
        "gap", "warning", "0.4 s are missing.", "See the cable.", segments=("l_thigh",), start=8.0, end=8.4
    ),
)


def walk(seconds: float = 12.0, rate: float = 60.0, model: str = "lower_body") -> PoseSequence:
    """Legs that swing against each other while the pelvis goes forward, turned to the left."""
    body = read_model(model).scaled(Person(stature_m=1.75))
    time = 0.5 + np.arange(round(seconds * rate) + 1) / rate
    facing = Rotation.from_rotvec([0.0, 0.7, 0.0])
    rotations = {}
    for number, name in enumerate(body.segments):
        swing = 0.5 * np.sin(2 * np.pi * time + np.pi * name.startswith("l_") + 0.4 * number)
        sway = 0.05 * np.sin(1.3 * time + number)
        turn = Rotation.from_rotvec(
            np.stack([sway, 0.5 * sway, 0.1 * swing if number == 0 else swing], axis=1)
        )
        rotations[name] = facing * turn
    ahead = np.stack([1.1 * (time - time[0]), 0.95 + 0 * time, 0 * time], axis=1)
    return PoseSequence(time, rotations, body, facing.apply(ahead))


def spread(poses: PoseSequence) -> dict[str, dict[str, np.ndarray]]:
    """Invented standard deviations: 1 to 3 degrees, wider in the middle, rad."""
    wide = np.radians(1 + 2 * np.exp(-(((poses.time - poses.time.mean()) / 2) ** 2)))
    return {joint: {angle: wide for angle in angles} for joint, angles in poses.joint_angles.items()}


def summary_of(poses: PoseSequence) -> dict[str, Any]:
    """A summary with the parts that the report shows."""
    joints = {}
    for name, joint in poses.model.joints.items():
        angles = {
            angle: {"min_deg": float(np.degrees(a.min())), "max_deg": float(np.degrees(a.max()))}
            | ({"range_deg": np.degrees(joint.range[angle]).tolist()} if angle in joint.range else {})
            for angle, a in poses.joint_angles[name].items()
        }
        joints[name] = {
            "type": joint.type,
            "parent": joint.parent,
            "child": joint.child,
            "angles": angles,
            "range_source": joint.range_source,
            "determined": name != "l_hip",
            "note": "it <hardly> moved" if name == "l_hip" else None,
            "relative_heading_sd_deg": 1.5,
            "lever_arm_parent_m": [0.0104, -0.2804, 0.004],
            "lever_arm_child_m": [0.0, 0.123, 0.0],
            "lever_arm_sd_m": [0.001, 0.002, 0.003, 0.004, 0.005, 0.006],
            "lever_arm_source": "motion",
            "residual_m_s2": 0.4123,
        }
    units = {
        f"{name}_unit": {
            "segment": name,
            "sensors": ["accelerometer", "gyroscope", "magnetometer"],
            "mounting_quat_xyzw": [0.0, 0.0, 0.0, 1.0],
            "mounting_source": "still pose",
            "mounting_sd_deg": [2.7, 5.3, 3.0],
            "mounting_open": ["about Y"] if name == "l_thigh" else [],
            "gyroscope_bias_deg_per_s": [0.12, -0.348, 1.0],
            "accelerometer_scale": 1.0012,
            "heading_drift_removed_deg": -12.34,
            "magnetometer_trusted_share": 0.834,
            "gaps": [[8.0, 8.4]] if name == "l_thigh" else [],
            "field_untrusted_s": [[2.0, 3.5]] if name == "r_hindfoot" else [],
        }
        for name in poses.model.segments
    }
    return {
        "bodyfit_version": "0.1.0",
        "capture": TITLE,
        "options": {"alone": False, "leave_out": ["spare unit"], "sensors": None, "strict_ranges": True},
        "sampling": {"frequency_hz": 60.0, "frames": len(poses.time), "start_s": 0.5, "end_s": 12.5},
        "model": {"name": poses.model.name, "segments": len(poses.model.segments)},
        "heading": {"reference": "magnetic north is +X", "facing_from": "joint axes"},
        "root_position": "followed from the standing foot",
        "gyroscope_latency_s": 0.0021,
        "units": units,
        "clocks": {"l_thigh_unit": {"offset_s": 0.00744, "rate_ppm": 12.0}},
        "joints": joints,
        "solver": {"iterations": 7, "converged": True, "last_step_deg": 0.01},
        "findings": [f.as_data() for f in FINDINGS],
        "warnings": [f"{FINDINGS[0].what}; {FINDINGS[0].advice}"],
    }


def write_out(folder: Path, poses: PoseSequence | None = None, findings=FINDINGS, sd: bool = True) -> Path:
    """The folder, with the four files of a fit and findings.json unless `findings` is None."""
    poses = poses or walk()
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "segments.csv").open("wb") as file:
        write_segments(file, poses.time, poses.rotations, poses.positions)
    with (folder / "joints.csv").open("wb") as file:
        write_joints(file, poses.time, poses.joint_angles, spread(poses) if sd else None)
    with (folder / "pose.glb").open("wb") as file:
        write_pose(file, poses)
    (folder / "summary.json").write_text(summary_text(summary_of(poses)), encoding="utf-8")
    if findings is not None:
        listed = {"findings": [found.as_data() for found in findings]}
        (folder / "findings.json").write_text(json.dumps(listed), encoding="utf-8")
    return folder
