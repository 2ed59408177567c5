"""cycles.csv holds cycles of strides and of repetitions at once."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from bodyfit.files.movement.column_tables import write_cycles


def cycles(joint, *movements):
    rows = 3 * len(movements)
    return {
        "percent": np.tile([0.0, 50.0, 100.0], len(movements)),
        f"{joint}_flexion_mean_deg": np.arange(rows) + 0.5,
        f"{joint}_flexion_sd_deg": np.full(rows, np.nan),
        "cycles": np.full(rows, 4),
        "movement": np.repeat(np.array(movements, object), 3),
    }


STRIDES, LIFTS = cycles("l_knee", "left", "right"), cycles("r_elbow", "lift")


@pytest.mark.parametrize("strides_first", [True, False])
def test_each_keeps_the_other(tmp_path, strides_first):
    for of_strides in (strides_first, not strides_first):
        write_cycles(STRIDES if of_strides else LIFTS, tmp_path, of_strides)
    table = pd.read_csv(tmp_path / "cycles.csv")
    assert next(iter(table)) == "percent" and list(table)[-2:] == ["cycles", "movement"]
    assert sorted(table.movement.unique()) == ["left", "lift", "right"] and len(table) == 9
    lift = table[table.movement == "lift"]
    assert (
        lift.r_elbow_flexion_mean_deg.tolist() == [0.5, 1.5, 2.5]
        and lift.l_knee_flexion_mean_deg.isna().all()
    )
    assert table.cycles.dtype.kind == "i"


def test_a_second_run_replaces_its_own(tmp_path):
    write_cycles(STRIDES, tmp_path, True)
    write_cycles(cycles("l_knee", "left"), tmp_path, True)
    assert pd.read_csv(tmp_path / "cycles.csv").movement.tolist() == ["left"] * 3


def test_no_cycles_write_nothing(tmp_path):
    assert write_cycles(cycles("l_knee"), tmp_path, False) == ()
    assert not list(tmp_path.iterdir())
