"""Timelines of an inspection's units: their signals as a picture, findings as numbered flags above it."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from ...body.anatomy import spoken
from ...core.findings import Finding
from ..pages.names import unit_words
from ..pages.parts import axis_labels, section
from ..pages.ticks import ticks
from ..pages.whole_page import placed
from .plots import GAP, LANE, ROW, Drawing, timeline
from .result import Inspection, UnitInspection

FLAG_ROW = 22  # px; chosen, not tried
FLAG_SPACE = 0.06  # share of the timeline that one flag takes at 400 px; by reasoning
KEY = (
    "Each band reaches from the least to the greatest value. Dashed line: gravity. Hatched columns: "
    "no samples. Below: where the magnetic field is trusted (filled) and where not (crossed), gaps, and "
    "samples at full scale; short ones are drawn one line wide. Numbered flags are findings."
)


def timelines_section(inspection: Inspection) -> str:
    """A section for each unit, its findings as flags above the signals.

    Parameters
    ----------
    inspection : of a capture

    Returns
    -------
    HTML
    """
    parts = [_unit(number, unit, inspection) for number, unit in enumerate(inspection.units, 1)]
    return section("timelines", "Timelines", KEY, "".join(parts))


def _unit(number: int, unit: UnitInspection, inspection: Inspection) -> str:
    about = [(k, f) for k, f in enumerate(inspection.findings, 1) if unit.name in f.units]
    untimed = [_flag_link(k, f) for k, f in about if f.start is None]
    heading = f"<h3>{_worn(unit)}</h3>"
    throughout = f'<p class="small">Findings throughout: {", ".join(untimed)}</p>' if untimed else ""
    start, end = inspection.start, inspection.end
    drawing = None
    if start is not None and end is not None:
        drawing = timeline(unit, start, end, inspection.gravity)
    if drawing is None or start is None or end is None:
        body = '<p class="small">No signals to show.</p>'
    else:
        body = _plot(unit, drawing, [(k, f) for k, f in about if f.start is not None], start, end)
    return f'<section class="unit" id="unit-{number}" tabindex="-1">{heading}{throughout}{body}</section>'


def _worn(unit: UnitInspection) -> str:
    """A unit, and what it is on where its name does not say that."""
    name, segment = unit_words(unit.name), spoken(unit.segment) if unit.segment else "an unknown segment"
    return escape(name if name == segment else f"{name}, on {segment}")


def _plot(
    unit: UnitInspection, drawing: Drawing, flags: Sequence[tuple[int, Finding]], start: float, end: float
) -> str:
    """Flags, gutter, picture and time axis of one unit."""
    signals = ", ".join(name.split(",")[0] for name, _ in drawing.lanes)
    rows = ", ".join(drawing.rows)
    alt = f"Timeline of {unit_words(unit.name)}, {start:.0f} to {end:.0f} s: {signals}; {rows}"
    places = [((f.start or 0.0) - start) / (end - start) for _, f in flags]
    lines = "".join(f'<span class="line {placed("pc", left=100 * p)}"></span>' for p in places)
    return (
        f'<div class="chart">{_flags(flags, places)}<div class="gutter">{_gutter(drawing)}</div>'
        f'<div class="field">{picture_of(drawing, alt)}{lines}</div>'
        f"{axis_labels(ticks(start, end, 5), 's')}</div>"
    )


def _flags(flags: Sequence[tuple[int, Finding]], places: Sequence[float]) -> str:
    """Numbered links above a timeline, in as many rows as keep them apart."""
    ends: list[float] = []
    out = []
    for (number, finding), place in sorted(zip(flags, places, strict=True), key=lambda pair: pair[1]):
        row = next((k for k, taken in enumerate(ends) if place >= taken), len(ends))
        ends[row : row + 1] = [place + FLAG_SPACE]
        link = _flag_link(
            number, finding, f"{placed('pc', left=100 * place)} {placed('px', top=row * FLAG_ROW)}"
        )
        out.append(link)
    height = placed("px", height=len(ends) * FLAG_ROW)
    return f'<div class="flags {height}">{"".join(out)}</div>' if out else ""


def _flag_link(number: int, finding: Finding, where: str = "") -> str:
    """A link to a finding: its number, in full for those who hear it."""
    said = escape(f"Finding {number}, {finding.severity}: {finding.what}")
    label = f'title="{said}" aria-label="{said}"'
    return f'<a class="{finding.severity} {where}" href="#finding-{number}" {label}>{number}</a>'


def _gutter(drawing: Drawing) -> str:
    """Names of lanes and rows and the y ticks, beside the picture."""
    out, top = [], 0.0
    for name, found in drawing.lanes:
        out.append(f'<span class="lane {placed("px", top=top)}">{escape(name)}</span>')
        out += [f'<span class="{placed("px", top=top + LANE * (1 - t.at))}">{t.text}</span>' for t in found]
        top += LANE + GAP
    for name in drawing.rows:
        out.append(f'<span class="{placed("px", top=top + ROW / 2)}">{escape(name)}</span>')
        top += ROW
    return "".join(out)


def picture_of(drawing: Drawing, alt: str) -> str:
    """A drawing as a picture of its own height.

    Parameters
    ----------
    drawing : as drawn
    alt : what it shows, in words
    """
    source, height = escape(drawing.address), drawing.height
    return f'<img src="{source}" alt="{escape(alt)}" height="{height}" class="{placed("px", height=height)}">'
