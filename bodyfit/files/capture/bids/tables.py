"""The files of one BIDS-Motion recording, found and read: samples, channels, sidecars by inheritance."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from ....errors import InputError

DESCRIPTION = "dataset_description.json"
DERIVED = ("derivatives", "sourcedata", "code", "stimuli")  # folders of a data set that hold no raw recording
MISSING = ("n/a", "NaN", "nan", "")
NEEDED = ("name", "component", "type", "tracked_point", "units")  # BIDS 1.10, Motion, channels.tsv


@dataclass(frozen=True, eq=False)
class TrackingSystem:
    """One tracking system of a recording.

    Attributes
    ----------
    path : of its _motion.tsv
    label : of the tracking system
    sidecar : its motion.json, with what stands higher up
    channels : rows of channels.tsv, column -> cell, in the order of the columns of samples
    frames : reference frame -> what channels.json says of it
    samples : (N, channels), NaN where n/a
    start : acq_time of scans.tsv, or None
    """

    path: Path
    label: str
    sidecar: Mapping[str, Any]
    channels: Sequence[Mapping[str, str]]
    frames: Mapping[str, Mapping[str, Any]]
    samples: np.ndarray
    start: datetime | None


def dataset_of(path: Path) -> Path | None:
    """The BIDS data set that a path lies in: the nearest folder with a dataset_description.json, or None."""
    path = path.absolute()
    return next((one for one in (path, *path.parents) if (one / DESCRIPTION).is_file()), None)


def recording_files(path: Path) -> list[Path]:
    """The _motion.tsv files of the one recording that a path names, raw ones only.

    Parameters
    ----------
    path : data set, folder of a subject or session, or one _motion.tsv

    Raises
    ------
    InputError
        There is none, or there are several recordings; they are listed.
    """
    root = dataset_of(path) or path
    if path.is_file():
        stem = _recording(path)
        return sorted(one for one in path.parent.glob("*_motion.tsv") if _recording(one) == stem)
    found = sorted(
        one for one in path.rglob("*_motion.tsv") if not set(one.relative_to(root).parts) & set(DERIVED)
    )
    if not found:
        raise InputError(f"{path}: no *_motion.tsv in this BIDS data set; expected a recording of motion")
    several = sorted({_recording(one) for one in found})
    if len(several) > 1:
        told = ", ".join(several[:5]) + (" …" if len(several) > 5 else "")
        raise InputError(
            f"{path}: {len(several)} recordings ({told}), expected one; give the path of one of its "
            "_motion.tsv files"
        )
    return found


def _recording(path: Path) -> str:
    """The name without its tracking system: what belongs together."""
    return re.sub(r"_tracksys-[A-Za-z0-9]+", "", path.name.removesuffix("_motion.tsv"))


def read_system(path: Path) -> TrackingSystem:
    """One tracking system.

    Parameters
    ----------
    path : of its _motion.tsv

    Raises
    ------
    InputError
        channels.tsv is missing or lacks a column, or a cell is no number, or there are too few columns.
    """
    channels = _channels(path)
    samples = _samples(path, len(channels))
    named = re.search(r"_tracksys-([A-Za-z0-9]+)", path.name)
    frames = _inherited(path, "channels").get("reference_frame") or {}
    levels = frames.get("Levels") or {} if isinstance(frames, dict) else {}
    told = {name: level for name, level in levels.items() if isinstance(level, dict)}
    label = named[1] if named else "motion"
    return TrackingSystem(path, label, _inherited(path, "motion"), channels, told, samples, _start(path))


def read_rows(path: Path, needed: Sequence[str] = ()) -> list[dict[str, str]]:
    """Rows of a table parted by tabs, cells as text.

    Raises
    ------
    InputError
        It is missing, isn't UTF-8, or lacks a column.
    """
    import pandas as pd

    try:
        table = pd.read_csv(path, sep="\t", dtype=str, keep_default_na=False)
    except (OSError, ValueError) as error:
        raise InputError(f"{path}: cannot be read: {str(error).splitlines()[0]}") from None
    for name in needed:
        if name not in table:
            raise InputError(f"{path}: no column {name!r}; found {', '.join(map(str, table))}")
    return [{str(key): str(cell) for key, cell in row.items()} for row in table.to_dict("records")]


def _channels(path: Path) -> list[dict[str, str]]:
    """Rows of the channels.tsv that applies: beside the samples, or higher up in the data set."""
    found = _applying(path, "channels", ".tsv")
    if not found:
        raise InputError(f"{path}: no channels.tsv beside it; BIDS-Motion needs one to name the columns")
    return read_rows(found[-1], NEEDED)


def _samples(path: Path, count: int) -> np.ndarray:
    import pandas as pd

    try:
        table = pd.read_csv(path, sep="\t", header=None, na_values=list(MISSING), dtype=float)
    except ValueError as error:
        raise InputError(
            f"{path}: {str(error).splitlines()[0]}; expected numbers or n/a, parted by tabs, no header"
        ) from None
    if table.shape[1] != count:
        raise InputError(
            f"{path}: found {table.shape[1]} columns, its channels.tsv names {count}; expected as many"
        )
    return table.to_numpy()


def _applying(path: Path, suffix: str, ending: str) -> list[Path]:
    """Files that apply to a _motion.tsv, outermost first: none of their entities differs from its own.

    BIDS 1.10, "The Inheritance Principle".
    """
    root = dataset_of(path) or path.parent
    mine = set(path.name.split("_")[:-1])
    folders = [folder for folder in (path.parent, *path.parent.parents) if folder.is_relative_to(root)]
    found = []
    for folder in reversed(folders):
        here = [one for one in folder.glob(f"*{suffix}{ending}") if set(_entities(one)) <= mine]
        found += sorted(here, key=lambda one: len(_entities(one)))
    return found


def _entities(path: Path) -> list[str]:
    return path.name.split("_")[:-1]


def _inherited(path: Path, suffix: str) -> dict[str, Any]:
    """The sidecar: keys of nearer files win."""
    out: dict[str, Any] = {}
    for one in _applying(path, suffix, ".json"):
        out |= read_json(one)
    return out


def read_json(path: Path) -> dict[str, Any]:
    """A JSON object.

    Raises
    ------
    InputError
        It can't be read or holds something else.
    """
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(f"{path}: not readable as JSON: {error}") from None
    if not isinstance(data, dict):
        raise InputError(f"{path}: found {type(data).__name__}, expected an object")
    return data


def _start(path: Path) -> datetime | None:
    """acq_time of the file in the scans.tsv above it."""
    for folder in path.parents:
        for scans in folder.glob("*_scans.tsv"):
            for row in read_rows(scans, ("filename",)):
                if (folder / row["filename"]).absolute() == path.absolute():
                    return _moment(row.get("acq_time", "n/a"))
        if (folder / DESCRIPTION).is_file():
            break
    return None


def _moment(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None
