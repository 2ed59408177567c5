"""A real ten-unit person as one capture: the still pose and movements laid on one time line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

import bodyfit
from bodyfit.files.model.model_file import read_model
from bodyfit.recording.capture import Calibration, Unit

SEGMENTS = {
    "chest": "thorax", "pelvis": "pelvis",
    "left_wrist": "l_forearm", "right_wrist": "r_forearm",
    "left_thigh": "l_thigh", "right_thigh": "r_thigh",
    "left_shank": "l_calf", "right_shank": "r_calf",
    "left_foot": "l_hindfoot", "right_foot": "r_hindfoot",
}  # fmt: skip
APART_S = 5.0  # between the files on the common time line; within one the true times are kept
ANGLES = {  # joint, angle -> column of the reference without its side, and sign of ours against it
    ("knee", "flexion"): ("knee_x_deg", -1.0),
    ("hip", "flexion"): ("hip_x_deg", 1.0),
    ("talocrural", "dorsiflexion"): ("ankle_x_deg", 1.0),
}
MODEL = Path(__file__).parents[1] / "models" / "whole_body.toml"


@dataclass(frozen=True, eq=False)
class Recorded:
    """A capture, and what the cameras saw.

    Attributes
    ----------
    capture : of all ten units
    reference : one row a sample, degrees, `time_s` on the capture's time line, `movement` by name
    """

    capture: bodyfit.Capture
    reference: pd.DataFrame


def recorded(
    folder: Path,
    movements: Sequence[str],
    segments: Sequence[str] | None = None,
    turned: int | None = None,
) -> Recorded:
    """The pose and then these movements.

    Parameters
    ----------
    folder : of the recording
    movements : names of its folders, in the order in which they shall come
    segments : leave out units on other segments; None: all ten
    turned : seed by which every unit is turned at random, all of its samples alike; None: as worn
    """
    start, units, reference = 0.0, [], []
    for name in ("Pose", *movements):
        table = pd.read_parquet(folder / name / "units.parquet")
        angles = pd.read_parquet(folder / name / "reference_joint_angles.parquet")
        time = start + table.t.to_numpy() - table.t.iloc[0]
        units.append(table.assign(t=time))
        reference.append(angles.assign(time_s=time, movement=name))
        start = time[-1] + APART_S
    whole, rng = pd.concat(units, ignore_index=True), np.random.default_rng(turned)
    worn = {}
    for name, segment in SEGMENTS.items():
        turn = np.eye(3) if turned is None else _drawn_turn(rng)
        if segments is None or segment in segments:
            worn[name] = _unit(name, segment, whole, turn)
    pose_end = float(units[0].t.iloc[-1])
    capture = bodyfit.Capture(
        worn,
        read_model(MODEL),
        calibrations=(Calibration("still", 0.0, pose_end, pose="standing"),),
    )
    return Recorded(capture, pd.concat(reference, ignore_index=True))


def _unit(name: str, segment: str, table: pd.DataFrame, turn: np.ndarray) -> Unit:
    acc, gyr, mag = (
        table[[f"{name}_{sensor}_{axis}" for axis in "xyz"]].to_numpy(float) @ turn.T
        for sensor in ("acc", "gyr", "mag")
    )
    return Unit(name, segment, table.t.to_numpy(), acc, gyr, 1e-6 * mag)


def _drawn_turn(rng: np.random.Generator) -> np.ndarray:
    """Uniformly random rotation matrix (QR of normal numbers; Stewart 1980)."""
    Q, R = np.linalg.qr(rng.standard_normal((3, 3)))
    Q = Q * np.sign(np.diag(R))
    return Q * np.sign(np.linalg.det(Q))


def compared(found: bodyfit.Fit, reference: pd.DataFrame) -> pd.DataFrame:
    """One row per movement, side and angle: angles and deviation at every sample, degrees, as arrays."""
    rows = []
    for movement, table in reference[reference.movement != "Pose"].groupby("movement", sort=False):
        at = np.searchsorted(found.time, table.time_s.to_numpy()).clip(1, len(found.time) - 1)
        near = np.where(
            np.abs(found.time[at - 1] - table.time_s) < np.abs(found.time[at] - table.time_s), at - 1, at
        )
        ok = np.abs(found.time[near] - table.time_s.to_numpy()) < 0.02
        for side in ("left", "right"):
            for (joint, angle), (column, sign) in ANGLES.items():
                name = f"{side[0]}_{joint}"
                true = sign * table[f"{side}_{column}"].to_numpy()[ok]
                mine = np.degrees(found.joint_angles[name][angle][near[ok]])
                assert found.joint_angle_sd is not None
                sd = np.degrees(found.joint_angle_sd[name][angle][near[ok]])
                rows.append((movement, name, angle, mine, true, sd))
    return pd.DataFrame(rows, columns=["movement", "joint", "angle", "found", "true", "sd"])
