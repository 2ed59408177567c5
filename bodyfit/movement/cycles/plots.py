"""Pictures of cycles: mean and band of each joint angle, left and right in one, by matplotlib."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from ...body.anatomy import side_and_part
from ...body.motion.joint_plots import LOOKS
from ...errors import InputError, suggest
from .curves import Cycles

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

COLUMN_INCHES, ROW_INCHES = 3.4, 1.7  # as COLUMN_INCHES of joint_plots
TINT = 0.2  # opacity of a band: both sides stay to be seen where they cross (by reasoning)
OF_STRIDES = {"left": "l", "right": "r"}
Curve = tuple[str, Cycles, str]  # side of its look, where it is from, joint


def plot_cycles(cycles: Mapping[str, Cycles], joints: Sequence[str]) -> Figure:
    """A matplotlib figure of cycles: a row an angle, a column a joint, left and right in one.

    Parameters
    ----------
    cycles : of one movement (`Repetitions.curves`), or "left" and "right" of strides (`stride_cycles`)
    joints : to draw, e.g. ["l_knee", "r_knee", "l_hip"]

    Returns
    -------
    matplotlib.figure.Figure, degrees over % of the cycle: mean, and one standard deviation between cycles to
    either side, none where there is one cycle; `figure.savefig("knee.pdf")` writes it

    Raises
    ------
    InputError
        No joint is named, none of the cycles holds one, or two movements would be drawn alike.
    """
    from ...body.motion.shown_figure import ShownFigure

    columns = _columns(cycles, joints)
    angles = [list(curves[0][1].mean[curves[0][2]]) for curves in columns.values()]
    rows = max(len(names) for names in angles)
    size = COLUMN_INCHES * len(columns) + 0.6, ROW_INCHES * rows + 0.8
    figure = ShownFigure(figsize=size, layout="constrained")
    axes = figure.subplots(rows, len(columns), sharex=True, squeeze=False)
    for column, (part, curves), names in zip(axes.T, columns.items(), angles, strict=True):
        column[0].set_title(part.replace("_", " "))
        column[-1].set_xlabel("cycle, %")
        for panel, angle in zip(column, names, strict=False):
            _panel(panel, curves, angle)
        for panel in column[len(names) :]:
            panel.set_axis_off()
    drawn = [panel.get_legend_handles_labels() for panel in figure.axes]
    named = {
        label: handle for handles, labels in drawn for handle, label in zip(handles, labels, strict=True)
    }
    figure.legend(named.values(), named, loc="outside upper center", ncols=2, frameon=False, fontsize="small")
    return figure


def _columns(cycles: Mapping[str, Cycles], joints: Sequence[str]) -> dict[str, list[Curve]]:
    """Joint without its side -> its curves."""
    held = list(dict.fromkeys(joint for one in cycles.values() for joint in one.mean))
    if not joints:
        raise InputError(f"joints to draw: found none, {suggest('', held)}")
    out: dict[str, list[Curve]] = {}
    for joint in dict.fromkeys(joints):
        side, part = side_and_part(joint)
        own = [(side or OF_STRIDES.get(c.movement, ""), c, joint) for c in cycles.values() if joint in c.mean]
        if not own:
            raise InputError(f"joint to draw: found {joint!r}; {suggest(joint, held)}")
        out.setdefault(part, []).extend(own)
    for part, curves in out.items():
        if len({look for look, _, _ in curves}) < len(curves):
            names = ", ".join(repr(one.movement) for _, one, _ in curves)
            raise InputError(f"cycles of {part}: found {names}, drawn alike; expected one movement at a time")
    return out


def _panel(panel: Axes, curves: Sequence[Curve], angle: str) -> None:
    """One angle of a joint."""
    panel.set_ylabel(f"{angle.replace('_', ' ')}, °", fontsize="small")
    for side, one, joint in curves:
        look: dict[str, Any] = LOOKS[side] | {"label": f"{LOOKS[side]['label'] if side else one.movement}"}
        look["label"] += f", {one.count} cycles"
        mean, sd = (np.degrees(kind[joint][angle]) for kind in (one.mean, one.sd))
        panel.plot(one.percent, mean, linewidth=1.2, **look)
        if np.isfinite(sd).any():
            tint: dict[str, Any] = {"color": look["color"], "alpha": TINT, "linewidth": 0}
            panel.fill_between(one.percent, mean - sd, mean + sd, label="± 1 SD between cycles", **tint)
    panel.margins(x=0)
