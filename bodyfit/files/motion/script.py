"""Scripted motions: joint angles over time as keyframes and sines in a TOML file, made a pose sequence.

Keys: docs/planning.md, "A scripted motion".
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.spatial.transform import Rotation

from ...body.chain import BodyModel
from ...body.motion.poses import PoseSequence, from_joint_angles
from ...body.parts import Joint
from ...body.person import Person
from ...errors import InputError
from ..capture.folder import read_body, read_person
from ..plain.toml_reader import TomlTable, is_number, read_toml

RATE = 100.0  # Hz; common practice of motion capture
SECONDS = (3.0, 600.0)  # chosen; not tried
FASTEST = 10.0  # Hz; the simulator keeps nothing above; by reasoning
TURNS, PLACES = ("turn_left", "lean_back", "lean_right"), ("x", "y", "z")
SCRIPT_KEYS = ("title", "duration_s", "body", "person", "joints", "root")
SINE_KEYS = ("amplitude", "frequency_hz", "phase_deg")
CURVE_KEYS = ("keyframes", "repeat_s", "middle", "sines")
SLACK_DEG = 1e-6  # by reasoning: rounding


def scripted_body(path: Path) -> tuple[str, BodyModel, Person | None]:
    """Name of the body model, the model, not scaled, and the person that a script names.

    Raises
    ------
    InputError
        One is missing or wrong.
    """
    table = read_toml(path)
    model = read_body(table)
    return str(table.values["body"]["model"]), model, read_person(table.table("person"), model)


def read_script(path: Path, model: BodyModel) -> PoseSequence:
    """The motion that a script describes, at 100 Hz.

    Parameters
    ----------
    path : TOML, keys as in docs/planning.md
    model : the body, scaled

    Returns
    -------
    PoseSequence, its time from 0 to `duration_s`

    Raises
    ------
    InputError
        A key, a joint or an angle is not known, a value is wrong, or an angle leaves its published range.

    Notes
    -----
    Keyframes are joined by monotone cubics, which never go beyond them: Fritsch & Carlson 1980,
    doi:10.1137/0717021. Their accelerations jump at keyframes; the simulator's low-pass rounds that off.
    """
    table = read_toml(path)
    table.only(SCRIPT_KEYS)
    what = f"{SECONDS[0]:g} to {SECONDS[1]:g} seconds"
    loose = [joint.name for joint in model.joints.values() if joint.centre_in_parent is None]
    if loose:
        stature = f"a [person] with stature_m, or --stature: else it is unknown where {loose[0]} is"
        table.refuse("person.stature_m", f"this key is missing; expected {stature}")
    seconds = table.number("duration_s", *SECONDS, what) or table.missing("duration_s", what)
    time = np.arange(round(seconds * RATE) + 1) / RATE
    outer = table.table("joints") or table.missing("joints", "tables such as [joints.r_elbow.flexion]")
    angles = {}
    for name, joint in outer.tables_of(model.joints).items():
        curves = joint.tables_of(model.joints[name].angles)
        angles[name] = {angle: _angle(t, model.joints[name], angle, time) for angle, t in curves.items()}
    rotation, position = _root(table.table("root"), time)
    return from_joint_angles(model, time, angles, rotation, position)


def _root(table: TomlTable | None, time: np.ndarray) -> tuple[Rotation, np.ndarray]:
    """Rotation and place of the root; +Y up, facing +X at zero."""
    curves = {} if table is None else table.tables_of((*TURNS, *PLACES))
    values = {name: _curve(t, time) for name, t in curves.items()}
    turn, place = (
        np.stack([values.get(n, np.zeros(len(time))) for n in names], -1) for names in (TURNS, PLACES)
    )
    return Rotation.from_euler("YZX", turn, degrees=True), place


def _angle(table: TomlTable, joint: Joint, angle: str, time: np.ndarray) -> np.ndarray:
    """(T,) rad, within the published range."""
    values = _curve(table, time)
    low, high = np.degrees(joint.range.get(angle, (-math.inf, math.inf)))
    at = int(np.argmax(np.maximum(low - values, values - high)))
    if not low - SLACK_DEG <= values[at] <= high + SLACK_DEG:
        raise InputError(
            f"{table.file}: {table.key}: found {values[at]:.1f}° at {time[at]:.2f} s; expected {low:.4g} to "
            f"{high:.4g}°, the range of this angle in the body model; check the sign"
        )
    return np.radians(values)


def _curve(table: TomlTable, time: np.ndarray) -> np.ndarray:
    """(T,) values of keyframes or a constant, and of the sines on top."""
    table.only(CURVE_KEYS)
    frames = _keyframes(table)
    if frames is None:
        if "repeat_s" in table:
            table.refuse("repeat_s", "found no keyframes to repeat; expected both or neither")
        values = np.full(len(time), table.number("middle") or 0.0)
    elif "middle" in table:
        table.refuse("middle", "found keyframes too; expected one of the two")
    else:
        values = _joined(*frames, _repeat(table, frames[0]), time)
    for sine in table.list_of_tables("sines"):
        values = values + _sine(sine, time)
    return values


def _keyframes(table: TomlTable) -> tuple[np.ndarray, np.ndarray] | None:
    """Times and values, or None where there are none."""
    given, what = (
        table.values.get("keyframes"),
        "a list of pairs [seconds, value], such as [[0, 10], [1.5, 90]]",
    )
    if given is None:
        return None
    pairs = given if isinstance(given, list) and given else table.mismatch("keyframes", what)
    for number, pair in enumerate(pairs, 1):
        if not (isinstance(pair, list) and len(pair) == 2 and all(map(is_number, pair))):
            table.refuse("keyframes", f"found {pair!r} as pair {number}; expected {what}")
    times, values = np.array(pairs, float).T
    bad = np.flatnonzero(np.diff(times) <= 0)
    if times[0] < 0 or len(bad):
        found = (
            f"{times[0]:g} s first" if times[0] < 0 else f"{times[bad[0] + 1]:g} s after {times[bad[0]]:g} s"
        )
        table.refuse("keyframes", f"found {found}; expected seconds from 0 that increase")
    return times, values


def _repeat(table: TomlTable, times: np.ndarray) -> float | None:
    """After how many seconds keyframes start again."""
    repeat = table.number("repeat_s")
    if repeat is not None and (repeat <= times[-1] or repeat < 0.1):
        table.refuse("repeat_s", f"found {repeat:g}; expected more than the last keyframe, {times[-1]:g} s")
    return repeat


def _joined(times: np.ndarray, values: np.ndarray, repeat: float | None, at: np.ndarray) -> np.ndarray:
    """Monotone cubics through keyframes; rest at both ends, or the same again and again."""
    if repeat is not None:
        turns = np.arange(-1, math.ceil(at[-1] / repeat) + 2)
        times, values = (turns[:, None] * repeat + times).ravel(), np.tile(values, len(turns))
    times = np.concatenate([[times[0] - 1], times, [max(times[-1], at[-1]) + 1]])
    values = np.concatenate([values[:1], values, values[-1:]])
    return PchipInterpolator(times, values)(np.maximum(at, times[0]))


def _sine(table: TomlTable, time: np.ndarray) -> np.ndarray:
    table.only(SINE_KEYS)
    what = f"above 0 to {FASTEST:g} Hz"
    size = table.number("amplitude")
    rate = table.number("frequency_hz", math.ulp(0.0), FASTEST, what)
    if size is None or rate is None:
        table.missing("amplitude" if size is None else "frequency_hz", "a number")
    return size * np.sin(2 * math.pi * rate * time + math.radians(table.number("phase_deg") or 0.0))
