"""The table that a person reads after a fit: joints, units, warnings, files; at most 100 columns wide."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import zip_longest
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ...core.findings import Finding
from .findings import print_findings
from .one_line import one_line
from .table import NONE, WIDTH, number, plain_table

SHORT = {"accelerometer": "acc", "gyroscope": "gyro", "magnetometer": "mag", "orientation": "fused"}
LONGEST_TEXT = 400  # characters of a title or a name: four lines (by reasoning)
Summary = Mapping[str, Any]


def print_fit(
    summary: Summary,
    paths: Iterable[Path],
    findings: Sequence[Finding] = (),
    console: Console | None = None,
    everything: bool = False,
    inferred: bool = False,
) -> None:
    """Prints what was found, how good it is, warnings, and the files written.

    Parameters
    ----------
    summary : as in summary.json; what is missing or None is printed as –
    paths : files written
    findings : of the fit
    console : where to; default is the standard output
    everything : every finding by itself, notes too
    inferred : joints with no unit on one side, too
    """
    console = console or Console(highlight=False)
    console.width = min(WIDTH, console.width) if console.is_terminal else WIDTH
    _print_heading(console, summary)
    every = summary.get("joints") or {}
    joints = {name: joint for name, joint in every.items() if inferred or not joint.get("inferred")}
    if joints:
        console.print(_joints(joints))
        _print_notes(console, joints)
    if len(joints) < len(every):
        untold = ", ".join(name for name in every if name not in joints)
        console.print(Text(f"inferred, not shown (--inferred): {untold}"))
        console.print()
    if summary.get("units"):
        console.print(_units(summary["units"]))
    console.print()
    print_findings(findings, console, everything)
    _print_end(console, list(paths))


def _print_heading(console: Console, summary: Summary) -> None:
    model, sampling = summary.get("model") or {}, summary.get("sampling") or {}
    solver = summary.get("solver") or {}
    span = f"{number(sampling.get('start_s'), 2)} to {number(sampling.get('end_s'), 2)} s"
    if sampling.get("start_time"):
        span += f" from {sampling['start_time']}"
    lines = {
        "capture": _text(summary.get("capture")),
        "body": f"{_text(model.get('name'))}, {_text(model.get('segments'))} segments, "
        f"{_text(model.get('joints'))} joints",
        "frames": f"{_text(sampling.get('frames'))} at {number(sampling.get('frequency_hz'), 1)} Hz, {span}",
        "heading": _text((summary.get("heading") or {}).get("reference")),
        "solver": f"{_text(solver.get('iterations'))} iterations, the last by "
        f"{number(solver.get('last_step_deg'), 3)}°, "
        f"{number(summary.get('wall_time_s'), 1)} s",
    }
    if solver.get("converged") is False:
        lines["solver"] += "; NOT CONVERGED, bands widened by what it was still moving"
    console.print()
    for name, line in lines.items():
        console.print(Text(f"{name:<9}", style="bold") + Text(line))
    console.print()


def _joints(joints: Summary) -> Table:
    """One block of rows a joint: its angles on the left, what was found about it on the right."""
    table = plain_table(
        "joint", "angle", ">from °", ">to °", "centre mm (± SD), axis", ">agree\nm/s²", ">heading\n± °"
    )
    for name, joint in joints.items():
        rows = zip_longest(_names(name, joint), _angles(joint), _found(joint), _quality(joint))
        for left, angle, found, quality in rows:
            table.add_row(left or "", *(angle or ("", "", "")), found or "", *(quality or ("", "")))
        table.add_section()
    return table


def _names(name: str, joint: Summary) -> list[Text | str]:
    return [Text(name, style="bold"), f"  {_text(joint.get('type'))}"]


def _angles(joint: Summary) -> list[tuple[str, str, str]]:
    angles = joint.get("angles") or {}
    return [
        (name.replace("_", " "), number(span.get("min_deg"), 1), number(span.get("max_deg"), 1))
        for name, span in angles.items()
    ]


def _found(joint: Summary) -> list[str]:
    parent, child = joint.get("lever_arm_parent_m"), joint.get("lever_arm_child_m")
    sd = joint.get("lever_arm_sd_m") or ()
    lines = [
        f"{end:<6} {_millimetres(arm)}{_give_or_take(sd[part])}"
        for end, arm, part in (("parent", parent, slice(0, 3)), ("child", child, slice(3, 6)))
        if arm
    ] or [NONE]
    if joint.get("hinge_axis_parent"):
        lines.append(f"axis   {_vector(joint['hinge_axis_parent'], 2)}")
    return [*lines, joint["lever_arm_source"]] if joint.get("lever_arm_source") else lines


def _quality(joint: Summary) -> list[tuple[str | Text, str | Text]]:
    heading: str | Text = number(joint.get("relative_heading_sd_deg"), 1)
    if joint.get("determined") is False:
        heading = Text("unknown", style="bold red")
    return [(number(joint.get("residual_m_s2"), 2), heading)]


def _print_notes(console: Console, joints: Summary) -> None:
    notes = [(name, joint["note"]) for name, joint in joints.items() if joint.get("note")]
    for name, note in notes:
        console.print(Padding(Text(f"{name}: {note}"), (0, 0, 0, 2)))
    console.print()


def _units(units: Summary) -> Table:
    table = plain_table(
        "unit", "segment", "sensors used", "gyroscope\nbias °/s", "mounting", ">field\ntrusted %", ">gaps"
    )
    for name, unit in units.items():
        share = unit.get("magnetometer_trusted_share")
        table.add_row(
            Text(name, style="bold"),
            _text(unit.get("segment")),
            ", ".join(SHORT.get(word, word) for word in map(str, unit.get("sensors") or ())) or NONE,
            _vector(unit.get("gyroscope_bias_deg_per_s"), 2),
            _text(unit.get("mounting_source")),
            number(None if share is None else 100 * share, 0),
            str(len(unit.get("gaps") or ())),
        )
    return table


def _print_end(console: Console, paths: Sequence[Path]) -> None:
    if paths:
        names = ", ".join(path.name for path in paths)
        console.print(Text(f"written to {paths[0].parent}: {names}"), soft_wrap=True)


def _vector(value: Sequence[float] | None, decimals: int) -> str:
    return NONE if value is None else " ".join(f"{part:5.{decimals}f}" for part in value)


def _give_or_take(sd_m: Sequence[float]) -> str:
    """The largest of the standard deviations of a place's components, in mm; where there are any."""
    return f" ±{number(1000 * max(sd_m), 0):>4}" if sd_m else ""


def _millimetres(value_m: Sequence[float] | None) -> str:
    return _vector(None if value_m is None else [1000 * part for part in value_m], 0)


def _text(value: object) -> str:
    return NONE if value is None else one_line(str(value), LONGEST_TEXT)
