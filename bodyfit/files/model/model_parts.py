"""Segments and joints of a body-model file, key by key."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from ...body.anatomy import standard_angles
from ...body.parts import JOINT_TYPES, Joint, Segment
from ...body.person import SEXES
from ...body.plain_data import JOINT_SHARES, SEGMENT_SHARES
from ..plain.readable import is_file
from ..plain.toml_reader import LONGEST_NAME, SMALLEST, TomlTable, is_number

SEGMENT_KEYS = ("length_m", "mass_kg", "com_m", "inertia_kgm2", "mesh", *SEGMENT_SHARES)
JOINT_KEYS = (
    *("parent", "child", "type", "axis", "centre_in_parent_m", "centre_in_child_m", *JOINT_SHARES),
    *("sequence", "angles", "signs", "range_deg", "range_source", "stiffness", "report"),
)
# Limits of a model's numbers, far beyond every body and machine that carries worn units (by reasoning)
LENGTHS_M, FARTHEST_M, MOST_KG, MOST_KGM2 = (1e-4, 100.0), 100.0, 1e6, 1e9
# ten turns; from play of a bearing to as good as free; a hundred statures: by reasoning
LARGEST_DEG, STIFFNESS_DEG, MOST_SHARE = 3600.0, (1e-3, 1e4), 100.0


def read_segment(name: str, table: TomlTable) -> Segment:
    """One segment from its table."""
    table.only(SEGMENT_KEYS)
    return Segment(
        name,
        length=table.number("length_m", *LENGTHS_M, "a length above 0 in metres, 0.0001 to 100"),
        mass=table.number("mass_kg", 1e-9, MOST_KG, "a mass above 0 in kilograms, 1e6 at most"),
        com=table.numbers("com_m", 3, "metres in the segment frame", FARTHEST_M),
        inertia=_inertia(table),
        mesh=_mesh(table),
        source=table.text("source") or "",
        **{key: _share(table, key, count) for key, count in SEGMENT_SHARES.items()},
    )


def read_joint(name: str, table: TomlTable, segments: list[str]) -> Joint:
    """One joint from its table; its parent and child are among the segments."""
    table.only(JOINT_KEYS)
    kind = table.choice("type", JOINT_TYPES) or "ball"
    sequence, angles, signs = _angles(name, table)
    return Joint(
        name,
        parent=_end(table, "parent", segments),
        child=_end(table, "child", segments),
        type=kind,
        axis=_axis(table, kind),
        centre_in_parent=table.numbers("centre_in_parent_m", 3, "metres in the parent's frame", FARTHEST_M),
        centre_in_child=table.numbers("centre_in_child_m", 3, "metres in the child's frame", FARTHEST_M),
        sequence=sequence,
        angles=angles,
        signs=signs,
        range=_ranges(table, angles),
        stiffness=_stiffness(table, angles),
        source=table.text("source") or "",
        range_source=table.text("range_source") or "",
        **{key: _share(table, key, count) for key, count in JOINT_SHARES.items()},
    )


def read_pose(name: str, table: TomlTable, joints: Mapping[str, Joint]) -> dict[str, dict[str, float]]:
    """One pose from its table: joint -> angle -> rad."""
    if name == "neutral":
        table.refuse("", "neutral is the pose in which every angle is zero; choose another name")
    table.only(joints)
    out = {}
    for joint in joints:
        angles = table.table(joint)
        if angles is None:
            continue
        angles.only(joints[joint].angles)
        what = "an angle in degrees, -360 to 360"
        values = {a: angles.number(a, -360, 360, what) for a in angles.values if a != "source"}
        out[joint] = {a: float(v) for a, v in _radians(values).items()}
    return out


def _end(table: TomlTable, key: str, segments: list[str]) -> str:
    return table.choice(key, segments) or table.missing(key, f"a segment's name: {', '.join(segments)}")


def _mesh(table: TomlTable) -> str | None:
    mesh = table.text("mesh")
    if mesh is None:
        return None
    path = table.file.parent / mesh
    return str(path) if is_file(path) else table.mismatch("mesh", f"a mesh file; there is no {path}")


def _inertia(table: TomlTable) -> np.ndarray | None:
    """(3, 3) from three principal values or a symmetric matrix; refused when no body can have it."""
    value = table.values.get("inertia_kgm2")
    if value is None:
        return None
    expected = "[Ixx, Iyy, Izz] or a symmetric 3 by 3 matrix, kg m²"
    rows = value if isinstance(value, list) else [value]
    cells = [cell for row in rows for cell in (row if isinstance(row, list) else [row])]
    if not all(is_number(cell) and abs(cell) <= MOST_KGM2 for cell in cells):
        table.mismatch("inertia_kgm2", expected)
    try:
        given = np.array(value, float)
    except (TypeError, ValueError):
        table.mismatch("inertia_kgm2", expected)
    inertia = np.diag(given) if given.shape == (3,) else given
    if inertia.shape != (3, 3) or not np.allclose(inertia, inertia.T, rtol=1e-9, atol=0):
        table.mismatch("inertia_kgm2", expected)
    low, middle, high = np.linalg.eigvalsh(inertia)
    if low <= 0 or low + middle < high * (1 - 1e-9):
        table.mismatch(
            "inertia_kgm2", "principal moments above 0, the largest at most the sum of the other two"
        )
    return inertia


def _share(table: TomlTable, key: str, count: int) -> Any:
    """A number (or three), or a table { male = .., female = .. } of such."""
    sexes = table.table(key) if isinstance(table.values.get(key), Mapping) else None
    if sexes is None:
        return _share_value(table, key, count)
    sexes.only(SEXES)
    for sex in SEXES:
        if _share_value(sexes, sex, count) is None:
            sexes.missing(sex, "a share for each sex, or one number for both")
    return dict(sexes.values)


def _share_value(table: TomlTable, key: str, count: int) -> Any:
    if count == 1:
        what = "a share above 0, or { male = .., female = .. }"
        return table.number(key, SMALLEST, MOST_SHARE, what)
    value = table.numbers(key, count, "or { male = [..], female = [..] }", MOST_SHARE)
    return None if value is None else value.tolist()


def _axis(table: TomlTable, kind: str) -> np.ndarray | None:
    axis = table.numbers("axis", 3, "a direction in the parent's frame")
    if axis is None:
        return None
    if kind != "hinge":
        table.refuse(
            "axis", f'only a hinge has one axis, this joint is {kind!r}; remove it or set type = "hinge"'
        )
    length = np.linalg.norm(axis)
    return axis / length if length > 0 else table.mismatch("axis", "a direction that is not zero")


def _angles(name: str, table: TomlTable) -> tuple[str, tuple[str, str, str], tuple[int, int, int]]:
    """Sequence, angle names and signs; what is left out comes from the standard joint of that name."""
    usual = standard_angles(name) or ("ZXY", Joint.angles, Joint.signs)
    sequence = table.text("sequence") or usual[0]
    if not _is_sequence(sequence):
        table.mismatch("sequence", 'three intrinsic axes in capitals, neighbours different, as in "ZXY"')
    angles, signs = table.texts("angles", 3), table.numbers("signs", 3, "each 1 or -1")
    for angle in angles or ():
        if not angle.isidentifier() or angle.endswith("_sd") or len(angle) > LONGEST_NAME:
            table.mismatch("angles", "names of letters, digits and _, none ending in _sd: they name columns")
    if sequence != usual[0] and angles is None:
        table.missing("angles", f"names for the three rotations of the sequence {sequence}")
    if signs is not None and not np.all(np.abs(signs) == 1):
        table.mismatch("signs", "three numbers, each 1 or -1")
    if signs is None:
        signs = usual[2] if sequence == usual[0] else (1, 1, 1)
    first, second, third = angles or usual[1]
    return sequence, (first, second, third), (int(signs[0]), int(signs[1]), int(signs[2]))


def _is_sequence(sequence: str) -> bool:
    """Whether three intrinsic rotations about these axes reach every rotation."""
    return (
        len(sequence) == 3
        and set(sequence) <= set("XYZ")
        and sequence[0] != sequence[1]
        and sequence[1] != sequence[2]
    )


def _ranges(table: TomlTable, angles: tuple[str, ...]) -> dict[str, tuple[float, float]]:
    """Angle -> (low, high), rad."""
    ranges = table.table("range_deg")
    if ranges is None:
        return {}
    ranges.only(angles)
    pairs = {
        name: ranges.numbers(name, 2, "[low, high] in degrees", LARGEST_DEG)
        for name in ranges.values
        if name in angles
    }
    for name, pair in pairs.items():
        if pair is not None and not pair[0] < pair[1]:
            ranges.mismatch(name, "[low, high] in degrees, low below high")
    return {name: (float(low), float(high)) for name, (low, high) in _radians(pairs).items()}


def _stiffness(table: TomlTable, angles: tuple[str, ...]) -> dict[str, float]:
    """Angle -> prior standard deviation about neutral, rad."""
    given = table.table("stiffness")
    if given is None:
        return {}
    given.only(angles)
    what = "a standard deviation above 0 in degrees, 0.001 to 10000"
    values = {name: given.number(name, *STIFFNESS_DEG, what) for name in given.values if name in angles}
    return {name: float(value) for name, value in _radians(values).items()}


def _radians(values_deg: Mapping[str, Any]) -> dict[str, Any]:
    return {name: np.deg2rad(value) for name, value in values_deg.items() if value is not None}
