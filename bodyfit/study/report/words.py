"""How the report names things: sides, joints, angles, numbers; and text made safe for a page."""

from __future__ import annotations

import html
import math
from typing import Any

from ...body.anatomy import SIDE_WORDS, side_and_part
from ...core.cards import NONE as NONE
from ...core.cards import decimals

NOT_KNOWN = "not known"


def side_of(name: str) -> str:
    """Side that a joint's or segment's name tells: left, right or middle."""
    return SIDE_WORDS.get(side_and_part(name)[0], "middle")


def spaced(name: str) -> str:
    """A name with spaces where underscores stood."""
    return name.replace("_", " ")


def number(value: Any, places: int = 1) -> str:
    """A number with so many decimals and a true minus sign, or a dash."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        return NONE
    return decimals(value, places).replace("-", "−")


def vector(values: Any, places: int = 1, scale: float = 1.0) -> str:
    """Numbers one after the other, or a dash."""
    cells = [None if value is None else scale * value for value in values or ()]
    return ", ".join(number(cell, places) for cell in cells) if cells else NONE


def safe(value: Any) -> str:
    """Text from a file for a page: nothing in it is taken for markup; None is a dash."""
    return NONE if value is None or value == "" else html.escape(str(value))
