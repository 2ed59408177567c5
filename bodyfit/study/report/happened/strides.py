"""Strides and activities in tables: left against right, every stride, every stretch."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ....body.anatomy import spoken
from ....files.movement.happened import ACTIVITIES, SIDES, STRIDES, Columns, Happened
from ...pages.parts import table_of
from ..tables import Row
from ..words import NONE, number, safe, spaced

MOST_ROWS = 400  # strides shown; strides.csv holds all (by reasoning: some 40 kB of page)
STRIDE_HEADER = (
    *("Foot", "#From s", "#Time s", "#Length m", "#± m", "#Speed m/s", "#Stance %", "#Both feet %"),
    *("#Toe clearance cm", "#Rise m", "#Turn °"),
)
PLACES = {
    "stride_time_s": 2, "stride_length_m": 2, "stride_length_sd_m": 3, "speed_m_s": 2, "stance_percent": 0,
    "double_support_percent": 0, "toe_clearance_m": 1, "height_change_m": 2, "turn_deg": 0,
}  # fmt: skip
CM = 100.0  # in a metre
DECIMALS = {"s": 3, "m": 3, "m/s": 3, "percent": 1, "deg": 1}  # by reasoning: a tenth of usual spreads
FORMULA = (
    "Level strides straight on. ± is one standard deviation: of sides between strides, of the difference "
    "from both spreads and, for angles, the fit’s own. Symmetry index 100 (L − R) / ((L + R) / 2): 0 alike. "
    "A difference within two standard deviations is none."
)


def sides_table(happened: Happened) -> str:
    """Left against right, or nothing."""
    told = happened.of(SIDES)
    if told is None:
        return ""
    header = ("Quantity", "#Left", "#Right", "#Left less right", "#Symmetry index %", "#Strides left, right")
    rows = [_side_row(told, n) for n in range(len(told["quantity"]))]
    return table_of("Left against right", header, rows, titled=True) + f'<p class="small">{FORMULA}</p>'


def _side_row(told: Columns, n: int) -> Row:
    unit = told["unit"][n]
    places = DECIMALS.get(unit, 3)

    def pair(value: str, sd: str, digits: int = places) -> str:
        return f"{number(float(told[value][n]), digits)} ± {number(float(told[sd][n]), digits)}"

    sign = {"percent": "%", "deg": "°"}.get(unit, unit)
    counts = f"{int(told['left_count'][n])}, {int(told['right_count'][n])}"
    return (
        f"{safe(_quantity(told['quantity'][n]))}, {safe(sign)}",
        pair("left", "left_sd"),
        pair("right", "right_sd"),
        pair("difference", "difference_sd"),
        pair("symmetry_index_percent", "symmetry_index_sd_percent", 1),
        counts,
    )


def _quantity(name: str) -> str:
    """A quantity in words: talocrural_dorsiflexion_range is the range of ankle dorsiflexion."""
    if not name.endswith("_range"):
        return spaced(name)
    joint, _, angle = name.removesuffix("_range").partition("_")
    return f"range of {spoken(joint)} {spaced(angle)}"


def strides_table(happened: Happened) -> str:
    """Every stride behind one line, or nothing."""
    told = happened.of(STRIDES)
    if told is None:
        return ""
    count = len(told["side"])
    rows = [_stride_row(told, n) for n in range(min(count, MOST_ROWS))]
    more = f"<p>The first {MOST_ROWS}; strides.csv holds all.</p>" if count > MOST_ROWS else ""
    shown = table_of("Strides, heel strike to the next of the same foot", STRIDE_HEADER, rows, titled=True)
    return f"<details><summary>{count} strides, each</summary>{shown}{more}</details>"


def _stride_row(told: Columns, n: int) -> Row:
    cells = []
    for column, places in PLACES.items():
        factor = CM if column == "toe_clearance_m" else 1.0
        cells.append(number(factor * float(told[column][n]), places))
    side = told["side"][n]
    return (safe("–" if side == "none" else side), _button(float(told["start_s"][n])), *cells)


def _button(time: float) -> str:
    return f'<button type="button" class="plain" data-time="{time:.3f}">{number(time, 2)}</button>'


def activities_table(happened: Happened) -> str:
    """Shares of time, and every stretch behind one line; or nothing."""
    told = happened.of(ACTIVITIES)
    if told is None:
        return ""
    lasted = told["end_s"] - told["start_s"]
    names = list(dict.fromkeys(told["activity"]))
    rows = [_share_row(name, lasted, told["activity"] == name) for name in names]
    header = ("Activity", "#Times", "#Seconds", "#Share of the time %")
    shares = table_of("How much of the time", header, rows, titled=True)
    stretches = [
        (safe(spaced(name)), _button(float(start)), number(float(end), 2), _sure(float(p)))
        for start, end, name, p in zip(*_of(told, ACTIVITY), strict=True)
    ]
    each = table_of("Stretches", ("Activity", "#From s", "#To s", "#Probability"), stretches, titled=True)
    return f"{shares}<details><summary>{len(lasted)} stretches, each</summary>{each}</details>"


ACTIVITY = ("start_s", "end_s", "activity", "probability")


def _of(told: Columns, names: Sequence[str]) -> list[np.ndarray]:
    return [told[name] for name in names]


def _share_row(name: str, lasted: np.ndarray, own: np.ndarray) -> Row:
    seconds = float(lasted[own].sum())
    share = 100 * seconds / float(lasted.sum())
    return safe(spaced(name)), str(int(own.sum())), number(seconds), number(share)


def _sure(probability: float) -> str:
    return number(probability, 2) if np.isfinite(probability) else NONE
