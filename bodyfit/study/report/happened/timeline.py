"""When what was done: a lane for each activity, each foot's contacts, each movement's repetitions."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ....files.movement.happened import ACTIVITIES, EVENTS, REPETITIONS, Columns, Happened
from ...pages.parts import SCROLLS
from ..words import number, safe, spaced
from .drawing import Scale, line, picture, rectangle, text

WIDTH, MARGIN, EDGE = 960.0, 150.0, 26.0  # of the picture, of the names, right of it: chosen; not tried
LANE, BAR, FOOT = 22.0, 14.0, 20.0  # heights of a lane, of a bar in it, below all: chosen; not tried
CHANGES = "_to_"  # in the name of a change of posture
Span = tuple[float, float, str]  # start, end, words
Lane = tuple[str, str, Sequence[Span]]  # name, looks of its bars, spans


def timeline(happened: Happened, first: float, last: float) -> str:
    """The picture, or nothing where no table tells of times.

    Parameters
    ----------
    happened : tables beside the fit
    first, last : s, of its frames
    """
    lanes = [
        *_activities(happened.of(ACTIVITIES)),
        *_contacts(happened.of(EVENTS)),
        *_repetitions(happened.of(REPETITIONS)),
    ]
    if not lanes:
        return ""
    scale = Scale(first, last, MARGIN, WIDTH - EDGE)
    height = LANE * len(lanes) + FOOT + 4
    content = [part for number_, lane in enumerate(lanes) for part in _lane(lane, 4 + LANE * number_, scale)]
    content += [text(at, height - 5, words, anchor="middle") for at, words in scale.ticks(10)]
    content.append(text(WIDTH - 2, height - 5, "s", anchor="end"))
    words = "; ".join(f"{name}: {_in_words(spans)}" for name, _, spans in lanes)
    drawn = picture(WIDTH, height, f"What was done when, from {first:.0f} to {last:.0f} s. {words}", content)
    ends = f'data-left="{MARGIN:g}" data-right="{WIDTH - EDGE:g}"'
    frame = f'<div class="wide timeline" {ends} tabindex="0" role="region" aria-label="Timeline">'
    return f"{frame}{drawn}</div>{SCROLLS}"


def _lane(lane: Lane, top: float, scale: Scale) -> list[str]:
    name, looks, spans = lane
    middle = top + LANE / 2
    out = [
        text(MARGIN - 8, middle + 4, name, anchor="end"),
        line(MARGIN, middle, WIDTH - EDGE, middle, "lane-line"),
    ]
    for start, end, words in spans:
        a, b = (float(scale.at(edge)) for edge in (start, end))
        title = f"<title>{safe(words)}, {number(start, 2)} to {number(end, 2)} s</title>"
        out.append(rectangle(a, middle - BAR / 2, b - a, BAR, looks, title))
    return out


def _in_words(spans: Sequence[Span]) -> str:
    total = sum(end - start for start, end, _ in spans)
    return f"{len(spans)} times, {number(total)} s in all"


def _activities(table: Columns | None) -> list[Lane]:
    """A lane an activity in the order in which they come, all changes of posture in one."""
    if table is None:
        return []
    lanes: dict[str, list[Span]] = {}
    for start, end, name in zip(table["start_s"], table["end_s"], table["activity"], strict=True):
        lane = "changes of posture" if CHANGES in name else spaced(name)
        lanes.setdefault(lane, []).append((float(start), float(end), spaced(name)))
    looks = {"unknown": "bar unsure", "changes of posture": "bar change"}
    return [(name, looks.get(name, "bar activity"), spans) for name, spans in lanes.items()]


def _contacts(table: Columns | None) -> list[Lane]:
    """A lane a foot, a bar from each heel strike to the next toe off."""
    if table is None:
        return []
    lanes: list[Lane] = []
    for side in ("left", "right", "none"):
        own = table["side"] == side
        strikes = table["time_s"][own & (table["event"] == "heel_strike")]
        offs = np.sort(table["time_s"][own & (table["event"] == "toe_off")])
        spans: list[Span] = []
        for strike, following in zip(strikes, [*strikes[1:], np.inf], strict=False):
            after = offs[(offs > strike) & (offs < following)]
            spans += [(float(strike), float(after[0]), "foot on the ground")] if len(after) else []
        if spans:
            name = "the foot stands" if side == "none" else f"{side} foot stands"
            lanes.append((name, f"bar {'middle' if side == 'none' else side}", spans))
    return lanes


def _repetitions(table: Columns | None) -> list[Lane]:
    if table is None:
        return []
    lanes: dict[str, list[Span]] = {}
    for start, end, name in zip(table["start_s"], table["end_s"], table["movement"], strict=True):
        its = lanes.setdefault(name, [])
        its.append((float(start), float(end), f"{spaced(name)} {len(its) + 1}"))
    return [(f"{spaced(name)} ({len(spans)})", "bar repetition", spans) for name, spans in lanes.items()]
