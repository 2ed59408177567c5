"""A fit as a C3D file, with the groups of the public C3D user guide (c3d.org)."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from ....errors import OutputError
from ..handover import Handover
from ..optional import optional
from .points import Point, points_of

LONGEST = 120  # characters; a C3D text is at most 255 long (a byte says how long), readers often show 127
MOST_FRAMES = 65535  # a C3D header counts frames in 16 bits (C3D user guide, "The header section")
MOST_POINTS = 255  # labels in one parameter: its dimensions are bytes (C3D user guide, "Parameters")
# share by which a rate may differ from a whole one and is written so: 4 ms in an hour; by reasoning
ROUND = 1e-6
OFF_GRID = 1e-3  # s; common practice: what lies further from its frame is told (0.4° at 400 °/s)
WORDS = {"°": " deg", "–": "-", "−": "-", "±": "+-", "²": "^2", "µ": "u", "’": "'", "…": "..."}


def write_c3d(path: Path, handed: Handover) -> tuple[str, ...]:
    """Writes the file.

    Parameters
    ----------
    path : of the file
    handed : what to write

    Returns
    -------
    sentences on what the format does not hold

    Raises
    ------
    OutputError
        ezc3d is not installed, or the motion is too long or the body too large for the format.

    Notes
    -----
    Frame f of the file is at (f − 1) / POINT:RATE seconds, and EVENT:TIMES are on that clock, which is the
    capture's but for less than a frame; TRIAL:DESCRIPTIONS tell the difference. Frames in which no unit was
    measured are invalid points (residual −1).
    """
    ezc3d = optional("ezc3d", ".c3d")
    points = points_of(handed)
    rate, first, frame = frames_of(handed.poses.time)
    _check_size(path, points, first + frame[-1])
    file = ezc3d.c3d()
    file["header"]["points"]["first_frame"] = first - 1  # ezc3d counts from 0 here
    _fill_points(file, points, rate, frame)
    later = (first - 1) / rate - float(handed.poses.time[0])
    if handed.events is not None:
        _fill_events(file, handed, later)
    _fill_account(file, handed, later)
    file.write(str(path))
    return tuple(_left_out(handed, rate, first, frame))


def frames_of(time: np.ndarray) -> tuple[float, int, np.ndarray]:
    """Frames of a fixed rate that hold the times.

    Parameters
    ----------
    time : (T,) s, increasing, evenly spaced but for gaps

    Returns
    -------
    rate : Hz
    first : number of the first frame, so that its time is (first − 1) / rate; 1 where it starts before 0
    frame : (T,) int, counted from that one
    """
    if len(time) < 2:
        return 1.0, 1, np.zeros(1, int)
    since = time - time[0]
    frame = np.round(since / np.median(np.diff(time))).astype(int)
    rate = frame[-1] / since[-1]
    rate = round(rate) if abs(rate - round(rate)) < ROUND * rate else rate
    return float(rate), max(1, round(float(time[0]) * rate) + 1), frame


def _check_size(path: Path, points: Sequence[Point], last: int) -> None:
    if last > MOST_FRAMES:
        raise OutputError(
            f"{path}: the last frame would be number {last}, a C3D file counts to {MOST_FRAMES}; cut the "
            "recording into parts, or write .nc or .parquet"
        )
    if len(points) > MOST_POINTS:
        raise OutputError(
            f"{path}: the body needs {len(points)} points, a C3D file labels {MOST_POINTS}; write .nc or "
            ".parquet"
        )


def _fill_points(file, points: Sequence[Point], rate: float, frame: np.ndarray) -> None:
    """POINT: coordinates, labels, descriptions, which are angles; ezc3d marks NaN as invalid."""
    place = np.full((4, len(points), frame[-1] + 1), np.nan)
    place[:3, :, frame] = np.transpose([point.values for point in points], (2, 0, 1))
    place[3] = 1.0
    parameters = file["parameters"]["POINT"]
    parameters["RATE"]["value"] = [rate]
    parameters["LABELS"]["value"] = tuple(point.label for point in points)
    parameters["DESCRIPTIONS"]["value"] = tuple(plain(point.description) for point in points)
    parameters["UNITS"]["value"] = ("mm",)
    file.add_parameter("POINT", "X_SCREEN", ("+X",))
    file.add_parameter("POINT", "Y_SCREEN", ("+Y",))
    file.add_parameter("POINT", "ANGLES", tuple(point.label for point in points if point.is_angle))
    file.add_parameter("POINT", "ANGLE_UNITS", ("deg",))
    file["data"]["points"] = place


def _fill_events(file, handed: Handover, later: float) -> None:
    """EVENT and EVENT_CONTEXT: what happened, on which side, when; the file's clock is `later` s ahead."""
    events = handed.events or {}
    time = np.array(events["time_s"], float) + later
    side = [{"left": "Left", "right": "Right"}.get(one, "General") for one in events["side"]]
    spread = events.get("time_sd_s", [None] * len(time))
    told = ["" if sd is None else f"time known to {1000 * sd:.0f} ms" for sd in spread]
    add = file.add_parameter
    add("EVENT", "USED", [len(time)])
    add("EVENT", "CONTEXTS", tuple(side))
    add("EVENT", "LABELS", tuple(str(event).replace("_", " ") for event in events["event"]))
    add("EVENT", "DESCRIPTIONS", tuple(told))
    add("EVENT", "TIMES", np.stack([time // 60, time % 60]))  # minutes, seconds
    add("EVENT_CONTEXT", "USED", [3])
    add("EVENT_CONTEXT", "LABELS", ("Left", "Right", "General"))


def _fill_account(file, handed: Handover, later: float) -> None:
    """MANUFACTURER and TRIAL: which program, body and sensors, frames, cautions."""
    account, add = handed.account, file.add_parameter
    clock = f"clock: time of the capture = time in this file - ({later:.6f} s)"
    add("MANUFACTURER", "COMPANY", ("bodyfit",))
    add("MANUFACTURER", "SOFTWARE", ("bodyfit",))
    add("MANUFACTURER", "VERSION_LABEL", (account.version,))
    lines = [*(f"{key}: {text}" for key, text in account.as_text().items() if text), clock]
    wrapped = [part for line in lines for part in textwrap.wrap(plain(line), LONGEST)]
    add("TRIAL", "DESCRIPTIONS", tuple(wrapped[:MOST_POINTS]))


def _left_out(handed: Handover, rate: float, first: int, frame: np.ndarray):
    """What the file can't say."""
    yield "findings stay in findings.json and summary.json"
    if handed.strides is not None:
        yield "strides stay in strides.csv: C3D has no group for them"
    if handed.poses.positions is None:
        yield "places: lengths are unknown, so there are no joint centres; segment frames stand in the origin"
    if not handed.angle_sd:
        yield "bands: this fit has no standard deviations"
    time = handed.poses.time
    off = float(np.abs(frame / rate - (time - time[0])).max())
    if off > OFF_GRID:
        yield f"time: samples lie up to {off:.4f} s from their frames, as C3D has one fixed rate"


def plain(text: str) -> str:
    """The text in ASCII, as C3D texts are, at most 255 characters."""
    for sign, word in WORDS.items():
        text = text.replace(sign, word)
    return unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()[:255]
