"""cycles.csv keeps strides, also of stairs, and repetitions; sides.csv goes where nothing is compared."""

from __future__ import annotations

import numpy as np
import pandas as pd

from bodyfit.files.movement.column_tables import write_cycles
from bodyfit.files.movement.sides_file import write_sides
from bodyfit.movement.cycles.curves import Cycles, columns_of
from bodyfit.movement.cycles.left_right import left_right


def columns(movement: str, bend: float) -> dict[str, np.ndarray]:
    percent = np.linspace(0, 100, 101)
    curve = {"l_knee": {"flexion": np.full(101, np.radians(bend))}}
    return columns_of([Cycles(movement, percent, curve, curve, 5)])


def bends(out) -> dict[str, float]:
    table = pd.read_csv(out / "cycles.csv")
    assert list(table.columns[-2:]) == ["cycles", "movement"]
    return table.groupby("movement").l_knee_flexion_mean_deg.mean().round(3).to_dict()


def test_strides_and_repetitions_stand_side_by_side(tmp_path):
    write_cycles(columns("left", 60.0), tmp_path, True)
    write_cycles(columns("squat", 90.0), tmp_path, False)
    assert bends(tmp_path) == {"left": 60.0, "squat": 90.0}
    write_cycles(columns("left_up", 70.0), tmp_path, True)  # strides anew
    assert bends(tmp_path) == {"left_up": 70.0, "squat": 90.0}
    write_cycles(columns("lunge", 80.0), tmp_path, False)  # repetitions anew
    assert bends(tmp_path) == {"left_up": 70.0, "lunge": 80.0}


def test_sides_that_are_not_compared_leave_no_file(tmp_path):
    row = left_right("stance", "share", np.array([0.6, 0.62]), np.array([0.6, 0.6]))
    (path,) = write_sides([row], tmp_path)
    table = pd.read_csv(path)
    assert table.unit[0] == "percent" and table.left[0] == 61.0 and table.difference[0] == 1.0
    assert write_sides([], tmp_path) == () and not path.exists()
