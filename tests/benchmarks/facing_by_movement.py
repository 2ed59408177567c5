"""Which units' facing one movement alone makes known, on the real ten-unit person: a row a movement.

`python tests/benchmarks/facing_by_movement.py` prints each unit's deviation about the vertical of the pose
(`-`: nobody can tell), and how far it is off what three movements together say, whose joint angles agree with
cameras (tests/regression/test_ten_units.py). Not a test: it takes a minute or two.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).parents[1]))
from ten_units import recorded

import bodyfit

PERSON = Path(__file__).resolve().parents[3] / "shared" / "data" / "people_ten_units"
TOLD = (
    "chest",
    "pelvis",
    "left_thigh",
    "right_thigh",
    "left_shank",
    "right_shank",
    "left_foot",
    "right_foot",
)
WRONG_DEG, SURE_DEG = 45.0, 20.0


def fitted(movements: tuple[str, ...], turned: int | None) -> bodyfit.Fit:
    """A fit of the pose and these movements."""
    one = recorded(PERSON, movements, turned=turned)
    return bodyfit.fit(one.capture, sensors=("accelerometer", "gyroscope"))


def facing(found: bodyfit.Fit, like: bodyfit.Fit, unit: str) -> tuple[float, float]:
    """How far a unit faces off another fit's, and its deviation, degrees."""
    M, covariance = found.mounting[unit]
    E = M @ like.mounting[unit][0].T
    off = np.degrees(np.arctan2(E[0, 2] - E[2, 0], E[0, 0] + E[2, 2]))
    return abs(float(off)), float(np.degrees(np.sqrt(covariance[1, 1])))


def main() -> None:
    """Prints the table."""
    names = sorted(p.name for p in PERSON.iterdir() if p.is_dir() and p.name != "Pose")
    like, wrong = fitted(("Walk", "Lunge", "SqDL"), None), 0
    print("movement", *TOLD)
    for name in names:
        found = fitted((name,), None)
        cells = [facing(found, like, unit) for unit in TOLD]
        wrong += sum(off > WRONG_DEG and sd < SURE_DEG for off, sd in cells)
        print(name, *(f"{sd:.0f}/{off:.0f}" if sd < SURE_DEG else "-" for off, sd in cells), flush=True)
    print(f"wrong while sure: {wrong} of {len(names) * len(TOLD)}")


if __name__ == "__main__":
    main()
