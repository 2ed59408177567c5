"""The derived part of a BIDS-Motion data set: joint angles, segment places and rotations, events of a fit."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from ...capture.bids.words import AXES, QUATERNION, recording_words
from ...motion.pose_tables import continuous_quaternions
from ..columns import angle_columns
from ..handover import Handover
from .text_files import write_json, write_tsv

SYSTEM = "bodyfit"
COLUMNS = ("name", "component", "type", "tracked_point", "units", "reference_frame", "description")
Channel = tuple[tuple[Any, ...], np.ndarray]
EVENT_COLUMNS = {
    "onset": {"Description": "Time on the capture's clock", "Units": "s"},
    "duration": {"Description": "Zero: an instant", "Units": "s"},
    "trial_type": {"Description": "What happened"},
    "side": {"Description": "left, right or none"},
    "onset_sd": {"Description": "Standard deviation of the onset", "Units": "s"},
}


def write_derivative(root: Path, subject: str, task: str, title: str, handed: Handover) -> None:
    """The fit as one tracking system named bodyfit, its own events beside it.

    Parameters
    ----------
    root : of the derivative data set, with its description
    subject, task : labels, as in the raw part
    title : of the capture, in words
    handed : the fit
    """
    folder = root / f"sub-{subject}" / "motion"
    folder.mkdir(parents=True)
    stem = f"sub-{subject}_task-{task}_tracksys-{SYSTEM}"
    channels = list(_channels(handed))
    rows = [row for row, _ in channels]
    write_tsv(folder / f"{stem}_motion.tsv", None, [values for _, values in channels])
    write_tsv(folder / f"{stem}_channels.tsv", COLUMNS, list(zip(*rows, strict=True)))
    write_json(folder / f"{stem}_channels.json", _frames(handed))
    write_json(folder / f"{stem}_motion.json", _sidecar(handed, title, rows))
    if handed.events is not None:
        _write_events(folder / f"{stem}_events", handed)


def _channels(handed: Handover) -> Iterator[Channel]:
    """Channel rows with their samples: time, angles and their standard deviations, segments."""
    poses = handed.poses
    yield ("latency", "n/a", "LATENCY", "n/a", "s", "n/a", "time on the capture's clock"), poses.time
    for column in angle_columns(handed):
        joint = next(name for name in poses.model.joints if column.name.startswith(f"{name}_"))
        kind = "MISC" if column.name.endswith("_sd_deg") else "JNTANG"
        yield (column.name, "n/a", kind, joint, "deg", "joint", column.meaning), column.values
    for name in poses.model.segments:
        quat = continuous_quaternions(poses.rotations[name])
        for part, values in zip(QUATERNION, quat.T, strict=True):
            told = f"rotation world_from_{name}"
            yield (f"{name}_{part}", part, "ORNT", name, "n/a", "world", told), values
        if poses.positions is not None:
            for axis, values in zip(AXES, poses.positions[name].T, strict=True):
                yield (f"{name}_{axis}", axis, "POS", name, "m", "world", f"origin of {name}"), values


def _frames(handed: Handover) -> dict[str, Any]:
    world = {"SpatialAxes": "ASR", "RotationRule": "right-hand", "Description": handed.account.world}
    joint = {"Description": "Angles of the child segment against its parent; each in column description"}
    told = {"Description": "What the channel holds"}
    about = {"Description": "Channels of the motion that bodyfit found"}
    return about | {"description": told, "reference_frame": {"Levels": {"world": world, "joint": joint}}}


def _sidecar(handed: Handover, title: str, rows: list[tuple[Any, ...]]) -> dict[str, Any]:
    words = recording_words(title, SYSTEM, handed.poses.time, [row[2] for row in rows])
    return words | {
        "Description": "Joint angles with standard deviations, segment rotations and places, by bodyfit",
        "TrackedPointsCount": len({row[3] for row in rows} - {"n/a"}),
        "SoftwareVersions": f"bodyfit {handed.account.version}",
        "Bodyfit": handed.account.as_text(),
    }


def _write_events(stem: Path, handed: Handover) -> None:
    events = handed.events or {}
    count = len(events["time_s"])
    columns = (
        events["time_s"],
        [0.0] * count,
        events["event"],
        events["side"],
        events.get("time_sd_s", [None] * count),
    )
    write_tsv(stem.with_name(f"{stem.name}.tsv"), list(EVENT_COLUMNS), columns)
    about = {"Description": "Events of the gait that bodyfit found"}
    write_json(stem.with_name(f"{stem.name}.json"), about | EVENT_COLUMNS)
