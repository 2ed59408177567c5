"""Motions: a pose sequence from a table of segment rotations and positions, or from a script."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ...body.chain import BodyModel
from ...body.motion.chain_from_motion import measured_body, person_from_legs
from ...body.motion.poses import PoseSequence
from ...body.person import Person
from ...errors import InputError
from ..model.model_file import read_model
from ..plain.readable import is_file, is_folder
from .pose_tables import SegmentTable, read_segments
from .script import read_script, scripted_body

TABLES = ("segments.csv", "segments.csv.gz", "segments.parquet")


def read_motion(
    path: str | Path, model: BodyModel | None = None, person: Person | None = None
) -> PoseSequence:
    """Pose sequence from a table, from a folder that holds one, or from a script.

    Parameters
    ----------
    path : columns `time_s`, `<segment>_qx, _qy, _qz, _qw` (world_from_segment) and, where known,
        `<segment>_x_m, _y_m, _z_m`; what is no segment of the model is left alone; or a .toml with the keys
        of docs/planning.md
    model : the body; default is what a script names, or `whole_body`
    person : scales what is not measured; default is what a script says, or the person with legs as long as
        those measured

    Returns
    -------
    poses : joint centres are measured from the positions when the table holds those of every segment;
        otherwise they are the model's

    Raises
    ------
    InputError
        The file is not such a table, a segment of the model is not in it, or a position is missing.
    """
    path = motion_file(path)
    if path.suffix == ".toml":
        _, named, wearer = scripted_body(path)
        return read_script(path, (model or named).scaled(person or wearer))
    table = read_segments(path)
    model = model or read_model("whole_body")
    for segment in model.segments:
        if segment not in table.rotations:
            raise InputError(
                f"{path}: no rotation of segment {segment!r}, which body model {model.name!r} has; the table "
                f"holds {', '.join(table.rotations)}. Choose a model of these segments"
            )
    if all(segment in table.positions for segment in model.segments):
        _check_positions(path, table, model)
        model = measured_body(model, table.rotations, table.positions)
        person = person or person_from_legs(model)
    rotations = {segment: table.rotations[segment] for segment in model.segments}
    return PoseSequence(table.time, rotations, model.scaled(person), table.positions.get(model.root))


def motion_body(
    path: str | Path, model: str | None = None, person: Person | None = None
) -> tuple[str, BodyModel, Person | None]:
    """Name of the body model of a motion, the model, not scaled, and the person.

    Parameters
    ----------
    path : of the motion, see `read_motion`
    model : name or file; None: what a script names, else `whole_body`
    person : None: what a script says, else unknown

    Raises
    ------
    InputError
        There is no such model, or a script says something wrong of it.
    """
    if Path(path).suffix == ".toml":
        name, named, wearer = scripted_body(Path(path))
        return model or name, read_model(model) if model else named, person or wearer
    return model or "whole_body", read_model(model or "whole_body"), person


def tables_in(folder: Path) -> list[Path]:
    """Tables of segment rotations in a folder, or in the `truth` of a capture's folder."""
    paths = (place / name for place in (folder, folder / "truth") for name in TABLES)
    return [path for path in paths if is_file(path)]


def motion_file(path: str | Path) -> Path:
    """The file of a motion: the path itself, or the table in that folder.

    Raises
    ------
    InputError
        A folder without a table.
    """
    path = Path(path)
    if not is_folder(path):
        return path
    found = tables_in(path)
    if not found:
        raise InputError(
            f"{path}: a folder without {' or '.join(TABLES)}, in it or in its truth; expected a folder that "
            "holds a motion, or name the file"
        )
    return found[0]


def _check_positions(path: Path, table: SegmentTable, model: BodyModel) -> None:
    """Refuses positions that are missing here and there."""
    for segment in model.segments:
        holes = ~np.isfinite(table.positions[segment]).all(axis=1)
        if holes.any():
            row = int(np.argmax(holes))
            raise InputError(
                f"{path}: {segment}_x_m, _y_m, _z_m, row {row + 2} (t = {table.time[row]:.3f} s): found an "
                f"empty cell, expected metres in every row; {holes.sum()} rows are like that. Cut them off"
            )
