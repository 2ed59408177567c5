"""An inspection as one HTML file that needs nothing beside it: findings, tables, a timeline for each unit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape
from pathlib import Path

from ...core.findings import Finding
from ...files.plain.atomic_file import write_text
from ..pages.parts import CAUTION, NONE, axis_labels, bar, decimal, section, table_of
from ..pages.ticks import ticks
from ..pages.whole_page import placed, whole_page
from .plots import GAP, LANE, ROW, Drawing, offsets, timeline
from .result import Inspection, UnitInspection

SIGNS = {"serious": "▲", "warning": "◆", "note": "○"}
FLAG_ROW = 22  # px
FLAG_SPACE = 0.06  # share of the timeline that one flag takes at 400 px


def write_inspection_page(inspection: Inspection, path: str | Path) -> None:
    """Write the page, whole or not at all.

    Parameters
    ----------
    inspection : of a capture
    path : of the HTML file

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    write_text(Path(path), inspection_page(inspection))


def inspection_page(inspection: Inspection) -> str:
    """The page as text.

    Parameters
    ----------
    inspection : of a capture

    Returns
    -------
    HTML that loads nothing; names that come from files are escaped
    """
    title = inspection.title or inspection.source or "a capture"
    parts = [
        '<a class="skip" href="#findings">To the findings</a>',
        f"<header><h1>{escape(title)}</h1>{_about(inspection)}</header><main>",
        _findings(inspection),
        _overview(inspection.units),
        _clocks(inspection.units),
        _placement(inspection.units),
        _mounting(inspection.units),
        _timelines(inspection),
        f'</main><footer><p class="caution">{escape(CAUTION)}</p>{_versions(inspection)}</footer>',
    ]
    return whole_page(f"{title}: what bodyfit sees in it", "", "\n".join(parts))


def _about(inspection: Inspection) -> str:
    """What the capture is, and the way around the page."""
    span = (
        f"{inspection.start:.2f} to {inspection.end:.2f} s"
        if inspection.start is not None and inspection.end is not None
        else NONE
    )
    if inspection.start_time is not None:
        span += f" from {inspection.start_time.isoformat()}"
    facts = [f"{len(inspection.units)} units", f"body model {inspection.model or NONE}", span]
    source = f'<p class="soft">{escape(inspection.source)}</p>' if inspection.source else ""
    parts = ["findings", "units", "clocks", "placement", "mounting", "timelines"]
    links = " · ".join(f'<a href="#{part}">{part}</a>' for part in parts)
    return (
        f'<p>{escape(", ".join(facts))}</p>{source}<nav aria-label="Parts of this page"><p>{links}</p></nav>'
    )


# ---- findings ----


def _findings(inspection: Inspection) -> str:
    heading = '<section id="findings"><h2>Findings, most harmful first</h2>'
    if not inspection.findings:
        return f"{heading}<p>Nothing was found that would harm a fit.</p></section>"
    names = [unit.name for unit in inspection.units]
    items = [_finding(number, finding, names) for number, finding in enumerate(inspection.findings, 1)]
    return f'{heading}<ol class="findings">{"".join(items)}</ol></section>'


def _finding(number: int, finding: Finding, names: Sequence[str]) -> str:
    where = [
        f'<a href="#unit-{names.index(unit) + 1}">{escape(unit)}</a>' if unit in names else escape(unit)
        for unit in finding.units
    ]
    where += [escape(name) for name in (*finding.joints, *finding.segments)]
    when = when_of(finding)
    head = f'<span class="severity">{SIGNS[finding.severity]} {number}. {finding.severity}</span>'
    lines = [
        f"<p>{head}: {', '.join(where) or 'the whole capture'}{', ' + when if when else ''}</p>",
        f"<p>{_sentence(finding.what, finding)}</p>",
        f"<p><strong>What to do:</strong> {_sentence(finding.advice, finding)}</p>" if finding.advice else "",
        f"<p><strong>Done about it:</strong> {_sentence(finding.handled, finding)}</p>"
        if finding.handled
        else "",
        f'<p class="soft">{escape(_measured(finding))}</p>',
    ]
    return f'<li id="finding-{number}" class="{finding.severity}" tabindex="-1">{"".join(lines)}</li>'


