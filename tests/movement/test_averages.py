"""Means and spreads of strides by side, as a terminal and a notebook show them."""

from __future__ import annotations

from bodyfit.movement.strides.averages import QUANTITIES, averages

ROW = dict.fromkeys((column for column, *_ in QUANTITIES.values()), None) | {"side": "left"}
ROWS = [
    ROW | {"stride_time_s": 1.0, "turn_deg": -30.0, "toe_clearance_m": 0.02},
    ROW | {"stride_time_s": 1.2, "turn_deg": 30.0},
    ROW | {"side": "right"},
]


def test_each_side_has_a_column_and_what_is_not_known_stays_open() -> None:
    heads, rows = averages(ROWS, ["left", "right"])
    assert heads == ("per stride", ">left", ">right")
    table = {name: cells for name, *cells in rows}
    assert table["strides"] == ["2", "1"]
    assert table["stride time, s"] == ["1.10 ± 0.10", "–"]
    assert table["toe clearance, cm"] == ["2.0 ± 0.0", "–"]


def test_of_turns_the_size_counts() -> None:
    _, rows = averages(ROWS, [])
    assert dict((name, cells[0]) for name, *cells in rows)["turn, °"] == "30 ± 0"


def test_a_side_without_strides_is_shown_and_one_foot_is_called_so() -> None:
    heads, rows = averages([ROW | {"side": "none"}], ["none", "left"])
    assert heads == ("per stride", ">one foot", ">left")
    assert rows[0] == ("strides", "1", "0")
