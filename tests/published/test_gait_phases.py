"""Shares of the stride and toe clearance of healthy adults at their own pace, against published values.

Sources stand beside each value in data/gait_phases.csv (printed to a percent, a millimetre); those of Perry
and Whittle from memory. Means over walkers of `foot_events_walk` (Voisard et al. 2023), straight walking.
"""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import bodyfit
from bodyfit.files.model.model_file import read_model
from bodyfit.recording.capture import Capture
from tests.regression.test_feet import unit

PUBLISHED = pd.read_csv(Path(__file__).parent / "data" / "gait_phases.csv").set_index("quantity")
WALKS = ("1-1", "5-1", "9-1", "13-1")


@pytest.fixture(scope="module")
def means(recordings):
    rows = []
    about = pd.read_csv(recordings / "foot_events_walk" / "recordings.csv").set_index("recording")
    for walk in WALKS:
        units = {
            side: dataclasses.replace(
                unit(recordings / "foot_events_walk" / walk / f"{side}_foot.parquet"),
                name=side,
                segment=f"{side[0]}_hindfoot",
            )
            for side in ("left", "right")
        }
        table = bodyfit.strides(Capture(units, read_model("lower_body"))).to_frame()
        turn = about.loc[walk]
        straight = (table.end_s < turn.uturn_start_s - 1) | (table.start_s > turn.uturn_end_s + 1)
        rows.append(table[straight & table.stride_time_s.between(0.8, 1.7)])
    table = pd.concat(rows)
    table["foot_flat_percent"] = 100 * (table.foot_flat_s - table.start_s) / table.stride_time_s
    table["mid_swing_percent"] = 100 * (table.mid_swing_s - table.start_s) / table.stride_time_s
    table["toe_clearance_mm"] = 1000 * table.toe_clearance_m
    assert len(table) > 70
    return table.mean(numeric_only=True)


@pytest.mark.parametrize("quantity", PUBLISHED.index)
def test_mean_lies_in_the_published_range(means, quantity):
    assert PUBLISHED.low[quantity] <= means[quantity] <= PUBLISHED.high[quantity]


def test_the_table_holds_ranges():
    assert np.all(PUBLISHED.low < PUBLISHED.high)
