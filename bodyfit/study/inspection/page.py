"""An inspection as one HTML file that needs nothing beside it: findings, tables, a timeline for each unit."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from html import escape
from pathlib import Path

from ...body.anatomy import spoken
from ...core.findings import Finding, Folded, folded
from ...files.plain.atomic_file import write_text
from ..pages.finding_cards import card, cards, few, limit_of, when
from ..pages.names import Names, unit_words
from ..pages.parts import CAUTION, NONE, axis_labels, bar, decimal, section, table_of
from ..pages.ticks import ticks
from ..pages.whole_page import placed, whole_page
from .plots import ROW, offsets
from .result import Inspection, UnitInspection
from .unit_timelines import picture_of, timelines_section

LEAST_SHOWN = 0.01  # probability of a candidate in the table
DOUBT = 0.9  # probability of the stated segment below which a unit is listed; as the repair asks for


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
        f'<div class="columns">{_clocks(inspection.units)}{_mounting(inspection.units)}</div>',
        _placement(inspection.units),
        timelines_section(inspection),
        f'</main><footer><p class="caution">{escape(CAUTION)}</p>{_versions(inspection)}</footer>',
    ]
    return whole_page(f"{title}: what bodyfit sees in it", "\n".join(parts))


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
    source = f'<p class="small">{escape(inspection.source)}</p>' if inspection.source else ""
    parts = ["findings", "units", "clocks", "mounting", "placement", "timelines"]
    links = " · ".join(f'<a href="#{part}">{part}</a>' for part in parts)
    return (
        f'<p>{escape(", ".join(facts))}</p>{source}<nav aria-label="Parts of this page"><p>{links}</p></nav>'
    )


# ---- findings ----


def _findings(inspection: Inspection) -> str:
    heading = "Findings, most harmful first"
    if not inspection.findings:
        return section("findings", heading, "", "<p>Nothing was found that would harm a fit.</p>")
    number = {id(finding): k for k, finding in enumerate(inspection.findings, 1)}
    items = [_card(entry, number, inspection) for entry in folded(inspection.findings)]
    return section("findings", heading, "", cards(items))


def _card(entry: Folded, number: Mapping[int, int], inspection: Inspection) -> str:
    """One kind of finding; those of the kind that are not the worst have their numbers too."""
    worst, *others = entry.all
    names = names_of(inspection)
    head = f'<p class="severity">{worst.severity} {_where(worst, number, inspection)}</p>'
    rest = [
        f'<span id="finding-{number[id(one)]}" tabindex="-1">{_where(one, number, inspection)}</span>: '
        f"{escape(names.within(one.what))}"
        for one in others
    ]
    return card(worst, names, head, limit_of(worst), rest, f"finding-{number[id(worst)]}")


def _where(finding: Finding, number: Mapping[int, int], inspection: Inspection) -> str:
    """Number, units (each a link to its timeline), joints and segments, and time."""
    names, units = names_of(inspection), [unit.name for unit in inspection.units]
    where = [
        f'<a href="#unit-{units.index(unit) + 1}">{escape(names.of(unit))}</a>'
        if unit in units
        else escape(unit)
        for unit in finding.units
    ]
    where += [escape(names.of(name)) for name in (*finding.joints, *finding.segments)]
    return (
        f"{number[id(finding)]}. {few(where) or 'the whole capture'} "
        f'<span class="when">{when(finding)}</span>'
    )


def names_of(inspection: Inspection) -> Names:
    """Names of units, and of the joints and segments that findings are about, in words."""
    joints = {name for finding in inspection.findings for name in finding.joints}
    segments = {unit.segment for unit in inspection.units if unit.segment}
    segments |= {name for finding in inspection.findings for name in finding.segments}
    segments |= {one.segment for unit in inspection.units for one in unit.candidates or ()}
    return Names(sorted(joints), sorted(segments), [unit.name for unit in inspection.units])


# ---- tables ----


def _overview(units: Sequence[UnitInspection]) -> str:
    signals = ("#rate, Hz", "#gaps", "#clipped, %", "#field trusted, %")
    noise = ("#gyroscope noise, °/s/√Hz", "#accelerometer noise, mm/s²/√Hz")
    headings = ("unit", "segment", *signals, *noise)
    rows = [
        (
            f'<a href="#unit-{number}">{escape(unit_words(unit.name))}</a>',
            escape(spoken(unit.segment) if unit.segment else NONE),
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
            escape(unit_words(unit.name)),
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
        f'<span class="{placed("px", top=(k + 0.5) * ROW)}">{escape(unit_words(unit.name))}</span>'
        for k, unit in enumerate(units)
    )
    picture = picture_of(drawing, "Clock offset of each unit with one standard deviation; the numbers follow")
    axis = axis_labels(ticks(-1000 * reach, 1000 * reach, 4), "ms")
    return f'<div class="chart named"><div class="gutter">{names}</div>{picture}{axis}</div>'


def _placement(units: Sequence[UnitInspection]) -> str:
    """Candidates of each unit whose place is in doubt, the likeliest first."""
    note = "Where each unit may be worn, by how it moves with its neighbours."
    doubtful = [unit for unit in units if _in_doubt(unit)]
    unseen = sum(not unit.candidates for unit in units)
    sure = len(units) - len(doubtful) - unseen
    said = [f"{sure} of {len(units)} units move as the segment does that the capture states (at least "
            f"{100 * DOUBT:.0f} % probable)"] if sure else []  # fmt: skip
    said += [f"of {unseen} the motion does not tell"] if unseen else []
    told = f"<p>{escape('; '.join(said).capitalize())}.</p>" if said else ""
    if not doubtful:
        return section("placement", "Placement", note, told)
    rows = []
    for unit in doubtful:
        shown = [one for one in unit.candidates or () if one.probability >= LEAST_SHOWN]
        for rank, one in enumerate(shown):
            stated = " (as stated)" if one.segment == unit.segment else ""
            first = escape(unit_words(unit.name)) if rank == 0 else ""
            share = f"{100 * one.probability:.0f}"
            rows.append((first, f"{escape(spoken(one.segment))}{stated}", share, bar(one.probability)))
    headings = ("unit in doubt", "segment", "#probability, %", "~")
    table = table_of("Placement candidates of units in doubt", headings, rows)
    return section("placement", "Placement", note, told + table)


def _in_doubt(unit: UnitInspection) -> bool:
    """Whether the motion tells of a place, and not clearly of the one that is stated."""
    stated = [one.probability for one in unit.candidates or () if one.segment == unit.segment]
    return bool(unit.candidates) and max(stated, default=0.0) < DOUBT


def _mounting(units: Sequence[UnitInspection]) -> str:
    """Standard deviation of each unit's mounting about the three axes of its segment."""
    worst = [math.degrees(max(unit.mounting_sd)) if unit.mounting_sd else 0.0 for unit in units]
    widest = max([1e-9, *worst])
    rows = []
    for unit, largest in zip(units, worst, strict=True):
        sd = [decimal(part, 1, 180 / math.pi) for part in unit.mounting_sd or (None, None, None)]
        rows.append(
            (escape(unit_words(unit.name)), *sd, bar(largest / widest), escape(unit.mounting_source or NONE))
        )
    note = "How well each unit's turn against its segment is known, about X forward, Y to the head, Z right."
    headings = ("unit", "#X, ± °", "#Y, ± °", "#Z, ± °", "~largest", "from")
    return section("mounting", "Mounting", note, table_of("Mounting uncertainty", headings, rows))


def _versions(inspection: Inspection) -> str:
    made = ", ".join(f"{name} {version}" for name, version in inspection.versions.items())
    took = "" if inspection.wall_time is None else f"; checks took {inspection.wall_time:.1f} s"
    return f'<p class="small">Made with {escape(made or "bodyfit")}{took}.</p>'
