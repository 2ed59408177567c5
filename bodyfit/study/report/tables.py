"""The report's tables: joints, units, what was estimated, how to do it again.

Every text from a file is escaped.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from ...results.joints import HingeFigures, JointCentreFigures, JointHeadingFigures
from ...results.kinds import Range
from ...results.summary import FitOptions, Summary
from ...results.units import UnitFigures
from .files import FitFiles
from .words import NONE, joint_label, number, safe, spaced, vector

HALF_TURN = np.pi
MM = 1000.0  # in a metre
MS = 1000.0  # in a second
Row = Sequence[str]


def table(caption: str, header: Row, rows: Iterable[tuple[str, Row]]) -> str:
    """A table in a frame that scrolls sideways where the page is narrow.

    Parameters
    ----------
    caption, header : plain text
    rows : (attributes of the row, cells as markup; the first is the row's heading)
    """
    head = "".join(f'<th scope="col">{safe(name)}</th>' for name in header)
    body = "".join(
        f'<tr{attributes}><th scope="row">{cells[0]}</th>'
        + "".join(f"<td>{cell}</td>" for cell in cells[1:])
        + "</tr>\n"
        for attributes, cells in rows
    )
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="{safe(caption)}"><table>'
        f"<caption><span>{safe(caption)}</span></caption><thead><tr>{head}</tr></thead>\n<tbody>{body}</tbody></table></div>"
    )


def joint_table(files: FitFiles) -> str:
    """Every joint angle: its extent, its spread, its published range, and whether it is determined."""
    header = (
        *("Joint", "Angle", "Least °", "Most °", "Range of motion °", "Mean SD °", "Published range °"),
        *("Frames beyond it %", "Determined by this capture"),
    )
    rows = [row for joint in files.angles for row in _joint_rows(files, joint)]
    return table("Joint angles over the whole capture, from every frame", header, rows)


def _joint_rows(files: FitFiles, joint: str) -> list[tuple[str, Row]]:
    """One row an angle; the joint's first row opens its group."""
    told = files.summary.joints[joint]
    name = (
        f'<button type="button" class="plain" data-joint="{safe(joint)}">{safe(joint_label(joint))}</button>'
        f" <code>{safe(joint)}</code>"
    )
    rows = []
    for number_, (angle, values) in enumerate(files.angles[joint].items()):
        first = number_ == 0
        cells = [
            name if first else f'<span class="quiet">{safe(joint_label(joint))}</span>',
            safe(spaced(angle)),
            *_extent(values),
            number(_mean_deg(files.angle_sd[joint].get(angle))),
            *_published(values, told.angles[angle].range_deg),
            _determined(told.heading) if first else "",
        ]
        rows.append((' class="opens"' if first else "", cells))
    return rows


def _extent(values: np.ndarray) -> tuple[str, str, str]:
    """Least, most, and range of motion in degrees; none where the angle passes ±180°."""
    known = values[np.isfinite(values)]
    if not len(known):
        return NONE, NONE, NONE
    if np.any(np.abs(np.diff(known)) > HALF_TURN):
        return NONE, NONE, "passes ±180"
    low, high = np.degrees([known.min(), known.max()])
    return number(low), number(high), number(high - low)


def _mean_deg(spread: np.ndarray | None) -> float | None:
    known = np.zeros(0) if spread is None else spread[np.isfinite(spread)]
    return float(np.degrees(known.mean())) if len(known) else None


def _published(values: np.ndarray, limits: Range | None) -> tuple[str, str]:
    """The range, and the share of frames beyond it."""
    known = np.degrees(values[np.isfinite(values)])
    if not limits or not len(known):
        return NONE, NONE
    beyond = np.mean((known < limits[0]) | (known > limits[1]))
    return f"{number(limits[0])} to {number(limits[1])}", number(100 * float(beyond))


def _determined(told: JointHeadingFigures | None) -> str:
    """Whether the motion determined the joint, with the spread of its heading and the note."""
    if told is None:
        return "not asked (each unit by itself)"
    word = "yes" if told.determined else "<strong>no</strong>"
    note = f"; {safe(told.note)}" if told.note else ""
    return f"{word}, heading ± {number(told.relative_heading_sd_deg)}°{note}"


def range_sources(files: FitFiles) -> str:
    """Where the published ranges come from, joints of one source together."""
    by_source: dict[str, list[str]] = {}
    for joint, told in files.summary.joints.items():
        if told.range_source and joint in files.angles:
            by_source.setdefault(told.range_source, []).append(joint_label(joint))
    items = [f"<li>{safe(', '.join(names))}: {safe(source)}</li>" for source, names in by_source.items()]
    return f'<ul class="small">{"".join(items)}</ul>' if items else ""


def unit_table(files: FitFiles) -> str:
    """Every worn unit and how far it can be trusted."""
    header = (
        *(
            "Unit",
            "On segment",
            "Sensors used",
            "Mounting found from",
            "Mounting SD ° (X, Y, Z)",
            "Late by ms, taken off",
            "Gyroscope bias °/s",
            "Drift removed °",
        ),
        *("Magnetometer trusted %", "Samples missing"),
    )
    told = files.summary
    late = {name: clock.offset_s for name, clock in told.clocks.items()}
    rows = [("", _unit_row(name, unit, late.get(name))) for name, unit in told.units.items()]
    return table("Worn units", header, rows)


def _unit_row(name: str, told: UnitFigures, late: float | None) -> Row:
    share, gaps = told.magnetometer_trusted_share, told.gaps
    lost = sum(end - start for start, end in gaps)
    return (
        safe(name),
        safe(told.segment),
        safe(", ".join(told.sensors)),
        safe(told.mounting_source) + _open(told.mounting_open),
        vector(told.mounting_sd_deg, 0),
        NONE if late is None else number(MS * late),
        vector(told.gyroscope_bias_deg_per_s, 2),
        number(told.heading_drift_removed_deg),
        "not used" if share is None else number(100 * share, 0),
        f"{len(gaps)} {'stretch' if len(gaps) == 1 else 'stretches'}, {number(lost, 2)} s"
        if gaps
        else "none",
    )


def _open(directions: Sequence[str]) -> str:
    """Turns of a mounting that nothing shows."""
    return f"; <strong>open</strong>: {safe('; '.join(directions))}" if directions else ""


def estimated(files: FitFiles) -> str:
    """What the fit estimated beside the motion: joint centres, axes, mountings, latency."""
    told, joints = files.summary, files.summary.joints
    rows = [("", _arm_row(name, joint.centre)) for name, joint in joints.items() if joint.centre]
    parts = [_whole_body_facts(told)]
    if rows:
        header = (
            *("Joint", "Seen from the unit above, mm", "SD mm", "Seen from the unit below, mm", "SD mm"),
            *("Found from", "Disagreement m/s²"),
        )
        parts.append(table("Where the joint centres lie (X forward, Y to the head, Z right)", header, rows))
    axes = [("", _axis_row(name, joint.hinge)) for name, joint in joints.items() if joint.hinge]
    if axes:
        header = ("Joint", "Axis in the parent segment", "Axis in the child segment", "SD °", "Play °")
        parts.append(table("Hinge axes", header, axes))
    mounted = [("", _mounting_row(name, unit)) for name, unit in told.units.items()]
    header = ("Unit", "Segment from unit, quaternion x, y, z, w", "Found from", "Accelerometer scale")
    parts.append(table("How each unit sits on its segment", header, mounted))
    return "\n".join(parts)


def _arm_row(name: str, centre: JointCentreFigures) -> Row:
    return (
        safe(joint_label(name)),
        vector(centre.lever_arm_parent_m, 0, MM),
        vector(centre.lever_arm_sd_m[:3], 0, MM),
        vector(centre.lever_arm_child_m, 0, MM),
        vector(centre.lever_arm_sd_m[3:], 0, MM),
        safe(centre.lever_arm_source),
        number(centre.residual_m_s2, 2),
    )


def _axis_row(name: str, hinge: HingeFigures) -> Row:
    return (
        safe(joint_label(name)),
        vector(hinge.hinge_axis_parent, 3),
        vector(hinge.hinge_axis_child, 3),
        number(hinge.hinge_axis_sd_deg, 2),
        number(hinge.hinge_play_deg, 2),
    )


def _mounting_row(name: str, unit: UnitFigures) -> Row:
    turn, scale = vector(unit.mounting_quat_xyzw, 3), number(unit.accelerometer_scale, 4)
    return safe(name), turn, safe(unit.mounting_source), scale


def _whole_body_facts(told: Summary) -> str:
    return facts(
        {
            "Heading": safe(told.heading.reference),
            "Facing found from": safe(told.heading.facing_from),
            "Place in the room": safe(told.root_position),
            "Gyroscopes behind accelerometers": f"{number(MS * told.gyroscope_latency_s)} ms",
        }
    )


def facts(told: Mapping[str, str]) -> str:
    """A list of names and values, the values as markup."""
    return "<dl>" + "".join(f"<dt>{safe(k)}</dt><dd>{v}</dd>" for k, v in told.items()) + "</dl>"


def reproduction(files: FitFiles) -> str:
    """Version, options and file digests: what it takes to get the same figures again."""
    told = files.summary
    digests = "".join(f"<li><code>{safe(d)}</code> {safe(name)}</li>" for name, d in files.digests.items())
    return facts(
        {
            "Made by": f"bodyfit {safe(told.bodyfit_version)}",
            "Command": f"<code>{safe(_command(told.options))}</code>",
            "Body model": f"{safe(told.model.name)}, {told.model.segments} segments",
            "Samples": f"{told.sampling.frames} frames at {number(told.sampling.frequency_hz, 2)} Hz",
            "Solver": f"{told.solver.iterations} iterations, "
            + ("converged" if told.solver.converged else "<strong>not converged</strong>")
            + f", last step {number(told.solver.last_step_deg, 3)}°",
            "Files read, SHA-256": f'<ul class="digests">{digests}</ul>',
        }
    )


def _command(options: FitOptions) -> str:
    """The call that these options stand for; names of folders are left to the reader."""
    words = ["bodyfit", "fit", "CAPTURE", "--out", "OUT"]
    if options.sensors:
        words += ["--sensors", ",".join(options.sensors)]
    words += ["--alone"] * options.alone
    words += [word for unit in options.leave_out for word in ("--leave-out", unit)]
    words += ["--strict-ranges"] * options.strict_ranges
    words += ["--no-usual-postures"] * (not options.usual_postures)
    if options.assign != "given":
        words += ["--assign", options.assign]
    return shlex.join(words)
