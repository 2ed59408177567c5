"""Motions: a pose sequence from a table of segment rotations and positions, columns as in segments.csv."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ..body import BodyModel, Person
from ..errors import InputError
from ..measured_body import measured_body, person_from_legs
from ..poses import PoseSequence
from .model_file import read_model
from .pose_tables import SegmentTable, read_segments


def read_motion(
    path: str | Path, model: BodyModel | None = None, person: Person | None = None
) -> PoseSequence:
    """Pose sequence from a table, or from a folder that holds `segments.csv`.

    Parameters
    ----------
    path : columns `time_s`, `<segment>_qx, _qy, _qz, _qw` (world_from_segment) and, where known,
        `<segment>_x_m, _y_m, _z_m`; what is no segment of the model is left alone
    model : the body; default is `whole_body`
    person : scales what is not measured; default is the person with legs as long as those measured

    Returns
    -------
    poses : joint centres are measured from the positions when the table holds those of every segment;
        otherwise they are the model's

    Raises
    ------
    InputError
        The file is not such a table, a segment of the model is not in it, or a position is missing.
    """
    path = Path(path)
    path = path / "segments.csv" if path.is_dir() else path
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
