"""What a person reads after `bodyfit inspect`: findings, a table of units, what to do next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from ...study.inspection.result import Inspection, UnitInspection
from .findings import INDENT, print_findings
from .table import NONE, console_of, number, plain_table, print_named


def print_inspection(
    inspection: Inspection,
    paths: Sequence[Path] = (),
    console: Console | None = None,
    everything: bool = False,
) -> None:
    """Prints findings, units and what to do next, at most 100 columns wide.

    Parameters
    ----------
    inspection : what is None in it is printed as –
    paths : files written
    console : where to; default is the standard output
    everything : every finding by itself, however many
    """
    console = console_of(console)
    _print_heading(console, inspection)
    print_findings(inspection.findings, console, everything)
    console.print()
    if inspection.units:
        console.print(_units(inspection.units))
        console.print()
    console.print(Text(next_step(inspection), style="bold"))
    for path in paths:
        console.print(Text(f"written to {path}"), soft_wrap=True)


def _print_heading(console: Console, inspection: Inspection) -> None:
    """What was looked at, and how many findings there are."""
    span = f"{number(inspection.start, 2)} to {number(inspection.end, 2)} s"
    if inspection.start_time is not None:
        span += f" from {inspection.start_time.isoformat()}"
    took = "" if inspection.wall_time is None else f", checked in {inspection.wall_time:.1f} s"
    lines = {
        "capture": inspection.title or inspection.source or NONE,
        "body": inspection.model or NONE,
        "units": f"{len(inspection.units)}, {span}{took}",
    }
    console.print()
    if inspection.trials:
        lines["trials"] = ", ".join(f"{t.name} {t.start:.2f} to {t.end:.2f} s" for t in inspection.trials)
    print_named(console, lines, INDENT)
    console.print()


def _units(units: Sequence[UnitInspection]) -> Table:
    """One row a unit."""
    table = plain_table(
        "unit", "segment", ">rate\nHz", ">gaps", ">clipped\n%", ">clock\nms", ">noise\n°/s/√Hz",
        ">field\ntrusted %", ">mounting\n± °", ">placed\n%",
    )  # fmt: skip
    for unit in units:
        table.add_row(
            Text(unit.name, style="bold"),
            unit.segment or NONE,
            number(unit.frequency, 1),
            NONE if unit.gaps is None else str(len(unit.gaps)),
            number(_times(unit.clipped_share, 100), 2),
            _offset(unit),
            number(_times(unit.gyroscope_noise, 180 / math.pi), 4),
            number(_times(unit.field_trusted_share, 100), 0),
            number(_times(max(unit.mounting_sd), 180 / math.pi) if unit.mounting_sd else None, 1),
            number(_times(unit.placement, 100), 1),
        )
    return table


def _offset(unit: UnitInspection) -> str:
    if unit.clock_offset is None:
        return NONE
    spread = "" if unit.clock_offset_sd is None else f" ± {1000 * unit.clock_offset_sd:.1f}"
    return f"{1000 * unit.clock_offset:.1f}{spread}"


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else factor * value


def next_step(inspection: Inspection) -> str:
    """What to do next, in one sentence.

    Parameters
    ----------
    inspection : of a capture

    Returns
    -------
    sentence
    """
    open_ones = [finding for finding in inspection.findings if not finding.handled]
    serious = [finding for finding in open_ones if finding.severity == "serious"]
    if serious:
        return f"Next: {serious[0].advice}; then inspect again before any fit."
    if any(finding.severity == "warning" for finding in open_ones):
        return "Next: mend what the warnings name where you can, or run bodyfit fit and mind them."
    return "Next: nothing stands in the way of bodyfit fit."
