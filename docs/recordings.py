"""The real recordings: what was found and what the reference says."""

from __future__ import annotations

from collections.abc import Collection
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.spatial.transform import Rotation, Slerp
from scores import LAGS_S, Pair, heading_and_inclination, rms
from vqf import offlineVQF

import bodyfit
from bodyfit.recording.capture import Capture, Unit
from bodyfit.weights import Weights

DATA = Path(__file__).resolve().parents[2] / "shared" / "data"
TWO = frozenset({"accelerometer", "gyroscope"})
Z_UP_TO_Y_UP = Rotation.from_rotvec([-np.pi / 2, 0.0, 0.0])
FASTEST_DEG_S = 1000.0  # a reference that turns faster has lost its markers
KNEE = {  # our angle -> the reference's turn about the same axis, and its sign on a left leg
    "flexion": ("flexion_axis_deg", -1),
    "adduction": ("abduction_axis_deg", -1),
    "internal_rotation": ("rotation_axis_deg", -1),
}


@cache
def capture(name: str) -> Capture:
    """One recording."""
    return bodyfit.read_capture(DATA / name)


@cache
def fitted(
    name: str, sensors: Collection[str] | None = None, alone: bool = False, weights: Weights | None = None
) -> bodyfit.Fit:
    """What `bodyfit.fit` makes of a recording."""
    return bodyfit.fit(capture(name), sensors=sensors, alone=alone, weights=weights)


def filtered(unit: Unit, magnetometer: bool) -> Rotation:
    """What the published single-unit filter makes of one unit, world +Y up (vqf, offline form)."""
    step = float(np.median(np.diff(unit.time)))
    gyroscope, accelerometer = np.ascontiguousarray(unit.gyroscope), np.ascontiguousarray(unit.accelerometer)
    if magnetometer:
        q = offlineVQF(gyroscope, accelerometer, np.ascontiguousarray(unit.magnetometer), step)["quat9D"]
    else:
        q = offlineVQF(gyroscope, accelerometer, None, step)["quat6D"]
    return Z_UP_TO_Y_UP * Rotation.from_quat(q, scalar_first=True)


def names(pattern: str) -> list[str]:
    """Recordings whose name begins so."""
    return sorted(path.name for path in DATA.glob(f"{pattern}*"))


def columns(table: pd.DataFrame, segment: str) -> tuple[np.ndarray, Rotation]:
    """Times and rotations of one segment, rows without a value left out."""
    q = table[[f"{segment}_q{axis}" for axis in "xyzw"]].to_numpy(float)
    time = table.time_s.to_numpy(float)
    ok = np.isfinite(q).all(1) & (np.diff(time, prepend=-np.inf) > 0)
    return time[ok], Rotation.from_quat(q[ok])


# ---- chain ----


def chain_pairs(name: str, time: np.ndarray, found: dict[str, Rotation]) -> list[Pair]:
    """Neighbours along the chain."""
    table = pd.read_csv(DATA / name / "reference.csv")
    out = []
    for parent, child in zip(list(found)[:-1], list(found)[1:], strict=True):
        both = table.loc[table[f"{parent}_qx"].notna() & table[f"{child}_qx"].notna()]
        (at, P), (_, C) = columns(both, parent), columns(both, child)
        out.append(Pair(time, found[parent].inv() * found[child], at, P.inv() * C))
    return out


def chain_fitted(name: str, **options) -> list[Pair]:
    """Neighbours along the chain, by bodyfit."""
    return chain_pairs_of(name, fitted(name, **options))


def chain_pairs_of(name: str, fit: bodyfit.Fit) -> list[Pair]:
    """Neighbours along the chain in a fit."""
    return chain_pairs(name, fit.time, {s: fit.rotations[s] for s in fit.poses.model.segments})


def chain_filtered(name: str, magnetometer: bool) -> list[Pair]:
    """Neighbours along the chain, each unit by the published filter."""
    units = capture(name).units.values()
    found = {str(unit.segment): filtered(unit, magnetometer) for unit in units}
    return chain_pairs(name, next(iter(units)).time, found)


# ---- one unit ----


