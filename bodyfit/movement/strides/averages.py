"""Means and spreads of strides by side: what a terminal and a notebook show of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from ...core.cards import NONE

# words -> column of strides.csv, factor, decimals (by reasoning); of falls and turns the size counts
QUANTITIES = {
    "stride time, s": ("stride_time_s", 1, 2),
    "stride length, m": ("stride_length_m", 1, 2),
    "speed, m/s": ("speed_m_s", 1, 2),
    "stance, %": ("stance_percent", 1, 1),
    "both feet stand, %": ("double_support_percent", 1, 1),
    "toe clearance, cm": ("toe_clearance_m", 100, 1),
    "rise or fall, m": ("height_change_m", 1, 2),
    "turn, °": ("turn_deg", 1, 0),
}
UNSIGNED = ("height_change_m", "turn_deg")


def averages(
    rows: Sequence[Mapping[str, Any]], sides: Iterable[str]
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """A table of means ± standard deviations over strides, a column a side.

    Parameters
    ----------
    rows : strides, column of strides.csv -> value or None
    sides : to show, besides those of the strides

    Returns
    -------
    headings : those of numbers start with >
    cells : of each row; – where nothing is known
    """
    shown = list(dict.fromkeys([*sides, *(row["side"] for row in rows)]))
    of = {side: [row for row in rows if row["side"] == side] for side in shown}
    heads = ("per stride", *(f">{'one foot' if side == 'none' else side}" for side in shown))
    count = ("strides", *(str(len(of[side])) for side in shown))
    table = [(words, *(_spread(of[side], *how) for side in shown)) for words, how in QUANTITIES.items()]
    return heads, (count, *table)


def _spread(rows: Sequence[Mapping[str, Any]], column: str, factor: float, decimals: int) -> str:
    known = [factor * row[column] for row in rows if row[column] is not None]
    known = [abs(value) for value in known] if column in UNSIGNED else known
    return f"{np.mean(known):.{decimals}f} ± {np.std(known):.{decimals}f}" if known else NONE
