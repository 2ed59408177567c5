"""How the report names things: sides, joints, angles, numbers; and text made safe for a page."""

from __future__ import annotations

import html
import math
from typing import Any

NONE = "–"
SIDES = {"l_": "left", "r_": "right"}
TRADE_WORDS = {
    "talocrural": "ankle",
    "radiocarpal": "wrist",
    "metatarsophalangeal": "toes",
    "skullbase": "head on trunk",
    "vl5": "trunk on pelvis",
    "sacroiliac": "sacrum",
}


def side_of(name: str) -> str:
    """Side that a joint's or segment's name tells: left, right or middle."""
    return SIDES.get(name[:2], "middle")


def other_side(name: str) -> str | None:
    """The name of the same joint on the other side of the body, or None in the middle."""
    return {"l_": "r_", "r_": "l_"}[name[:2]] + name[2:] if name[:2] in SIDES else None


def joint_label(name: str) -> str:
    """A joint or segment in the words of the trade: l_talocrural is the left ankle."""
    bare = name[2:] if name[:2] in SIDES else name
    words = TRADE_WORDS.get(bare, bare.replace("_", " "))
    return f"{SIDES[name[:2]]} {words}" if name[:2] in SIDES else words


def spaced(name: str) -> str:
    """A name with spaces where underscores stood."""
    return name.replace("_", " ")


def number(value: Any, places: int = 1) -> str:
    """A number with so many decimals and a true minus sign, or a dash."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        return NONE
    text = f"{value:.{places}f}"
    return text.replace("-", "−") if float(text) else text.lstrip("-")


def vector(values: Any, places: int = 1, scale: float = 1.0) -> str:
    """Numbers one after the other, or a dash."""
    return ", ".join(number(scale * value, places) for value in values) if values else NONE


def safe(value: Any) -> str:
    """Text from a file for a page: nothing in it is taken for markup; None is a dash."""
    return NONE if value is None or value == "" else html.escape(str(value))
