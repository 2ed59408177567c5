"""The report's part on what happened, put together."""

from __future__ import annotations

from ..files import FitFiles
from .cycles import cycle_pictures
from .path import path_pictures
from .strides import activities_table, sides_table, strides_table
from .timeline import timeline

NOTHING = (
    "<p>Nobody has asked yet. <code>bodyfit strides OUT</code>, <code>bodyfit activities OUT</code> and "
    "<code>bodyfit repetitions OUT --like START:END</code> tell; then make this page again.</p>"
)
CAUTION = (
    '<p class="small">No gait diagnosis, no fall detection, nothing that someone’s safety depends on. '
    "Activities are told by rules or by likeness to other people’s movement; how alike repetitions are is "
    "not whether they are done rightly.</p>"
)


def happened_section(files: FitFiles) -> str:
    """What happened: timeline, path, strides, curves; or how to ask for it.

    Parameters
    ----------
    files : of the fit
    """
    joints = {name: list(angles) for name, angles in files.angles.items()}
    parts = {
        "When": timeline(files.happened, float(files.time[0]), float(files.time[-1])),
        "": activities_table(files.happened),
        "Where": path_pictures(files.happened, files.segments),
        "Strides": sides_table(files.happened) + strides_table(files.happened),
        "Over the cycle": cycle_pictures(files.happened, joints),
    }
    shown = [f"{f'<h3>{title}</h3>' if title else ''}{part}" for title, part in parts.items() if part]
    return "\n".join([*shown, CAUTION]) if shown else NOTHING
