"""The table that a person reads after a fit: joints, units, warnings, files; at most 100 columns wide."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import zip_longest
from pathlib import Path

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ...body.anatomy import ELEVATION_SIGN
from ...core.findings import Finding
from ...core.one_line import one_line
from ...results.joints import JointFigures
from ...results.kinds import Figure
from ...results.summary import Summary
from ...results.units import UnitFigures
from .findings import print_findings
from .table import NONE, console_of, number, plain_table, print_named

LONGEST_TEXT = 400  # characters of a title or a name: four lines (by reasoning)
SHORT = {"accelerometer": "acc", "gyroscope": "gyro", "magnetometer": "mag", "orientation": "fused"}


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
    summary : what the fit tells of itself; what is None is printed as –
    paths : files written
    findings : of the fit
    console : where to; default is the standard output
    everything : every finding by itself, notes too
    inferred : joints with no unit on one side, too
    """
    console = console_of(console)
    _print_heading(console, summary)
    joints = {name: joint for name, joint in summary.joints.items() if inferred or not joint.inferred}
    if joints:
        console.print(_joints(joints))
        _print_notes(console, joints)
    if len(joints) < len(summary.joints):
        untold = ", ".join(name for name in summary.joints if name not in joints)
        console.print(Text(f"inferred, not shown (--inferred): {untold}"))
        console.print()
    if summary.units:
        console.print(_units(summary.units))
    console.print()
    print_findings(findings, console, everything)
    _print_end(console, list(paths))


def _print_heading(console: Console, summary: Summary) -> None:
    model, sampling, solver = summary.model, summary.sampling, summary.solver
    span = f"{number(sampling.start_s, 2)} to {number(sampling.end_s, 2)} s"
    if sampling.start_time:
        span += f" from {sampling.start_time}"
    lines = {
        "capture": _text(summary.capture or NONE),
        "body": f"{_text(model.name)}, {model.segments} segments, {model.joints} joints",
        "frames": f"{sampling.frames} at {number(sampling.frequency_hz, 1)} Hz, {span}",
        "heading": _text(summary.heading.reference),
        "solver": f"{solver.iterations} iterations, the last by {number(solver.last_step_deg, 3)}°, "
        f"{number(summary.wall_time_s, 1)} s",
    }
    if solver.other_start_cost is not None:
        lines["solver"] += f"; cost {number(solver.cost, 0)}, from the other way in which units may face "
        lines["solver"] += number(solver.other_start_cost, 0)
    if not solver.converged:
        lines["solver"] += "; NOT CONVERGED, bands widened by what it was still moving"
    console.print()
    print_named(console, lines, 9)
    console.print()


def _joints(joints: Mapping[str, JointFigures]) -> Table:
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


def _names(name: str, joint: JointFigures) -> list[Text | str]:
    axes = f", {' '.join(joint.sequence)}" if joint.sequence else ""
    return [Text(name, style="bold"), f"  {joint.type}{axes}"]


def _angles(joint: JointFigures) -> list[tuple[str, str, str]]:
    return [
        (name.replace("_", " "), number(span.min_deg, 1), number(span.max_deg, 1))
        for name, span in joint.angles.items()
    ]


def _found(joint: JointFigures) -> list[str]:
    centre, lines = joint.centre, [NONE]
    if centre:
        arms = {
            "parent": (centre.lever_arm_parent_m, centre.lever_arm_sd_m[:3]),
            "child": (centre.lever_arm_child_m, centre.lever_arm_sd_m[3:]),
        }
        lines = [f"{end:<6} {_millimetres(arm)}{_give_or_take(sd)}" for end, (arm, sd) in arms.items()]
    if joint.hinge:
        lines.append(f"axis   {_vector(joint.hinge.hinge_axis_parent, 2)}")
    return [*lines, centre.lever_arm_source] if centre else lines


def _quality(joint: JointFigures) -> list[tuple[str | Text, str | Text]]:
    heading: str | Text = number(joint.heading and joint.heading.relative_heading_sd_deg, 1)
    if joint.heading and not joint.heading.determined:
        heading = Text("unknown", style="bold red")
    return [(number(joint.centre and joint.centre.residual_m_s2, 2), heading)]


def _print_notes(console: Console, joints: Mapping[str, JointFigures]) -> None:
    for name, joint in joints.items():
        if joint.heading and joint.heading.note:
            console.print(Padding(Text(f"{name}: {joint.heading.note}"), (0, 0, 0, 2)))
    if any("elevation" in joint.angles for joint in joints.values()):
        console.print(Padding(Text(ELEVATION_SIGN), (0, 0, 0, 2)))
    console.print()


def _units(units: Mapping[str, UnitFigures]) -> Table:
    table = plain_table(
        "unit", "segment", "sensors used", "gyroscope\nbias °/s", "mounting", ">field\ntrusted %", ">gaps"
    )
    for name, unit in units.items():
        share = unit.magnetometer_trusted_share
        table.add_row(
            Text(name, style="bold"),
            _text(unit.segment),
            ", ".join(SHORT[word] for word in unit.sensors) or NONE,
            _vector(unit.gyroscope_bias_deg_per_s, 2),
            _text(unit.mounting_source),
            number(None if share is None else 100 * share, 0),
            str(len(unit.gaps)),
        )
    return table


def _print_end(console: Console, paths: Sequence[Path]) -> None:
    if paths:
        names = ", ".join(path.name for path in paths)
        console.print(Text(f"written to {paths[0].parent}: {names}"), soft_wrap=True)


def _vector(value: Sequence[float] | None, decimals: int) -> str:
    return NONE if value is None else " ".join(f"{part:5.{decimals}f}" for part in value)


def _give_or_take(sd_m: Sequence[Figure]) -> str:
    """The largest of the standard deviations of a place's components, in mm; where there are any."""
    known = [1000 * sd for sd in sd_m if sd is not None]
    return f" ±{number(max(known), 0):>4}" if known else ""


def _millimetres(value_m: Sequence[float]) -> str:
    return _vector([1000 * part for part in value_m], 0)


def _text(value: str) -> str:
    return one_line(value, LONGEST_TEXT)
