"""How well clocks that were put wrong are found again, from milliseconds to seconds.

python docs/clocks_study.py [SEEDS]
"""

from __future__ import annotations

import dataclasses
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import recordings as real
from simulated import free_body

import bodyfit
from bodyfit.calibration.clocks.unit_clocks import neighbours, unit_clocks
from bodyfit.calibration.intake import examine
from bodyfit.files.motion.motion_file import read_motion
from bodyfit.recording.capture import Capture, Unit
from bodyfit.recording.single_units import unaided
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate

SEEDS, OFFSET_S, RATE = 12, 0.2, 1e-4
LATE_S = (0.4, 12.0)  # s, of one unit, either way
RIGHT_S = 0.02  # s, within which what is told is right: half a sample at 25 Hz


def small() -> None:
    """Prints what is left of each seed's offsets of all units, and the recording's own."""
    capture = bodyfit.read_capture(real.DATA / "chain_rigid")
    units = list(capture.units.values())
    middle = 0.5 * (units[0].time[0] + units[0].time[-1])

    def offsets(some: list[Unit]) -> np.ndarray:
        return unit_clocks(unaided(some), neighbours(some, capture.model)).offset

    own, left = offsets(units), []
    for seed in range(SEEDS):
        rng = np.random.default_rng(seed)
        by, rate = (rng.uniform(-most, most, len(units)) for most in (OFFSET_S, RATE))
        late = [
            dataclasses.replace(unit, time=unit.time + a + b * (unit.time - middle))
            for unit, a, b in zip(units, by, rate, strict=True)
        ]
        error = offsets(late) - own - by
        left.append(np.abs(error - np.median(error)).max())
    print(f"the recording's own: {1e3 * np.abs(own).max():.2f} ms at most")
    print(f"put in and found again within {1e3 * max(left):.2f} ms")


def captures(seed: int) -> Iterator[tuple[str, Capture]]:
    """Demos, recordings and simulated wearers of recorded motions whose units have neighbours."""
    root = Path(__file__).resolve().parents[1] / "demo_captures"
    folders = [path.parent for where in (root, real.DATA) for path in sorted(where.glob("*/setup.toml"))]
    for folder in folders:
        capture = bodyfit.read_capture(folder)
        if neighbours(_both(capture), capture.model):
            yield folder.name, capture
    softness = np.random.default_rng(seed).uniform(0.0, 3.0)
    settings = SimulationSettings(soft_tissue_deg_per_g=softness, soft_tissue_mm_per_g=5 / 3 * softness)
    for path in sorted((real.DATA / "motions_isb").glob("*.parquet")):
        poses = read_motion(path)
        yield path.stem, simulate(poses, None, settings, seed, model=free_body(poses.model)).capture


def _both(capture: Capture) -> list[Unit]:
    return [u for u in capture.units.values() if {"accelerometer", "gyroscope"} <= u.sensors]


def told(capture: Capture, late: dict[str, float]) -> str:
    """What the intake says of units late by these seconds: right, one of several lags, nothing, or wrong."""
    found = examine(capture, refuse=False).findings
    offsets = [f for f in found if f.kind == "clock-offset" and f.value is not None]
    said = {f.units[0]: 1e-3 * f.value for f in offsets if f.value is not None}
    off = np.array([said.get(u, 0.0) - late.get(u, 0.0) for u in capture.units])
    if any("which is right is not known" in f.what for f in offsets):
        off -= off.mean()  # only their difference is told
    adrift = {u for f in found if f.kind == "clock-adrift" for u in f.units}
    if np.abs(off).max() <= RIGHT_S:
        return "right" if not adrift else "right, and another doubted"
    if adrift & set(late):
        return "one of several lags"
    return "wrong" if any(abs(s) > RIGHT_S for s in said.values()) else "nothing"


def seconds(seed: int) -> None:
    """Prints how often one unit that is seconds late is told, and sound captures are not."""
    rng, counts = np.random.default_rng([seed, 53]), Counter[tuple[str, str]]()
    for name, capture in captures(seed):
        unit = rng.choice([u.name for u in _both(capture)])
        by = float(rng.choice([-1, 1]) * rng.uniform(*LATE_S))
        moved = dataclasses.replace(capture.units[unit], time=capture.units[unit].time + by)
        first, last = (f(u.time[e] for u in capture.units.values()) for f, e in ((max, 0), (min, -1)))
        cases = {"on time": (capture, {})}
        if last - first > abs(by) + 1.0:
            late = dataclasses.replace(capture, units={**capture.units, unit: moved})
            cases["late"] = late, {unit: by}
        for which, (one, true) in cases.items():
            came = told(one, true)
            counts[which, came] += 1
            if came != "right":
                print(f"  {name}, {which}, {', '.join(f'{u} by {s:.2f} s' for u, s in true.items())}: {came}")
    print(f"seed {seed}:", ", ".join(f"{which}, {came}: {n}" for (which, came), n in sorted(counts.items())))


if __name__ == "__main__":
    small()
    for seed in range(int(sys.argv[1]) if len(sys.argv) > 1 else 1):
        seconds(seed)