def when_of(finding: Finding) -> str:
    """When a finding holds, in words; empty: throughout."""
    if finding.start is None:
        return ""
    return (
        f"at {finding.start:.2f} s" if finding.end is None else f"{finding.start:.2f} to {finding.end:.2f} s"
    )


def _sentence(text: str, finding: Finding) -> str:
    """The text with a full stop, and a capital where it does not start with a name."""
    names = (*finding.units, *finding.segments, *finding.joints)
    first = text if text.startswith(names) else text[:1].upper() + text[1:]
    return escape(first if first.endswith((".", "!", "?")) else f"{first}.")


def _measured(finding: Finding) -> str:
    """Number, limit and where the limit comes from."""
    out = finding.kind
    if finding.value is not None:
        out += f": measured {finding.value:.3g} {finding.measure}".rstrip()
    if finding.threshold is not None:
        out += f", limit {finding.threshold:.3g} {finding.measure}".rstrip()
    return out + (f" ({finding.source})" if finding.source else "")


# ---- tables ----


def _overview(units: Sequence[UnitInspection]) -> str:
    signals = ("#rate, Hz", "#gaps", "#clipped, %", "#field trusted, %")
    noise = ("#gyroscope noise, °/s/√Hz", "#accelerometer noise, mm/s²/√Hz")
    headings = ("unit", "segment", *signals, *noise)
    rows = [
        (
            f'<a href="#unit-{number}">{escape(unit.name)}</a>',
            escape(unit.segment or NONE),
            decimal(unit.frequency, 1),
            NONE if unit.gaps is None else str(len(unit.gaps)),
            decimal(unit.clipped_share, 2, 100),
            decimal(unit.field_trusted_share, 0, 100),
            decimal(unit.gyroscope_noise, 4, 180 / math.pi),
            decimal(unit.accelerometer_noise, 1, 1000),
        )
        for number, unit in enumerate(units, 1)
    ]
    return section("units", "Units", "", table_of("Units and their signals", headings, rows))


def _clocks(units: Sequence[UnitInspection]) -> str:
    """Offsets as a table, and as marks with their standard deviations."""
    headings = ("unit", "#ahead by, ms", "#± ms", "#fast by, ppm")
    rows = [
        (
            escape(unit.name),
            decimal(unit.clock_offset, 1, 1000),
            decimal(unit.clock_offset_sd, 1, 1000),
            decimal(unit.clock_rate, 0, 1e6),
        )
        for unit in units
    ]
    note = "Against the common clock of all units. Thick mark: offset; whiskers: one standard deviation."
    table = table_of("Clock offsets", headings, rows)
    return section("clocks", "Clocks", note, _offsets(units) + table)


def _offsets(units: Sequence[UnitInspection]) -> str:
    """The marks, one row a unit; nothing where no offset is known."""
    if all(unit.clock_offset is None for unit in units):
        return ""
    drawing, reach = offsets([u.clock_offset for u in units], [u.clock_offset_sd for u in units])
    names = "".join(
        f'<span class="{placed("px", top=(k + 0.5) * ROW)}">{escape(unit.name)}</span>'
        for k, unit in enumerate(units)
    )
    picture = _picture(drawing, "Clock offset of each unit with one standard deviation; the numbers follow")
    axis = axis_labels(ticks(-1000 * reach, 1000 * reach, 4), "ms")
    return f'<div class="plot named"><div class="gutter">{names}</div>{picture}{axis}</div>'


def _placement(units: Sequence[UnitInspection]) -> str:
    """Candidates of each unit, the likeliest first."""
    rows = []
    for unit in units:
        for rank, one in enumerate(unit.candidates or ()):
            name = f"{'✓ ' if one.segment == unit.segment else ''}{one.segment}"
            first = escape(unit.name) if rank == 0 else ""
            rows.append((first, escape(name), f"{100 * one.probability:.1f}", bar(one.probability)))
        if not unit.candidates:
            rows.append((escape(unit.name), escape(unit.segment or NONE), NONE, ""))
    note = "Where each unit may be worn, by how it moves with its neighbours. ✓: what the capture says."
    headings = ("unit", "segment", "#probability, %", "~")
    return section("placement", "Placement", note, table_of("Placement candidates", headings, rows))


