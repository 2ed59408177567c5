"""Body models as TOML: segments and joints, each number with its source beside it."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ...body.chain import BodyModel
from ...body.motion.reports import WORDS, with_reports
from ...body.parts import Segment
from ...body.plain_data import degrees, joint_data, segment_data
from ...errors import InputError, suggest
from ..plain.atomic_file import write_text
from ..plain.readable import is_there
from ..plain.shipped import shipped_folder
from ..plain.toml_reader import TomlTable, read_toml
from ..plain.toml_writer import toml_key, toml_section
from .model_parts import read_joint, read_pose, read_segment
from .usual_postures_file import read_usual_postures, usual_posture_names

MOST_SEGMENTS = 80  # a body with every finger and vertebra of ISO/IEC 19774-1 at level 4 has 77 (from memory)


def models_folder() -> Path:
    """Folder of the models that come with bodyfit: inside the installed package, or beside a checkout's."""
    return shipped_folder("models")


def model_names() -> list[str]:
    """Names of the models that come with bodyfit."""
    return sorted(path.stem for path in models_folder().glob("*.toml"))


def read_model(
    name_or_path: str | Path, relative_to: str | Path | None = None, asked_by: str = ""
) -> BodyModel:
    """A body model, by name or from a file.

    Parameters
    ----------
    name_or_path : one of `model_names()`, or the path of a TOML file
    relative_to : folder that a path starts from; the working folder when left out
    asked_by : file and key that name the model, for the message

    Returns
    -------
    model : metres, kilograms, radians; shares of stature, mass and length as they stand, see
        `BodyModel.scaled`

    Raises
    ------
    InputError
        There is no such model, or its file is wrong; names the file, the key, what was found and expected.
    """
    return _model(read_toml(_find(str(name_or_path), Path(relative_to or "."), asked_by)))


def _find(name: str, folder: Path, asked_by: str) -> Path:
    if name in model_names():
        return models_folder() / f"{name}.toml"
    path = folder / name
    if is_there(path):  # no plain file: refused by who reads it
        return path
    where = f"{asked_by}: " if asked_by else ""
    names = [*model_names(), *(p.name for p in sorted(folder.glob("*.toml")) if p.name != "setup.toml")]
    raise InputError(
        f"{where}no body model {name!r}, neither a name nor a file {path}; {suggest(name, names)}"
    )


def model_from_data(data: Mapping[str, Any], file: str | Path, key: str = "") -> BodyModel:
    """The body model that `body_data.body_data` made data of.

    Parameters
    ----------
    data : with the keys of a model file
    file, key : where the data stood, for messages

    Raises
    ------
    InputError
        A key is missing, unknown or holds what it can't.
    """
    return _model(TomlTable(data, Path(file), key))


def _model(table: TomlTable) -> BodyModel:
    table.only(("name", "usual_postures", "segments", "joints", "poses"))
    segments = {name: read_segment(name, t) for name, t in table.tables("segments").items()}
    if len(segments) > MOST_SEGMENTS:
        table.refuse("segments", f"found {len(segments)} segments; expected at most {MOST_SEGMENTS}")
    if not segments:
        table.missing("segments", "at least one table [segments.<name>]")
    joints = {name: read_joint(name, t, list(segments)) for name, t in table.tables("joints").items()}
    poses = {name: read_pose(name, t, joints) for name, t in table.tables("poses").items()}
    known = table.choice("usual_postures", usual_posture_names())
    usual = read_usual_postures(known, joints) if known else {}
    name, source = table.text("name") or table.file.stem, table.text("source") or ""
    try:
        return told_as_asked(BodyModel(name, segments, joints, source, poses, usual), table)
    except InputError as error:
        raise error if str(table.file) in str(error) else InputError(f"{table.file}: {error}") from None


def told_as_asked(model: BodyModel, table: TomlTable) -> BodyModel:
    """The body with the reports that `[joints.<name>] report = …` asks for.

    Parameters
    ----------
    model : any
    table : of a body model, or of a capture's setup.toml

    Raises
    ------
    InputError
        A joint has no such report; names the file and the key.
    """
    words = {name: one.choice("report", WORDS) for name, one in table.tables("joints").items()}
    try:
        return with_reports(model, {name: word for name, word in words.items() if word})
    except InputError as error:
        raise InputError(f"{table.file}: {error}") from None


def write_model(model: BodyModel, path: str | Path) -> None:
    """Write a body model as TOML that `read_model` reads back as it is.

    Parameters
    ----------
    model : any body model
    path : replaced when it exists, whole or not at all

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    path = Path(path)
    parts = [toml_section("", {"name": model.name, "source": model.source})]
    parts += [
        toml_section(f"[segments.{toml_key(s.name)}]", _segment_keys(s, path))
        for s in model.segments.values()
    ]
    parts += [toml_section(f"[joints.{toml_key(j.name)}]", joint_data(j)) for j in model.joints.values()]
    parts += [
        toml_section(
            f"[poses.{toml_key(name)}]",
            {joint: {a: degrees(v) for a, v in angles.items()} for joint, angles in joints.items()},
        )
        for name, joints in model.poses.items()
    ]
    write_text(path, "\n".join(parts))


def _segment_keys(segment: Segment, path: Path) -> dict[str, object]:
    mesh = segment.mesh and Path(os.path.relpath(segment.mesh, path.parent)).as_posix()
    return {"mesh": mesh, **segment_data(segment)}
