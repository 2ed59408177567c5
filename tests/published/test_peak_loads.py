"""Limits of the review against the fastest and strongest published motions.

data/peak_loads.csv: a peak a row with its source; all of them from memory, none looked up. A limit lies
above what people have done, or the strongest would be told that they can't be people, and at most three
times above, or it would find nothing.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from bodyfit.study.review.limits import FASTEST_DEG_S, TORQUE

PEAKS = pd.read_csv(Path(__file__).parent / "data" / "peak_loads.csv")
LIMITS = {"torque": TORQUE, "rate": FASTEST_DEG_S}
MOST = 3.0
WRIST = 4.2  # whose strength is that of a slow effort, not of a throw


@pytest.mark.parametrize("peak", list(PEAKS.itertuples()), ids=lambda p: f"{p.joint} {p.quantity}")
def test_a_limit_lies_above_what_people_have_done_and_not_far_above(peak) -> None:
    most = WRIST if (peak.joint, peak.quantity) == ("radiocarpal", "torque") else MOST
    assert 1.0 < LIMITS[peak.quantity][peak.joint].value / peak.value <= most


def test_every_limit_of_torque_has_a_peak() -> None:
    assert set(PEAKS.joint[PEAKS.quantity == "torque"]) == set(TORQUE)
