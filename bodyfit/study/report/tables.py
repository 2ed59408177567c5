"""The report's tables: joints, units, what was estimated, how to do it again.

Every text from a file is escaped.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ...body.anatomy import spoken
from ...core.angles import extent, is_known
from ...core.robust import BAND_95
from ...results.joints import HingeFigures, JointCentreFigures, JointHeadingFigures
from ...results.kinds import Range
from ...results.summary import Summary
from ...results.units import UnitFigures
from ..pages.parts import table_of
from .files import FitFiles
from .words import NONE, NOT_KNOWN, number, safe, spaced, vector

HALF_TURN_DEG = 180.0
MM = 1000.0  # in a metre
MS = 1000.0  # in a second
Row = Sequence[str]


def joint_table(files: FitFiles) -> str:
    """Every joint angle: its extent, its spread, its published range, and whether it is determined."""
    if not files.angles:
        return "<p>This body has no joint: it is one segment, or its joints were not measured.</p>"
    header = (
        *("Joint", "Angle", "#Least °", "#Most °", "#Range of motion °", "#Mean SD °"),
        *("#Published range °", "#Frames beyond it %", "=Determined by this capture"),
    )
    rows = [row for joint in files.angles for row in _joint_rows(files, joint)]
    return table_of("Joint angles over the whole capture, from every frame", header, rows, titled=True)


def _joint_rows(files: FitFiles, joint: str) -> list[Row]:
    """One row an angle; the joint's first row opens its group."""
    told, name = files.summary.joints[joint], safe(spoken(joint))
    chooser = f'<button type="button" class="plain" data-joint="{safe(joint)}">{name}</button>'
    rows = []
    for number_, (angle, values) in enumerate(files.angles[joint].items()):
        first, spread = number_ == 0, files.angle_sd[joint].get(angle)
        known = is_known(spread, values)
        cells = [
            chooser if first else f'<span class="quiet">{name}</span>',
            safe(spaced(angle)),
            *_extent(values, spread),
            _mean_spread(spread, known),
            *_published(values[known], told.angles[angle].range_deg),
            _determined(files, told.heading) if first else "",
        ]
        rows.append(cells)
    return rows


def _extent(values: np.ndarray, spread: np.ndarray | None) -> tuple[str, str, str]:
    """Least, most, and range of motion in degrees, where the angle is known, without jumps of a turn."""
    low, high = np.degrees(extent(values, spread))
    if np.isnan(low):
        return NOT_KNOWN, NOT_KNOWN, NOT_KNOWN
    return number(low), number(high), number(high - low)


def _mean_spread(spread: np.ndarray | None, known: np.ndarray) -> str:
    if spread is None:
        return NONE
    inside = spread[known & np.isfinite(spread)]
    return number(np.degrees(float(inside.mean()))) if len(inside) else NOT_KNOWN


def _published(values: np.ndarray, limits: Range | None) -> tuple[str, str]:
    """The range, and the share of frames beyond it."""
    known = np.degrees(values)
    if not limits or not len(known):
        return NONE, NONE
    beyond = np.mean((known < limits[0]) | (known > limits[1]))
    return f"{number(limits[0])} to {number(limits[1])}", number(100 * float(beyond))


def _determined(files: FitFiles, told: JointHeadingFigures | None) -> str:
    """Whether the motion determined the joint, with the spread of its heading and the note."""
    if told is None:
        return "not asked (each unit by itself)"
    word = "yes" if told.determined else "<strong>no</strong>"
    note = f"; {safe(files.names.within(told.note))}" if told.note else ""
    return f"{word}, heading {_plus_minus(told.relative_heading_sd_deg)}{note}"


def _plus_minus(sd_deg: float | None) -> str:
    """A standard deviation of an angle in words; one whose band is wider than a turn tells nothing."""
    if sd_deg is None or not np.isfinite(sd_deg) or BAND_95 * sd_deg >= HALF_TURN_DEG:
        return NOT_KNOWN
    return f"± {number(sd_deg)}°"


