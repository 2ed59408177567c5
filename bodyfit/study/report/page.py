"""The report: one HTML file that shows a fit, works from a double click and fetches nothing."""

from __future__ import annotations

import base64
import html
import json
from collections.abc import Iterable
from importlib.resources import files as package_files
from importlib.resources.abc import Traversable
from pathlib import Path
from string import Template
from typing import Any

from ...files.plain.atomic_file import whole_file
from ..pages.whole_page import policy
from .curves import curves, curves_per_second
from .files import FitFiles, read_fit_files
from .findings import findings_list
from .happened.section import happened_section
from .scene import light_scene, viewer_library
from .tables import estimated, joint_table, range_sources, reproduction, unit_table
from .words import number, safe

SCRIPTS = (
    "data.js",
    "figure.js",
    "plots.js",
    "lanes.js",
    "happened.js",
    "page.js",
)  # in the order in which they run

STYLES = ("page.css", "happened.css")


def write_report(out: Path, page: Path | None = None) -> Path:
    """The path of the report, now written.

    Parameters
    ----------
    out : folder that a fit was written to
    page : the file to write; default is report.html in that folder

    Raises
    ------
    InputError
        A file of the fit is missing or damaged.
    OutputError
        The page cannot be written; what stood there before is still there.
    """
    page = page or out / "report.html"
    text = report_text(read_fit_files(out))
    with whole_file(page) as partial:
        partial.write_text(text, encoding="utf-8")
    return page


def report_text(files: FitFiles) -> str:
    """The whole page, styles, scripts, viewer library and data inside."""
    parts = package_files("bodyfit.study.report") / "browser"
    title = files.summary.capture or "Motion"
    style = "".join((parts / name).read_text(encoding="utf-8") for name in STYLES)
    library, own = viewer_library(), _as_one(parts / name for name in SCRIPTS)
    return Template((parts / "page.html").read_text(encoding="utf-8")).substitute(
        title=safe(title),
        lead=_lead(files),
        findings=findings_list(files),
        happened=happened_section(files),
        joints=joint_table(files),
        range_sources=range_sources(files),
        units=unit_table(files),
        estimated=estimated(files),
        reproduction=reproduction(files),
        layout=html.escape(str(files.scene[0]["asset"].get("extras", {}).get("layout") or "")),
        curve_rate=number(curves_per_second(files.time)),
        version=safe(files.summary.bodyfit_version),
        policy=policy([style], [library, own]),
        style=style,
        library=library,
        own=own,
        curves=_inside_script(curves(files)),
        scene=base64.b64encode(light_scene(files.scene)).decode(),
    )


def _as_one(scripts: Iterable[Traversable]) -> str:
    """Scripts in one scope that nothing outside it reaches."""
    text = "\n".join(script.read_text(encoding="utf-8") for script in scripts)
    return f'(() => {{\n"use strict";\n{text}\n}})();'


def _lead(files: FitFiles) -> str:
    """One line: how long, how many units, which body."""
    told = files.summary
    begun = f" · from {told.sampling.start_time}" if told.sampling.start_time else ""
    return safe(
        f"{number(files.time[-1] - files.time[0])} s · {len(told.units)} worn units · body model "
        f"{told.model.name} · {number(told.sampling.frequency_hz)} frames a second{begun}"
    )


def _inside_script(data: Any) -> str:
    """JSON that no text inside can end the script element with."""
    return json.dumps(data, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")
