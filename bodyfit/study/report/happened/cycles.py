"""Curves over the cycle: mean and spread of every angle, left and right in one picture in their colours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ....body.anatomy import side_and_part, spoken
from ....files.movement.column_tables import OF_STRIDES
from ....files.movement.happened import CURVES, Columns, Happened
from ...pages.ticks import ticks
from ..words import safe, side_of, spaced
from .drawing import Scale, band, course, line, picture, text

WIDTH, HEIGHT = 300.0, 170.0  # of a picture; chosen; not tried
LEFT, RIGHT, TOP, FOOT = 34.0, 16.0, 22.0, 30.0  # margins; chosen; not tried
ROOM = 0.08  # of the scale above and below the curves (common practice)
GROUNDS = {"": "level, straight on", "_up": "up stairs or a slope", "_down": "down stairs or a slope"}
Angles = tuple[str, ...]  # names of joint and angle columns without their endings
Curve = tuple[str, str, np.ndarray, np.ndarray, np.ndarray]  # side, label, percent, mean, sd


def cycle_pictures(happened: Happened, joints: Mapping[str, Sequence[str]]) -> str:
    """All curves, strides by ground first, then each movement; or nothing.

    Parameters
    ----------
    happened : tables beside the fit
    joints : joint -> its angles, in the order of the body
    """
    told = happened.of(CURVES)
    if told is None:
        return ""
    groups = {
        f"Strides, {words}": [side + ending for side in ("left", "right")]
        for ending, words in GROUNDS.items()
    }
    others = [name for name in dict.fromkeys(told["movement"]) if name not in OF_STRIDES]
    groups |= {f"Repetitions of {spaced(name)}": [name] for name in others}
    return "".join(_group(told, title, names, joints) for title, names in groups.items())


def _group(told: Columns, title: str, movements: Sequence[str], joints: Mapping[str, Sequence[str]]) -> str:
    rows = {name: told["movement"] == name for name in movements}
    counts = {name: int(told["cycles"][own][0]) for name, own in rows.items() if own.any()}
    if not counts:
        return ""
    pictures = [
        drawn
        for part, angle, both in _angles_of(joints)
        if (drawn := _one(part, angle, _curves(told, rows, both, angle)))
    ]
    cycles = ", ".join(_count(name, count) for name, count in counts.items())
    return (
        f'<h3>{safe(title)}</h3><p class="small">{safe(cycles)}. Left: dashed green; right: solid plum. '
        "Band: one standard deviation between cycles, none for a single one; how sure the fit is of an angle "
        "is not in it: a whole curve may be off by the mean SD in the table of joints.</p>"
        f'<div class="small-multiples">{"".join(pictures)}</div>'
    )


def _count(name: str, count: int) -> str:
    side = name.split("_")[0]
    which = f" of the {side}" if name in OF_STRIDES else ""
    return f"{count} cycle{'' if count == 1 else 's'}{which}"


def _angles_of(joints: Mapping[str, Sequence[str]]) -> list[tuple[str, str, list[str]]]:
    """(part, angle, joints that have it): both sides of a joint together, in the order of the body."""
    together: dict[tuple[str, str], list[str]] = {}
    for joint, angles in joints.items():
        for angle in angles:
            together.setdefault((side_and_part(joint)[1], angle), []).append(joint)
    return [(part, angle, names) for (part, angle), names in together.items()]


def _curves(told: Columns, rows: Mapping[str, np.ndarray], joints: Sequence[str], angle: str) -> list[Curve]:
    out: list[Curve] = []
    for movement, own in rows.items():
        for joint in joints:
            mean = told.get(f"{joint}_{angle}_mean_deg")
            if mean is None or not np.isfinite(mean[own]).any():
                continue
            side = side_of(joint)
            if side == "middle" and movement in OF_STRIDES:
                side = movement.split("_")[0]
            sd = told.get(f"{joint}_{angle}_sd_deg", np.full(len(mean), np.nan))
            out.append((side, spoken(joint), told["percent"][own], mean[own], sd[own]))
    return out


def _one(part: str, angle: str, curves: Sequence[Curve]) -> str:
    """The picture of one angle, or nothing where it is not known."""
    if not curves:
        return ""
    spread = [np.nan_to_num(sd) for *_, sd in curves]
    low = min(float(np.nanmin(mean - s)) for (*_, mean, _), s in zip(curves, spread, strict=True))
    high = max(float(np.nanmax(mean + s)) for (*_, mean, _), s in zip(curves, spread, strict=True))
    room = ROOM * max(high - low, 1.0)
    x = Scale(0.0, 100.0, LEFT, WIDTH - RIGHT)
    y = Scale(low - room, high + room, HEIGHT - FOOT, TOP)
    content = [text(2, 13, f"{spoken(part)}: {spaced(angle)}, °", "title"), *_grid(x, y)]
    for side, _, percent, mean, sd in curves:
        content.append(band(x.at(percent), y.at(mean - sd), y.at(mean + sd), f"band {side}"))
    content += [course(x.at(percent), y.at(mean), f"curve {side}") for side, _, percent, mean, _ in curves]
    told = "; ".join(
        f"{label} from {np.nanmin(mean):.0f} to {np.nanmax(mean):.0f}°" for _, label, _, mean, _ in curves
    )
    return picture(WIDTH, HEIGHT, f"{spoken(part)} {spaced(angle)} over the cycle: {told}", content)


def _grid(x: Scale, y: Scale) -> list[str]:
    out = []
    for tick in ticks(y.low, y.high, 4):
        place = y.start + tick.at * (y.end - y.start)
        out += [
            line(x.start, place, x.end, place, "grid"),
            text(x.start - 4, place + 4, tick.text, anchor="end"),
        ]
    for at, words in x.ticks(4):
        out.append(text(at, HEIGHT - FOOT + 14, words, anchor="middle"))
    out.append(text((x.start + x.end) / 2, HEIGHT - 3, "% of the cycle", anchor="middle"))
    return out
