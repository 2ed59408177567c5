"""A folder as `bodyfit fit` leaves it, of an invented walk, for the tests of the report."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
from example_summary import A_CENTRE, summary, unit
from scipy.spatial.transform import Rotation

from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.person import Person
from bodyfit.core.findings import Finding
from bodyfit.files.account import account_of
from bodyfit.files.model.model_file import read_model
from bodyfit.files.motion.pose_tables import write_joints, write_segments
from bodyfit.files.scene.gltf import write_pose
from bodyfit.files.summary_file import summary_text
from bodyfit.recording.capture import CaptureFiles
from bodyfit.results.joints import JointHeadingFigures
from bodyfit.results.summary import FitOptions, HeadingFigures, SolverFigures, Summary
from bodyfit.results.units import ClockFigures

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


def summary_of(poses: PoseSequence) -> Summary:
    """A summary with the parts that the report shows."""
    plain = summary(poses)
    joints = {
        name: dataclasses.replace(
            one,
            centre=A_CENTRE,
            heading=JointHeadingFigures(
                1.5, name != "l_hip", "it <hardly> moved" if name == "l_hip" else None
            ),
        )
        for name, one in plain.joints.items()
    }
    units = {
        f"{name}_unit": unit(
            name,
            sensors=("accelerometer", "gyroscope", "magnetometer"),
            mounting_source="still pose",
            mounting_sd_deg=(2.7, 5.3, 3.0),
            mounting_open=("about Y",) if name == "l_thigh" else (),
            gyroscope_bias_deg_per_s=(0.12, -0.348, 1.0),
            accelerometer_scale=1.0012,
            heading_drift_removed_deg=-12.34,
            magnetometer_trusted_share=0.834,
            gaps=((8.0, 8.4),) if name == "l_thigh" else (),
            field_untrusted_s=((2.0, 3.5),) if name == "r_hindfoot" else (),
        )
        for name in poses.model.segments
    }
    return dataclasses.replace(
        plain,
        capture=TITLE,
        options=FitOptions(None, False, ("spare unit",), True, "given", True, None),
        heading=HeadingFigures("magnetic north is +X", "joint axes"),
        gyroscope_latency_s=0.0021,
        units=units,
        clocks={"l_thigh_unit": ClockFigures(0.00744, 12.0)} if "l_thigh_unit" in units else {},
        joints=joints,
        solver=SolverFigures(7, True, 544.0, 0.01),
    )


def write_out(
    folder: Path,
    poses: PoseSequence | None = None,
    findings=FINDINGS,
    sd: bool = True,
    recording: CaptureFiles | None = None,
) -> Path:
    """The folder, with the four files of a fit and findings.json unless `findings` is None."""
    poses = poses if poses is not None else walk()
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "segments.csv").open("wb") as file:
        write_segments(file, poses.time, poses.rotations, poses.positions)
    with (folder / "joints.csv").open("wb") as file:
        write_joints(file, poses.time, poses.joint_angles, spread(poses) if sd else None)
    with (folder / "pose.glb").open("wb") as file:
        write_pose(file, poses, account_of(summary_of(poses), FINDINGS).as_text())
    summed = dataclasses.replace(summary_of(poses), recording=recording)
    told = summary_text(summed, poses.model, FINDINGS)
    (folder / "summary.json").write_text(told, encoding="utf-8")
    if findings is not None:
        listed = {"findings": [found.as_data() for found in findings]}
        (folder / "findings.json").write_text(json.dumps(listed), encoding="utf-8")
    return folder
