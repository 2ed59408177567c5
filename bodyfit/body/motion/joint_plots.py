"""Pictures for papers: joint angles over time with their 95 % band and published range, by matplotlib."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import numpy as np

from ...core.colours import RANGE, SIDES
from ...core.robust import BAND_95
from ...errors import InputError, suggest
from ..anatomy import side_and_part
from .poses import PoseSequence

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

VAGUE_DEG = 90.0  # half band from which an angle says nothing, next to gimbal lock: it does not set the scale
HALF_TURN_DEG = 180.0  # half band of an angle that may be any
LABEL = 22  # letters of a line beside an axis
COLUMN_INCHES, ROW_INCHES = 3.6, 1.7
# sides differ by their line as well
LOOKS = {
    "l": {"color": SIDES["left"], "linestyle": "--", "label": "left"},
    "r": {"color": SIDES["right"], "linestyle": "-", "label": "right"},
    "": {"color": SIDES["middle"], "linestyle": "-", "label": "estimate"},
}
# What a positive angle means, by joint without its side: the table of docs/conventions.md
_TRUNK = {"flexion": "forward", "lateral_bend": "to the right", "axial_rotation": "to the left"}
_LEG = {"internal_rotation": "toes inwards"}
POSITIVE = {
    "vl5": _TRUNK,
    "skullbase": _TRUNK,
    "hip": _LEG | {"flexion": "knee forward", "adduction": "knee inwards"},
    "knee": _LEG | {"flexion": "foot backward", "adduction": "foot inwards"},
    "talocrural": _LEG | {"dorsiflexion": "toes up", "inversion": "sole inwards"},
    "shoulder": {
        "plane_of_elevation": "0 abduction, 90 forward",
        "elevation": "0 hanging, −180 overhead",
        "axial_rotation": "bent forearm inwards",
        "flexion": "arm forward",
        "abduction": "arm outwards",
        "internal_rotation": "bent forearm inwards",
    },
    "elbow": {"flexion": "hand forward", "carrying_angle": "hand inwards", "pronation": "palm backward"},
    "radiocarpal": {
        "flexion": "to the palm side",
        "ulnar_deviation": "to the little finger",
        "rotation": "as pronation",
    },
}


def joint_figure(
    poses: PoseSequence, names: Sequence[str], sd: Mapping[str, Mapping[str, np.ndarray]] | None = None
) -> Figure:
    """A matplotlib figure of joint angles: a row an angle, a column a joint, left and right in one.

    Parameters
    ----------
    poses : the motion
    names : joints, e.g. ["l_knee", "r_knee", "r_hip"]
    sd : joint -> angle -> (T,) rad, or None: no band is drawn

    Returns
    -------
    matplotlib.figure.Figure, in degrees over s; it belongs to no window, and is written by its `savefig`

    Raises
    ------
    InputError
        A joint that the body does not have, or no joint at all.
    """
    from .shown_figure import ShownFigure

    columns = _columns(poses, names)
    figure = ShownFigure(
        figsize=(COLUMN_INCHES * len(columns) + 0.8, 3 * ROW_INCHES + 0.8), layout="constrained"
    )
    axes = figure.subplots(3, len(columns), sharex=True, squeeze=False)
    for column, (bare, joints) in zip(axes.T, columns, strict=True):
        column[0].set_title(bare.replace("_", " "))
        column[-1].set_xlabel("time, s")
        for row, panel in enumerate(column):
            _panel(panel, poses, bare, joints, row, sd or {})
    drawn = [axes.get_legend_handles_labels() for axes in figure.axes]
    by_label = {
        label: handle for handles, labels in drawn for handle, label in zip(handles, labels, strict=True)
    }
    figure.legend(
        by_label.values(), by_label, loc="outside upper center", ncols=3, frameon=False, fontsize="small"
    )
    return figure


def _columns(poses: PoseSequence, names: Sequence[str]) -> list[tuple[str, list[str]]]:
    """Joints without their side, each with those to draw: both sides where the same angles tell them."""
    if not names:
        raise InputError(f"joints to draw: found none, {suggest('', poses.model.joints)}")
    columns: dict[tuple[str, ...], list[str]] = {}
    for name in dict.fromkeys(names):
        if name not in poses.model.joints:
            raise InputError(f"joint to draw: found {name!r}; {suggest(name, poses.model.joints)}")
        part, told = side_and_part(name)[1], poses.model.joints[name].angles
        columns.setdefault((part, *told), []).append(name)
    return [(part, joints) for (part, *_), joints in columns.items()]


def _panel(
    panel: Axes,
    poses: PoseSequence,
    bare: str,
    joints: Sequence[str],
    row: int,
    sd: Mapping[str, Mapping[str, np.ndarray]],
) -> None:
    """One angle of a joint, of both sides where both are asked for."""
    first = poses.model.joints[joints[0]]
    angle = first.angles[row]
    panel.set_ylabel(_label(bare, angle), fontsize="small")
    if angle in first.range:
        low, high = np.degrees(first.range[angle])
        panel.axhspan(low, high, color=RANGE, linewidth=0, zorder=0, label="published range")
    extents = []
    for name in joints:
        look: dict[str, Any] = LOOKS[side_and_part(name)[0]]
        own = poses.model.joints[name].angles[row]
        half = sd[name][own] * np.degrees(BAND_95) if own in sd.get(name, {}) else None
        degrees = np.degrees(_known(poses.joint_angles[name][own], half))
        time, drawn, half_drawn = _broken(poses.time, degrees, half)
        panel.plot(time, drawn, linewidth=1.1, **look)
        if half_drawn is not None:
            low, high = drawn - half_drawn, drawn + half_drawn
            tint: dict[str, Any] = {"color": look["color"], "alpha": 0.2, "linewidth": 0}
            panel.fill_between(time, low, high, label=f"95 % band, {look['label']}", **tint)
        extents.append(_extent(drawn, half_drawn))
    panel.set_ylim(min(low for low, _ in extents), max(high for _, high in extents))
    panel.margins(x=0)


def _label(bare: str, angle: str) -> str:
    """Angle, unit, and what positive is."""
    word = POSITIVE.get(bare, {}).get(angle, "")
    sign = "" if word.startswith("0") else "+ "
    return "\n".join([f"{angle.replace('_', ' ')}, °", *(wrap(f"({sign}{word})", LABEL) if word else [])])


def _known(angle: np.ndarray, half_deg: np.ndarray | None) -> np.ndarray:
    """(T,) rad; NaN where the 95 % band is as wide as a turn: not known."""
    return angle if half_deg is None else np.where(half_deg >= HALF_TURN_DEG, np.nan, angle)


def _broken(
    time: np.ndarray, degrees: np.ndarray, half: np.ndarray | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray | None]:
    """The same without jumps of a turn, with a hole where samples lack or a turn can't be followed.

    Where an angle passes ±180° it goes on, so that the curve is whole; next to gimbal lock, where its band is
    wide, nobody knows which way it passed: the curve starts anew within ±180°.
    """
    step, jump = np.diff(time), np.diff(degrees)
    turned = np.abs(jump) > 180.0
    vague = np.zeros(len(jump), bool) if half is None else np.maximum(half[1:], half[:-1]) > VAGUE_DEG
    hole = (turned & vague) | (step > 2.5 * np.median(step))
    turns = np.cumsum(np.where(turned & ~hole, -np.sign(jump), 0.0))
    since = np.maximum.accumulate(np.where(hole, np.arange(len(jump)), -1))
    degrees = degrees + 360.0 * np.insert(turns - np.where(since < 0, 0.0, turns[since]), 0, 0.0)
    holes = np.flatnonzero(hole) + 1
    widened = [np.insert(values, holes, np.nan) for values in (degrees, *([] if half is None else [half]))]
    return np.insert(time, holes, time[holes]), widened[0], widened[1] if half is not None else None


def _extent(degrees: np.ndarray, half: np.ndarray | None) -> tuple[float, float]:
    """Ends of the axis: the curve where it says something, and what of the band does not flatten it."""
    half = np.zeros(len(degrees)) if half is None else half
    known = np.isfinite(degrees) & (half <= VAGUE_DEG)
    known = known if known.any() else np.isfinite(degrees)
    if not known.any():
        return -10.0, 10.0
    low, high = float(degrees[known].min()), float(degrees[known].max())
    room = min(float(half[known].max()), max(high - low, 20.0) / 2) + max(0.06 * (high - low), 2.0)
    return low - room, high + room