def _mounting(units: Sequence[UnitInspection]) -> str:
    """Standard deviation of each unit's mounting about the three axes of its segment."""
    worst = [math.degrees(max(unit.mounting_sd)) if unit.mounting_sd else 0.0 for unit in units]
    widest = max([1e-9, *worst])
    rows = []
    for unit, largest in zip(units, worst, strict=True):
        sd = [decimal(part, 1, 180 / math.pi) for part in unit.mounting_sd or (None, None, None)]
        rows.append((escape(unit.name), *sd, bar(largest / widest), escape(unit.mounting_source or NONE)))
    note = "How well each unit's turn against its segment is known, about X forward, Y to the head, Z right."
    headings = ("unit", "#X, ± °", "#Y, ± °", "#Z, ± °", "~largest", "from")
    return section("mounting", "Mounting", note, table_of("Mounting uncertainty", headings, rows))


# ---- timelines ----


KEY = (
    "Each coloured band reaches from the least to the greatest value. Dashed line: gravity. Hatched columns: "
    "no samples. Below: where the magnetic field is trusted (filled) and where not (crossed), gaps, and "
    "samples at full scale; short ones are drawn one line wide. Numbered flags are findings."
)


def _timelines(inspection: Inspection) -> str:
    """A section for each unit, its findings as flags above the signals."""
    parts = [_unit(number, unit, inspection) for number, unit in enumerate(inspection.units, 1)]
    return section("timelines", "Timelines", KEY, "".join(parts))


def _unit(number: int, unit: UnitInspection, inspection: Inspection) -> str:
    about = [(k, f) for k, f in enumerate(inspection.findings, 1) if unit.name in f.units]
    untimed = [_flag_link(k, f) for k, f in about if f.start is None]
    heading = f"<h3>{escape(unit.name)}, on {escape(unit.segment or 'an unknown segment')}</h3>"
    throughout = f'<p class="soft">Findings throughout: {", ".join(untimed)}</p>' if untimed else ""
    start, end = inspection.start, inspection.end
    drawing = None
    if start is not None and end is not None:
        drawing = timeline(unit, start, end, inspection.gravity)
    if drawing is None or start is None or end is None:
        body = '<p class="soft">No signals to show.</p>'
    else:
        body = _plot(unit, drawing, [(k, f) for k, f in about if f.start is not None], start, end)
    return f'<section class="unit" id="unit-{number}" tabindex="-1">{heading}{throughout}{body}</section>'


def _plot(
    unit: UnitInspection, drawing: Drawing, flags: Sequence[tuple[int, Finding]], start: float, end: float
) -> str:
    """Flags, gutter, picture and time axis of one unit."""
    signals = ", ".join(name.split(",")[0] for name, _ in drawing.lanes)
    alt = f"Timeline of {unit.name}, {start:.0f} to {end:.0f} s: {signals}; {', '.join(drawing.rows)}"
    places = [((f.start or 0.0) - start) / (end - start) for _, f in flags]
    lines = "".join(f'<span class="line {placed("pc", left=100 * p)}"></span>' for p in places)
    return (
        f'<div class="plot">{_flags(flags, places)}<div class="gutter">{_gutter(drawing)}</div>'
        f'<div class="field">{_picture(drawing, alt)}{lines}</div>'
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


def _picture(drawing: Drawing, alt: str) -> str:
    source, height = escape(drawing.address), drawing.height
    return f'<img src="{source}" alt="{escape(alt)}" height="{height}" class="{placed("px", height=height)}">'


def _versions(inspection: Inspection) -> str:
    made = ", ".join(f"{name} {version}" for name, version in inspection.versions.items())
    took = "" if inspection.wall_time is None else f"; checks took {inspection.wall_time:.1f} s"
    return f'<p class="soft">Made with {escape(made or "bodyfit")}{took}.</p>'
