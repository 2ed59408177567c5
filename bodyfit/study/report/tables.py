"""The report's tables: joints, units, what was estimated, how to do it again.

Every text from a file is escaped.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from .files import FitFiles
from .words import NONE, joint_label, number, safe, spaced, vector

HALF_TURN = np.pi
MM = 1000.0
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
    told = files.summary["joints"][joint]
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
            *_published(values, (told["angles"][angle] or {}).get("range_deg")),
            _determined(told) if first else "",
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


def _published(values: np.ndarray, limits: Any) -> tuple[str, str]:
    """The range, and the share of frames beyond it."""
    known = np.degrees(values[np.isfinite(values)])
    if not limits or not len(known):
        return NONE, NONE
    beyond = np.mean((known < limits[0]) | (known > limits[1]))
    return f"{number(limits[0])} to {number(limits[1])}", number(100 * float(beyond))


def _determined(told: Mapping[str, Any]) -> str:
    """Whether the motion determined the joint, with the spread of its heading and the note."""
    if "determined" not in told:
        return "not asked (each unit by itself)"
    word = "yes" if told["determined"] else "<strong>no</strong>"
    spread = number(told.get("relative_heading_sd_deg"))
    note = f"; {safe(told['note'])}" if told.get("note") else ""
    return f"{word}, heading ± {spread}°{note}"


def range_sources(files: FitFiles) -> str:
    """Where the published ranges come from, joints of one source together."""
    by_source: dict[str, list[str]] = {}
    for joint, told in files.summary["joints"].items():
        if told.get("range_source") and joint in files.angles:
            by_source.setdefault(told["range_source"], []).append(joint_label(joint))
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
    units = files.summary.get("units") or {}
    clocks = files.summary.get("clocks") or {}
    rows = [("", _unit_row(name, told, clocks.get(name) or {})) for name, told in units.items()]
    return table("Worn units", header, rows)


def _unit_row(name: str, told: Mapping[str, Any], clock: Mapping[str, Any]) -> Row:
    share, gaps = told.get("magnetometer_trusted_share"), told.get("gaps") or []
    lost = sum(end - start for start, end in gaps)
    return (
        safe(name),
        safe(told.get("segment")),
        safe(", ".join(told.get("sensors") or [])),
        safe(told.get("mounting_source")) + _open(told.get("mounting_open")),
        vector(told.get("mounting_sd_deg"), 0),
        number(MM * clock["offset_s"]) if "offset_s" in clock else NONE,
        vector(told.get("gyroscope_bias_deg_per_s"), 2),
        number(told.get("heading_drift_removed_deg")),
        "not used" if share is None else number(100 * share, 0),
        f"{len(gaps)} {'stretch' if len(gaps) == 1 else 'stretches'}, {number(lost, 2)} s"
        if gaps
        else "none",
    )


def _open(directions: Any) -> str:
    """Turns of a mounting that nothing shows."""
    return f"; <strong>open</strong>: {safe('; '.join(map(str, directions)))}" if directions else ""


def estimated(files: FitFiles) -> str:
    """What the fit estimated beside the motion: joint centres, axes, mountings, latency."""
    told, joints = files.summary, files.summary["joints"]
    rows = [("", _arm_row(name, joint)) for name, joint in joints.items() if "lever_arm_parent_m" in joint]
    parts = [_whole_body_facts(told)]
    if rows:
        header = (
            *("Joint", "Seen from the unit above, mm", "SD mm", "Seen from the unit below, mm", "SD mm"),
            *("Found from", "Disagreement m/s²"),
        )
        parts.append(table("Where the joint centres lie (X forward, Y to the head, Z right)", header, rows))
    axes = [("", _axis_row(name, joint)) for name, joint in joints.items() if "hinge_axis_parent" in joint]
    if axes:
        header = ("Joint", "Axis in the parent segment", "Axis in the child segment", "SD °", "Play °")
        parts.append(table("Hinge axes", header, axes))
    mounted = [("", _mounting_row(name, unit)) for name, unit in (told.get("units") or {}).items()]
    header = ("Unit", "Segment from unit, quaternion x, y, z, w", "Found from", "Accelerometer scale")
    parts.append(table("How each unit sits on its segment", header, mounted))
    return "\n".join(parts)


def _arm_row(name: str, joint: Mapping[str, Any]) -> Row:
    spread = joint.get("lever_arm_sd_m") or []
    return (
        safe(joint_label(name)),
        vector(joint.get("lever_arm_parent_m"), 0, MM),
        vector(spread[:3], 0, MM),
        vector(joint.get("lever_arm_child_m"), 0, MM),
        vector(spread[3:], 0, MM),
        safe(joint.get("lever_arm_source")),
        number(joint.get("residual_m_s2"), 2),
    )


def _axis_row(name: str, joint: Mapping[str, Any]) -> Row:
    parent, child = (vector(joint.get(f"hinge_axis_{which}"), 3) for which in ("parent", "child"))
    spread, play = (number(joint.get(key), 2) for key in ("hinge_axis_sd_deg", "hinge_play_deg"))
    return safe(joint_label(name)), parent, child, spread, play


def _mounting_row(name: str, unit: Mapping[str, Any]) -> Row:
    turn, scale = unit.get("mounting_quat_xyzw"), unit.get("accelerometer_scale")
    return safe(name), vector(turn, 3), safe(unit.get("mounting_source")), number(scale, 4)


def _whole_body_facts(told: Mapping[str, Any]) -> str:
    latency = told.get("gyroscope_latency_s")
    heading = told.get("heading") or {}
    return facts(
        {
            "Heading": safe(heading.get("reference")),
            "Facing found from": safe(heading.get("facing_from")),
            "Place in the room": safe(told.get("root_position")),
            "Gyroscopes behind accelerometers": f"{number(None if latency is None else 1000 * latency)} ms",
        }
    )


def facts(told: Mapping[str, str]) -> str:
    """A list of names and values, the values as markup."""
    return "<dl>" + "".join(f"<dt>{safe(k)}</dt><dd>{v}</dd>" for k, v in told.items()) + "</dl>"


def reproduction(files: FitFiles) -> str:
    """Version, options and file digests: what it takes to get the same figures again."""
    told, sampling, solver = (files.summary.get(key) or {} for key in ("model", "sampling", "solver"))
    digests = "".join(f"<li><code>{safe(d)}</code> {safe(name)}</li>" for name, d in files.digests.items())
    return facts(
        {
            "Made by": f"bodyfit {safe(files.summary.get('bodyfit_version'))}",
            "Command": f"<code>{safe(_command(files.summary.get('options') or {}))}</code>",
            "Body model": f"{safe(told.get('name'))}, {safe(told.get('segments'))} segments",
            "Samples": f"{safe(sampling.get('frames'))} frames at "
            f"{number(sampling.get('frequency_hz'), 2)} Hz",
            "Solver": f"{safe(solver.get('iterations'))} iterations, "
            + ("converged" if solver.get("converged") else "<strong>not converged</strong>")
            + f", last step {number(solver.get('last_step_deg'), 3)}°",
            "Files read, SHA-256": f'<ul class="digests">{digests}</ul>',
        }
    )


def _command(options: Mapping[str, Any]) -> str:
    """The call that these options stand for; names of folders are left to the reader."""
    words = ["bodyfit", "fit", "CAPTURE", "--out", "OUT"]
    for key, value in options.items():
        flag = "--" + key.replace("_", "-")
        if value is True:
            words.append(flag)
        elif key == "sensors" and value:
            words += [flag, ",".join(value)]
        elif isinstance(value, (list, tuple)):
            words += [word for item in value for word in (flag, str(item))]
        elif value not in (None, False):
            words += [flag, str(value)]
    return shlex.join(words)
