"""Where the body went, from above and from the side, with the prints of both feet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ....body.anatomy import FEET
from ....files.motion.pose_tables import SegmentTable, read_segments
from ....files.movement.happened import STRIDES, Columns, Happened
from ..words import number
from .drawing import Scale, course, line, picture, text

BY_SIDE = dict(zip(("left", "right"), FEET, strict=True))
LEAST_WAY = 0.5  # m from end to end, below which a path is not worth a picture (by reasoning)
WIDTH, MOST_HEIGHT, MARGIN = 460.0, 420.0, 34.0  # of a picture: chosen; not tried
POINTS = 1500  # of a path, evenly taken (by reasoning: finer than it is drawn)
PRINT = 3.2  # radius of a print: chosen; not tried


@dataclass(frozen=True, eq=False)
class Path2:
    """A path in a plane: across and up the picture, m, and prints of feet likewise."""

    title: str
    across: tuple[str, np.ndarray]
    up: tuple[str, np.ndarray]
    prints: Mapping[str, tuple[np.ndarray, np.ndarray]]


def path_pictures(happened: Happened, segments: Path) -> str:
    """Both pictures, or nothing where nobody went anywhere or no stride was found.

    Parameters
    ----------
    happened : tables beside the fit
    segments : segments.csv of the fit
    """
    strides = happened.of(STRIDES)
    if strides is None:
        return ""
    moved = read_segments(segments)
    place = next(iter(moved.positions.values()), None)  # the root stands first
    if place is None or float(np.ptp(place[:, [0, 2]], axis=0).max()) < LEAST_WAY:
        return ""
    forward = _main_direction(place)
    prints = _prints(moved, strides)
    way = float(np.nansum(np.linalg.norm(np.diff(place[:, [0, 2]], axis=0), axis=1)))
    step = max(1, len(place) // POINTS)
    drawn = [
        _drawn(view) for view in (_above(place[::step], prints), _beside(place[::step], prints, forward))
    ]
    rise = number(float(np.ptp(place[:, 1])), 2)
    words = (
        f"The root of the body, {number(way)} m of way, {rise} m between its lowest and highest; prints "
        "where each foot stood flat. Heading and place are relative to the start unless a magnetometer or "
        "the capture says more; both drift with the way (summary.json, root_path)."
    )
    return f'<div class="paths">{"".join(drawn)}</div><p class="small">{words}</p>'


def _main_direction(place: np.ndarray) -> np.ndarray:
    """(2,) level direction, x and z, along which most of the way lies."""
    level = place[:, [0, 2]] - place[:, [0, 2]].mean(0)
    return np.linalg.svd(level, full_matrices=False)[2][0]


def _prints(moved: SegmentTable, strides: Columns) -> dict[str, np.ndarray]:
    """Side -> (n, 3) m, the foot where it stood flat, at the start of every stride and after the last."""
    out = {}
    for side, segment in BY_SIDE.items():
        place, own = moved.positions.get(segment), strides["side"] == side
        if place is None or not own.any():
            continue
        flat = strides["foot_flat_s"][own]
        when = np.where(np.isfinite(flat), flat, strides["start_s"][own])
        out[side] = np.stack([np.interp(when, moved.time, place[:, k]) for k in range(3)], 1)
    return out


def _above(place: np.ndarray, prints: Mapping[str, np.ndarray]) -> Path2:
    """From above: the first axis to the right, the third towards the reader, as on a map with +X east."""
    return Path2(
        "From above",
        ("+X, m", place[:, 0]),
        ("−Z, m", -place[:, 2]),
        {side: (its[:, 0], -its[:, 2]) for side, its in prints.items()},
    )


def _beside(place: np.ndarray, prints: Mapping[str, np.ndarray], forward: np.ndarray) -> Path2:
    """From the side, along the direction in which most of the way lies."""
    return Path2(
        "From the side",
        ("along the way, m", place[:, [0, 2]] @ forward),
        ("height, m", place[:, 1]),
        {side: (its[:, [0, 2]] @ forward, its[:, 1]) for side, its in prints.items()},
    )


def _drawn(view: Path2) -> str:
    """One view, metres alike across and up."""
    xs = np.concatenate([view.across[1], *(its[0] for its in view.prints.values())])
    ys = np.concatenate([view.up[1], *(its[1] for its in view.prints.values())])
    wide, high = max(float(np.ptp(xs)), 0.5), max(float(np.ptp(ys)), 0.5)
    inner = WIDTH - 2 * MARGIN
    scale = min(inner / wide, (MOST_HEIGHT - 2 * MARGIN) / high)
    height = scale * high + 2 * MARGIN
    left = float(xs.min()) - (inner / scale - wide) / 2
    x = Scale(left, left + inner / scale, MARGIN, WIDTH - MARGIN)
    y = Scale(float(ys.min()), float(ys.min()) + high, height - MARGIN, MARGIN)
    content = [*_axes(view, x, y, height), course(x.at(view.across[1]), y.at(view.up[1]), "way")]
    for side, (a, b) in view.prints.items():
        content += [_print(float(u), float(v), side) for u, v in zip(x.at(a), y.at(b), strict=True)]
    start = text(float(x.at(view.across[1][0])) + 5, float(y.at(view.up[1][0])) - 5, "start", "title")
    counts = ", ".join(f"{len(a)} {side}" for side, (a, _) in view.prints.items())
    label = f"{view.title}: a way {number(wide)} m wide and {number(high, 2)} m high, prints: {counts}"
    drawn = picture(WIDTH, height, label, [*content, start])
    return f"<figure><figcaption>{view.title}</figcaption>{drawn}</figure>"


def _axes(view: Path2, x: Scale, y: Scale, height: float) -> Sequence[str]:
    out = []
    for at, words in x.ticks(6):
        out += [line(at, MARGIN, at, height - MARGIN, "grid")]
        out += [text(at, height - MARGIN + 13, words, anchor="middle")]
    for at, words in y.ticks(4):
        out += [line(MARGIN, at, WIDTH - MARGIN, at, "grid"), text(MARGIN - 4, at + 4, words, anchor="end")]
    return [
        *out,
        text(WIDTH - MARGIN, height - 4, view.across[0], anchor="end"),
        text(2, 12, view.up[0]),
    ]


def _print(x: float, y: float, side: str) -> str:
    """A print: a ring of the left, a disc of the right."""
    return f'<circle class="print {side}" cx="{x:.1f}" cy="{y:.1f}" r="{PRINT}"/>'
