"""A real knee recorded in pieces, both units turned at random.

Recording: Fan et al. 2021, doi:10.1016/j.jbiomech.2021.110549, drop landings of one person.
"""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pandas as pd
from cut_motion import PAUSE_S, PIECE_S
from scipy.spatial.transform import Rotation

import bodyfit
from bodyfit.files.model.model_file import read_model
from bodyfit.recording.capture import Calibration, Capture, Unit

STANDING_S = (1.0, 2.5)  # the leg stands straight there, by the cameras
LATE_S = 0.010  # by which the reference's clock runs late (README of the recording)


def in_pieces(folder: Path, seed: int, bends_one_way: bool = True) -> Capture:
    """The recording with pauses that nobody recorded, units turned; a knee's range is known, or not."""
    capture = bodyfit.read_capture(folder)
    rng = np.random.default_rng([seed, 5])
    kept, at = [STANDING_S], STANDING_S[1] + rng.uniform(*PAUSE_S)
    last = max(unit.time[-1] for unit in capture.units.values())
    while at < last - PIECE_S[0]:
        kept.append((at, min(at + rng.uniform(*PIECE_S), last)))
        at = kept[-1][1] + rng.uniform(*PAUSE_S)
    units = {n: _cut(u, kept, Rotation.random(random_state=rng)) for n, u in capture.units.items()}
    return dataclasses.replace(
        capture,
        units=units,
        model=read_model("left_knee") if bends_one_way else capture.model,
        calibrations=(Calibration("still", *STANDING_S),),
    )


def _cut(unit: Unit, kept: list[tuple[float, float]], turn: Rotation) -> Unit:
    """What was recorded in these stretches, seen from turned axes."""
    inside = np.any([(unit.time >= a) & (unit.time <= b) for a, b in kept], 0)
    samples = {s: turn.apply(getattr(unit, s)[inside]) for s in unit.sensors}
    return dataclasses.replace(unit, time=unit.time[inside], mounting=None, **samples)


def flexion(folder: Path, found: bodyfit.Fit, capture: Capture) -> tuple[np.ndarray, ...]:
    """Degrees, where recorded: flexion as found, as the cameras saw it, and its deviation."""
    table = pd.read_csv(folder / "reference_knee.csv")
    time = next(iter(capture.units.values())).time
    near = np.abs(time[np.searchsorted(time, found.time).clip(0, len(time) - 1)] - found.time) < 0.03
    at = found.time[near] + LATE_S
    true = np.interp(at, table.time_s, -table.flexion_axis_deg, left=np.nan, right=np.nan)
    mine, ok = np.degrees(found.joint_angles["l_knee"]["flexion"][near]), np.isfinite(true)
    assert found.joint_angle_sd is not None
    said = np.degrees(found.joint_angle_sd["l_knee"]["flexion"][near])
    return mine[ok], true[ok], said[ok]