def single_errors(name: str, time: np.ndarray, found: Rotation) -> tuple[float, float, float]:
    """Total, heading, inclination of one unit, in the rows that move."""
    table = pd.read_parquet(DATA / name / "reference.parquet")
    moving = table.loc[table.moving.to_numpy(bool)]
    at, true = columns(moving, "segment")
    inside = (at >= time[0]) & (at <= time[-1])
    return heading_and_inclination(Slerp(time, found)(at[inside]), Z_UP_TO_Y_UP * true[inside])


def single_fitted(name: str, **options) -> tuple[float, float, float]:
    """The same by bodyfit."""
    fit = fitted(name, **options)
    return single_errors(name, fit.time, fit.rotations["segment"])


def single_as_it_is(name: str) -> float:
    """Total error by bodyfit, its constant heading offset left in."""
    fit = fitted(name)
    table = pd.read_parquet(DATA / name / "reference.parquet")
    at, true = columns(table.loc[table.moving.to_numpy(bool)], "segment")
    inside = (at >= fit.time[0]) & (at <= fit.time[-1])
    found = Slerp(fit.time, fit.rotations["segment"])(at[inside])
    return float(np.degrees(rms((found * (Z_UP_TO_Y_UP * true[inside]).inv()).magnitude())))


def single_filtered(name: str, magnetometer: bool) -> tuple[float, float, float]:
    """The same by the published filter."""
    unit = next(iter(capture(name).units.values()))
    return single_errors(name, unit.time, filtered(unit, magnetometer))


# ---- knee ----


def knee_errors(lag: float, as_it_is: bool = False, **options) -> list[float]:
    """Root mean square error of flexion, adduction and rotation, degrees, constant offsets removed or not."""
    fit = fitted("knee_landing", **options)
    table, out = pd.read_csv(DATA / "knee_landing" / "reference_knee.csv"), []
    for angle, (column, sign) in KNEE.items():
        true = np.interp(fit.time + lag, table.time_s, sign * table[column], left=np.nan, right=np.nan)
        error = np.degrees(np.unwrap(fit.joint_angles["l_knee"][angle])) - true
        off = 0.0 if as_it_is else np.nanmean(error)
        out.append(rms((error - off)[np.isfinite(error)]))
    return out


def knee_lag(**options) -> float:
    """Clock offset at which flexion agrees best, s."""
    return min(LAGS_S, key=lambda lag: knee_errors(lag, **options)[0])


# ---- pendulums and robot arms ----


def pendulum_pairs(name: str, **options) -> list[Pair]:
    """Neighbours along the pendulum; stretches where the reference jumps are left out."""
    fit, true = fitted(name, **options), {}
    for segment in fit.poses.model.segments:
        table = pd.read_csv(DATA / name / f"reference_{segment[-1]}.csv")
        true[segment] = without_jumps(*columns(table, segment))
    return [_neighbours(fit, true, f"segment_{i}", f"segment_{i + 1}") for i in (1, 2)]


def robot_pairs(name: str, **options) -> list[Pair]:
    """The hand link against the forearm link."""
    fit, table = fitted(name, **options), pd.read_csv(DATA / name / "reference.csv")
    true = {segment: columns(table, segment) for segment in ("radius", "carpus")}
    return [_neighbours(fit, true, "radius", "carpus")]


def _neighbours(fit: bodyfit.Fit, true: dict, parent: str, child: str) -> Pair:
    """Two segments, the parent's reference read at the child's rows."""
    (parent_time, P), (at, C) = true[parent], true[child]
    after = np.clip(np.searchsorted(parent_time, at), 1, len(parent_time) - 1)
    near = np.diff(parent_time)[after - 1] < 0.1
    ok = near & (at >= parent_time[0]) & (at <= parent_time[-1])
    relative = Slerp(parent_time, P)(at[ok]).inv() * C[ok]
    return Pair(fit.time, fit.rotations[parent].inv() * fit.rotations[child], at[ok], relative)


def without_jumps(time: np.ndarray, rotation: Rotation) -> tuple[np.ndarray, Rotation]:
    """The rows that lie a quarter of a second or more from any jump."""
    speed = np.degrees((rotation[:-1].inv() * rotation[1:]).magnitude()) / np.diff(time)
    jumps = time[1:][speed > FASTEST_DEG_S]
    near = np.any(np.abs(time[:, None] - jumps) < 0.25, axis=1)
    return time[~near], rotation[~near]
