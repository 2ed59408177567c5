"""A picture of where a body or its feet went: from above and from the side, by matplotlib."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from ...body.motion.joint_plots import LOOKS
from ...errors import InputError
from .result import Strides

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ...fitting.result import Fit

INCHES = (7.0, 6.0)  # wide and high; chosen; not tried
OF_FOOT = {"left": "l", "right": "r", "none": ""}


def plot_path(walked: Fit | Strides) -> Figure:
    """A matplotlib figure of a path: from above with equal axes, and its height along the way.

    Parameters
    ----------
    walked : a fit, whose root is drawn, or strides, whose feet are

    Returns
    -------
    matplotlib.figure.Figure, metres; above, the first way faced is to the right. Feet found from units of
    their own each have a heading of their own; `figure.savefig("path.pdf")` writes it

    Raises
    ------
    InputError
        It is not known where the body went, or no foot's path was found.
    """
    from matplotlib.figure import Figure

    places = _places(walked)
    figure = Figure(figsize=INCHES, layout="constrained")
    above, side = figure.subplots(2, 1, height_ratios=(3, 1))
    for name, place in places.items():
        look: dict[str, Any] = LOOKS[OF_FOOT.get(name, "")] | {"label": name if len(places) > 1 else None}
        along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(place[:, [0, 2]], axis=0), axis=1))])
        above.plot(place[:, 0], -place[:, 2], linewidth=1.0, **look)
        side.plot(along, place[:, 1], linewidth=1.0, **look)
        above.plot(place[0, 0], -place[0, 2], "o", color=look.get("color"), markersize=4)
    above.set_aspect("equal", adjustable="datalim")
    above.set(xlabel="ahead, m", ylabel="to the left, m", title="from above; the dot is the start")
    side.set(xlabel="way, m", ylabel="height, m")
    if len(places) > 1:
        above.legend(frameon=False, fontsize="small")
    return figure


def _places(walked: Fit | Strides) -> Mapping[str, np.ndarray]:
    """Name -> (K, 3) m."""
    if isinstance(walked, Strides):
        if not walked.tracks:
            raise InputError("path to draw: these strides hold no foot's path; wear a unit on a foot")
        return {side: track.place for side, track in walked.tracks.items()}
    if walked.poses.root_position is None:
        raise InputError(
            "path to draw: this fit does not tell where the body went; fit a body with both feet"
        )
    return {walked.poses.model.root: walked.poses.root_position}