def range_sources(files: FitFiles) -> str:
    """Where the published ranges come from, joints of one source together."""
    by_source: dict[str, list[str]] = {}
    for joint, told in files.summary.joints.items():
        if told.range_source and joint in files.angles:
            by_source.setdefault(told.range_source, []).append(spoken(joint))
    items = [f"<li>{safe(', '.join(names))}: {safe(source)}</li>" for source, names in by_source.items()]
    return f'<ul class="small">{"".join(items)}</ul>' if items else ""


def unit_table(files: FitFiles) -> str:
    """Every worn unit and how far it can be trusted."""
    header = (
        *("Unit", "On segment", "=Sensors used", "=Mounting found from", "#Mounting SD ° (X, Y, Z)"),
        *("#Late by ms, taken off", "#Gyroscope bias °/s", "#Drift removed °", "#Magnetometer trusted %"),
        "Samples missing",
    )
    told = files.summary
    late = {name: clock.offset_s for name, clock in told.clocks.items()}
    rows = [_unit_row(files, name, unit, late.get(name)) for name, unit in told.units.items()]
    return table_of("Worn units", header, rows, titled=True)


def _unit_row(files: FitFiles, name: str, told: UnitFigures, late: float | None) -> Row:
    share, gaps = told.magnetometer_trusted_share, told.gaps
    lost = sum(end - start for start, end in gaps)
    count = f"{len(gaps)} {'stretch' if len(gaps) == 1 else 'stretches'}, {number(lost, 2)} s"
    return (
        safe(files.names.of(name)),
        safe(spoken(told.segment)),
        safe(", ".join(told.sensors)),
        safe(told.mounting_source) + _open(told.mounting_open),
        vector(told.mounting_sd_deg, 0),
        NONE if late is None else number(MS * late),
        vector(told.gyroscope_bias_deg_per_s, 2),
        number(told.heading_drift_removed_deg),
        "not used" if share is None else number(100 * share, 0),
        count if gaps else "none",
    )


def _open(directions: Sequence[str]) -> str:
    """Turns of a mounting that nothing shows."""
    return f"; <strong>open</strong>: {safe('; '.join(directions))}" if directions else ""


def estimated(files: FitFiles) -> str:
    """What the fit estimated beside the motion: joint centres, axes, mountings, latency."""
    told, joints = files.summary, files.summary.joints
    parts = [_whole_body_facts(told)]
    if rows := [_arm_row(name, joint.centre) for name, joint in joints.items() if joint.centre]:
        header = (
            *("Joint", "#Seen from the unit above, mm", "#SD mm", "#Seen from the unit below, mm", "#SD mm"),
            *("=Found from", "#Disagreement m/s²"),
        )
        title = "Where the joint centres lie (X forward, Y to the head, Z right)"
        parts.append(table_of(title, header, rows, titled=True))
    if axes := [_axis_row(name, joint.hinge) for name, joint in joints.items() if joint.hinge]:
        header = ("Joint", "#Axis in the parent segment", "#Axis in the child segment", "#SD °", "#Play °")
        parts.append(table_of("Hinge axes", header, axes, titled=True))
    mounted = [_mounting_row(files.names.of(name), unit) for name, unit in told.units.items()]
    header = ("Unit", "#Segment from unit, quaternion x, y, z, w", "=Found from", "#Accelerometer scale")
    parts.append(table_of("How each unit sits on its segment", header, mounted, titled=True))
    return "\n".join(parts)


def _arm_row(name: str, centre: JointCentreFigures) -> Row:
    return (
        safe(spoken(name)),
        vector(centre.lever_arm_parent_m, 0, MM),
        vector(centre.lever_arm_sd_m[:3], 0, MM),
        vector(centre.lever_arm_child_m, 0, MM),
        vector(centre.lever_arm_sd_m[3:], 0, MM),
        safe(centre.lever_arm_source),
        number(centre.residual_m_s2, 2),
    )


def _axis_row(name: str, hinge: HingeFigures) -> Row:
    return (
        safe(spoken(name)),
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
