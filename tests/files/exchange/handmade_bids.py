"""A BIDS-Motion data set made by hand after the example in BIDS 1.10, "Motion"."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

import bodyfit

DEMO = Path(__file__).resolve().parents[3] / "demo_captures" / "parcel_lift"
POINTS = {"t1": ("LeftFoot", "l_hindfoot_unit"), "t2": ("RightWrist", "r_forearm_unit")}
STEM = "sub-01_task-walkingAndTalking_tracksys-imus"


def write_handmade(root: Path, frame: str = "global", seconds: float = 20.0) -> Path:
    """The data set: two inertial units in one tracking system, named and described as in the example."""
    capture = bodyfit.read_capture(DEMO)
    first, second = (capture.units[unit] for _, unit in POINTS.values())
    rate = 60.0
    time = np.arange(first.time[0] + 0.1, seconds, 1 / rate)
    rows = ["name\tcomponent\ttype\ttracked_point\tunits\treference_frame"]
    columns = []
    for short, unit in zip(POINTS, (first, second), strict=True):
        for word, sensor, measure in (("acc", "accelerometer", "m/s^2"), ("gyro", "gyroscope", "rad/s")):
            samples = getattr(unit, sensor)
            known = np.isfinite(samples[:, 0])
            for k, axis in enumerate("xyz"):
                kind = {"acc": "ACCEL", "gyro": "GYRO"}[word]
                rows.append(f"{short}_{word}_{axis}\t{axis}\t{kind}\t{POINTS[short][0]}\t{measure}\t{frame}")
                columns.append(np.interp(time, unit.time[known], samples[known, k]))
    folder = root / "sub-01" / "motion"
    folder.mkdir(parents=True)
    (folder / f"{STEM}_channels.tsv").write_text("\n".join(rows) + "\n")
    np.savetxt(folder / f"{STEM}_motion.tsv", np.stack(columns, axis=1), delimiter="\t", fmt="%.6f")
    levels = {"global": {"SpatialAxes": "ALS", "RotationOrder": "ZXY", "RotationRule": "right-hand"}}
    (folder / f"{STEM}_channels.json").write_text(json.dumps({"reference_frame": {"Levels": levels}}))
    sidecar = {
        "SamplingFrequency": rate,
        "TaskName": "BIDS Motion fictive example",
        "TrackingSystemName": "IMU Right Hand",
        "TaskDescription": "walking and talking",
        "InstitutionName": "Fictive Institution",
        "MotionChannelCount": 12,
        "RecordingDuration": len(time) / rate,
        "TrackedPointsCount": 2,
        "ACCELChannelCount": 6,
        "GYROChannelCount": 6,
    }
    (folder / f"{STEM}_motion.json").write_text(json.dumps(sidecar))
    about = {"Name": "Fictive", "BIDSVersion": "1.10.0", "DatasetType": "raw"}
    (root / "dataset_description.json").write_text(json.dumps(about))
    (root / "README").write_text("Made by hand after the example of the specification.\n")
    (root / "participants.tsv").write_text("participant_id\tsex\theight\tweight\nsub-01\tM\t174\t71\n")
    return root
