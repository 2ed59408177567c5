"""How the units of the chain sit, as the optical reference shows it, and what bodyfit finds.

A unit's turns over 0.2 s by its gyroscope are those of its segment by the markers, seen from other axes: the
rotation that brings the two sets of rotation vectors closest (Wahba's problem), the gyroscope's bias taken
out. No fit is involved. `python docs/mounting_reference.py` prints the table.
"""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pandas as pd
from recordings import DATA, TWO, capture, chain_pairs_of, columns
from scipy.spatial.transform import Rotation, Slerp
from scores import ends_removed, over_pairs

import bodyfit
from bodyfit.body.chain import BodyModel
from bodyfit.recording.capture import Capture, Unit

LATE_S, STEP_S = 0.015, 0.2  # the reference's clock; over which turns are compared


def reference_mounting(name: str) -> dict[str, Rotation]:
    """Unit -> segment_from_unit."""
    table = pd.read_csv(DATA / name / "reference.csv")
    return {
        unit.name: _of_unit(unit, *columns(table, str(unit.segment))) for unit in capture(name).units.values()
    }


def _of_unit(unit: Unit, at: np.ndarray, R: Rotation) -> Rotation:
    """One unit against the rows of its segment that are not far from the next."""
    after = np.clip(np.searchsorted(at, at + STEP_S), 1, len(at) - 1)
    near = (np.abs(at[after] - at - STEP_S) < 0.04) & (np.diff(at)[after - 1] < 0.05)
    ok = near & (at - LATE_S > unit.time[0]) & (at - LATE_S + STEP_S < unit.time[-1]) & (at + STEP_S < at[-1])
    start = at[ok]
    true = _turns(Slerp(at, R), start)
    mine = _turns(_integrated(unit), start - LATE_S)
    bias = np.zeros(3)
    for _ in range(4):
        M, _ = Rotation.align_vectors(true, mine - bias)
        bias = np.median(mine - M.inv().apply(true), axis=0)
    return M


def _turns(path: Slerp, start: np.ndarray) -> np.ndarray:
    return (path(start).inv() * path(start + STEP_S)).as_rotvec()


def _integrated(unit: Unit) -> Slerp:
    """The gyroscope's turns one after the other."""
    rate = unit.gyroscope
    assert rate is not None
    turns = 0.5 * (rate[1:] + rate[:-1]) * np.diff(unit.time)[:, None]
    R = [np.eye(3)]
    for step in Rotation.from_rotvec(turns).as_matrix():
        R.append(R[-1] @ step)
    return Slerp(unit.time, Rotation.from_matrix(np.array(R)))


def measured_centres(name: str) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Joint -> its centre in both segments, m from the mean of the markers, as if measured."""
    reference, markers = (pd.read_csv(DATA / name / f) for f in ("reference.csv", "reference_markers.csv"))
    R, origin, out = {}, {}, {}
    for segment in [f"segment_{i}" for i in range(1, 6)]:
        q = reference[[f"{segment}_q{a}" for a in "xyzw"]].to_numpy(float)
        R[segment] = np.full((len(q), 3, 3), np.nan)
        ok = np.isfinite(q).all(1)
        R[segment][ok] = Rotation.from_quat(q[ok]).as_matrix()
        each = [markers[[f"{segment}_marker{m}_{a}" for a in "xyz"]].to_numpy(float) for m in (1, 2, 3, 4)]
        origin[segment] = np.mean(each, axis=0)
    for joint in capture(name).model.joints.values():
        A = np.concatenate([R[joint.parent], -R[joint.child]], -1)
        b = origin[joint.child] - origin[joint.parent]
        ok = np.isfinite(A).all((1, 2)) & np.isfinite(b).all(1)
        x = np.linalg.lstsq(A[ok].reshape(-1, 6), b[ok].ravel(), rcond=0.02)[0]
        out[joint.name] = (x[:3], x[3:])
    return out


def with_centres(worn: Capture, name: str) -> Capture:
    """The capture with those joint centres in its model."""
    model, centres = worn.model, measured_centres(name)
    joints = {
        n: dataclasses.replace(j, centre_in_parent=centres[n][0], centre_in_child=centres[n][1])
        for n, j in model.joints.items()
    }
    return dataclasses.replace(worn, model=BodyModel(model.name, model.segments, joints))


def without_mountings(worn: Capture) -> Capture:
    """The capture with nothing stated about how units sit."""
    units = {n: dataclasses.replace(u, mounting=None) for n, u in worn.units.items()}
    return dataclasses.replace(worn, units=units)


def main(name: str = "chain_soft") -> None:
    """Prints errors of mountings about the segment's axes, what they are said to be, and of the pairs."""
    worn, true = capture(name), reference_mounting(name)
    cases = {
        "mountings stated": worn,
        "nothing stated": without_mountings(worn),
        "mountings stated, joint centres given": with_centres(worn, name),
        "nothing stated, joint centres given": with_centres(without_mountings(worn), name),
    }
    for title, case in cases.items():
        fit = bodyfit.fit(case, sensors=TWO)
        pairs = chain_pairs_of(name, fit)
        free = np.mean(over_pairs(pairs, LATE_S, ends_removed))
        print(f"{name}, {title}: pairs {np.mean(over_pairs(pairs, LATE_S)):.2f}°, ends removed {free:.2f}°")
        for unit, (M, C) in fit.mounting.items():
            off = (true[unit] * Rotation.from_matrix(M).inv()).as_rotvec(degrees=True)
            print("  ", unit, off.round(1), "sd", np.degrees(np.sqrt(np.diag(C))).round(1))


if __name__ == "__main__" and Path(DATA).is_dir():
    main()
    main("chain_rigid")
