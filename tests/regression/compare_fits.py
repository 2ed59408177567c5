"""Whether two checkouts fit every demo and every real recording to the same tables, byte for byte.

    python tests/regression/compare_fits.py write OUT [CAPTURE ...]     # with the checkout that is imported
    python tests/regression/compare_fits.py compare BEFORE AFTER        # two such folders

Run `write` once in each checkout (PYTHONPATH tells which), then `compare`. Where a table differs, the largest
difference of each kind of column is told: degrees for angles, of rotations and of their standard deviations.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.spatial.transform import Rotation

sys.path.append(str(Path(__file__).resolve().parents[1]))
from ten_units import recorded

from bodyfit.files.capture.writer import write_capture

ROOT = Path(__file__).resolve().parents[2]
DATA = ROOT.parent / "shared" / "data"
TABLES = ("segments.csv", "joints.csv")
TEN_UNITS, MOVEMENTS = "people_ten_units", ("Walk", "Lunge", "SqDL")  # a recording in trials, laid in a row
OPTIONS = {
    "all": [],
    "inertial": ["--sensors", "accelerometer,gyroscope"],
    "alone": ["--alone"],
}


def captures() -> list[Path]:
    """Every demo capture and every shared recording that has a setup file."""
    folders = [*(ROOT / "demo_captures").iterdir(), *(DATA.iterdir() if DATA.is_dir() else ())]
    return sorted(folder for folder in folders if (folder / "setup.toml").is_file())


def ten_units(out: Path) -> dict[str, Path]:
    """The recording of a person with ten units as a capture's folder, written; none where it is not there."""
    if not (DATA / TEN_UNITS).is_dir():
        return {}
    folder = out / TEN_UNITS / "capture"
    write_capture(recorded(DATA / TEN_UNITS, MOVEMENTS).capture, folder, digits=None)
    return {TEN_UNITS: folder}


def write(out: Path, only: list[str]) -> None:
    """Each capture fitted with each set of options into `out`, its printed text beside the tables."""
    named = {folder.name: folder for folder in captures()}
    if not only or TEN_UNITS in only:
        named |= ten_units(out)
    for capture, folder in named.items():
        if only and capture not in only:
            continue
        for name, options in OPTIONS.items():
            target, start = out / capture / name, time.perf_counter()
            call = [sys.executable, "-m", "bodyfit", "fit", str(folder), "--out", str(target), *options]
            done = subprocess.run(call, capture_output=True, text=True, check=False)
            target.mkdir(parents=True, exist_ok=True)
            (target / "printed.txt").write_text(done.stdout + done.stderr, encoding="utf-8")
            print(f"{capture} {name} {time.perf_counter() - start:.1f} s", flush=True)


def compare(before: Path, after: Path) -> int:
    """The number of tables that differ, each with how much."""
    differ = 0
    found = sorted(path.relative_to(before) for path in before.rglob("*.csv") if path.name in TABLES)
    for path in found:
        if not (after / path).is_file():
            print(f"{path}: missing after")
            differ += 1
        elif (before / path).read_bytes() != (after / path).read_bytes():
            print(f"{path}: {difference(before / path, after / path)}")
            differ += 1
    print(f"{len(found)} tables, {differ} differ")
    return differ


def difference(before: Path, after: Path) -> str:
    """The largest difference between two tables, in words."""
    one, other = pd.read_csv(before), pd.read_csv(after)
    if list(one.columns) != list(other.columns) or len(one) != len(other):
        return f"{one.shape} and {other.shape}, other columns or rows"
    words = []
    names = sorted(c[:-3] for c in one.columns if c.endswith("_qx"))
    if names:
        worst = max(names, key=lambda name: _turn_deg(one, other, name).max())
        words.append(f"{worst} turned by up to {_turn_deg(one, other, worst).max():.4f} deg")
    for ending in ("_sd_deg", "_deg", "_m"):
        columns = [c for c in one.columns if c.endswith(ending) and (ending != "_deg" or "_sd_" not in c)]
        if columns:
            apart = (one[columns] - other[columns]).abs().max().max()
            words.append(f"{ending} by up to {apart:.4f}")
    return ", ".join(words)


def _turn_deg(one: pd.DataFrame, other: pd.DataFrame, name: str) -> np.ndarray:
    """(T,) degrees between the two rotations of a segment."""
    R = [Rotation.from_quat(table[[f"{name}_q{axis}" for axis in "xyzw"]]) for table in (one, other)]
    return np.degrees((R[0].inv() * R[1]).magnitude())


if __name__ == "__main__":
    if sys.argv[1:2] == ["write"] and len(sys.argv) > 2:
        write(Path(sys.argv[2]), sys.argv[3:])
    elif sys.argv[1:2] == ["compare"] and len(sys.argv) == 4:
        sys.exit(bool(compare(Path(sys.argv[2]), Path(sys.argv[3]))))
    else:
        sys.exit(__doc__)
