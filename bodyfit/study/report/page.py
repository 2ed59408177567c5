"""The report: one HTML file that shows a fit, works from a double click and fetches nothing."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterable
from importlib.resources import files as package_files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

from ...files.plain.atomic_file import whole_file
from ..pages.whole_page import whole_page
from .curves import curves
from .files import FitFiles, read_fit_files
from .scene import licence_of, light_scene, viewer_library
from .sections import all_sections
from .words import number, safe

SCRIPTS = (  # in the order in which they run
    "data.js",
    "figure.js",
    "plots.js",
    "overview.js",
    "lanes.js",
    "happened.js",
    "page.js",
)


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
    scene = base64.b64encode(light_scene(files.scene)).decode()
    links, content = all_sections(files)
    library = viewer_library()
    body = "\n".join(
        [
            '<a class="skip" href="#motion">Skip to the motion</a>',
            f'<header><h1>{safe(title)}</h1><p class="lead">{_lead(files)}</p>{CAUTION}',
            f'<nav aria-label="Parts of this page">{links}</nav></header>',
            f"<main>{content}</main>",
            f'<footer class="small">{_foot(files, library)}</footer>',
            f'<script type="application/json" id="curves">{_inside_script(curves(files))}</script>',
            f'<script type="text/plain" id="scene">{scene}</script>',
        ]
    )
    return whole_page(title, body, [library, _as_one(parts / name for name in SCRIPTS)])


CAUTION = (
    '<p class="caution"><strong>Not a medical device.</strong> Findings are prompts for a professional’s '
    'review, not a diagnosis or clearance. <a href="#cautions">All cautions</a></p>'
)


def _foot(files: FitFiles, library: str) -> str:
    """Who made the page, and the licence of what it carries."""
    licence = "".join(f"<p>{safe(part)}</p>" for part in licence_of(library))
    return (
        f"<p>Made by bodyfit {safe(files.summary.bodyfit_version)}. The figure is drawn by three.js, as the "
        "Python package trimesh carries it. Nothing is fetched from a network, and nothing leaves this page."
        f"</p><details><summary>Licence of three.js</summary>{licence}</details>"
    )


def _as_one(scripts: Iterable[Traversable]) -> str:
    """Scripts in one scope that nothing outside it reaches."""
    text = "\n".join(script.read_text(encoding="utf-8") for script in scripts)
    return f'(() => {{\n"use strict";\n{text}\n}})();'


def _lead(files: FitFiles) -> str:
    """One line: how long, how many units, which body."""
    told = files.summary
    begun = f" · from {told.sampling.start_time}" if told.sampling.start_time else ""
    units = f"{len(told.units)} worn unit{'s' * (len(told.units) != 1)}"
    return safe(
        f"{number(files.time[-1] - files.time[0])} s · {units} · body model "
        f"{told.model.name} · {number(told.sampling.frequency_hz)} frames a second{begun}"
    )


def _inside_script(data: Any) -> str:
    """JSON that no text inside can end the script element with."""
    return json.dumps(data, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")
