"""A simulated capture as a folder, with the truth beside it."""

from __future__ import annotations

import dataclasses
import gzip
import io
import json
import math
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

import numpy as np

from ..errors import OutputError
from ..files.capture.writer import write_capture
from ..files.motion.motion_file import tables_in
from ..files.motion.pose_tables import write_joints, write_segments
from ..files.plain.atomic_file import write_text
from ..files.plain.readable import is_folder
from .simulate import Simulated, UnitTruth


def write_simulated(
    simulated: Simulated, folder: str | Path, model: str | None = None, table_kind: str = ".csv.gz"
) -> None:
    """Write the capture as `write_capture` does, and `truth/`, see `write_truth`.

    Parameters
    ----------
    simulated : what `simulate` made
    folder : made if missing; files of the same names are replaced
    model : how setup.toml names the body model; left out, the model is written beside it
    table_kind : of the units' tables

    Raises
    ------
    OutputError
        The folder or a file cannot be written.
    """
    write_truth(simulated, Path(folder) / "truth")
    write_capture(simulated.capture, folder, table_kind, model)


def truth_file(capture: str | Path) -> Path | None:
    """The truth beside a capture, as `write_truth` names it, zipped or not; None where there is none.

    Parameters
    ----------
    capture : the folder, or the setup.toml in it
    """
    folder = Path(capture) if is_folder(Path(capture)) else Path(capture).parent
    return next(iter(tables_in(folder / "truth")), None)


def write_truth(simulated: Simulated, folder: Path) -> None:
    """`segments.csv.gz` and `joints.csv.gz`, in the columns of a fit, and `truth.json`.

    Parameters
    ----------
    simulated : what `simulate` made
    folder : made if missing

    Raises
    ------
    OutputError
        The folder or a file cannot be written.

    Notes
    -----
    `time_s` is true time; a unit's stamp is clock_offset_s + (1 + clock_rate) time_s.
    """
    truth = simulated.truth
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with _packed(folder / "segments.csv.gz") as file:
            write_segments(file, truth.time, truth.rotations, truth.positions)
        with _packed(folder / "joints.csv.gz") as file:
            write_joints(file, truth.time, truth.joint_angles)
    except OSError as error:
        raise OutputError(f"{folder}: cannot be written: {error.strerror}; choose another folder") from error
    write_text(folder / "truth.json", json.dumps(truth_as_json(simulated), indent=1) + "\n")


@contextmanager
def _packed(path: Path) -> Iterator[IO[bytes]]:
    """File to write to, packed at the end, whole or not at all; its bytes tell nothing of the time of day."""
    content, partial = io.BytesIO(), path.with_name(f".{path.name}.part")
    yield content
    try:
        partial.write_bytes(gzip.compress(content.getvalue(), mtime=0))
        partial.replace(path)
    finally:
        partial.unlink(missing_ok=True)


def truth_as_json(simulated: Simulated) -> dict:
    """All that was drawn, in SI units and plain JSON types."""
    joints = simulated.truth.model.joints.values()
    settings = {
        key: value
        for key, value in dataclasses.asdict(simulated.settings).items()
        if key != "field" and value is not None and math.isfinite(value)
    }
    return {
        "seed": simulated.seed,
        "settings": settings,
        "gravity_m_s2": simulated.gravity,
        "magnetic_field": dataclasses.asdict(simulated.field),
        "joint_centres_in_parent_m": {joint.name: _rounded(joint.centre_in_parent) for joint in joints},
        "units": {name: unit_as_json(unit) for name, unit in simulated.units.items()},
    }


def unit_as_json(unit: UnitTruth) -> dict:
    """What was drawn for one unit; quaternions xyzw, biases at the first and the last sample."""
    return {
        "segment": unit.segment,
        "segment_from_unit": _rounded(unit.mounting.as_quat()),
        "position_m": _rounded(unit.position),
        "soft_tissue_rms_deg": round(math.degrees(unit.soft_turn_rms), 4),
        "soft_tissue_rms_mm": round(1000 * unit.soft_shift_rms, 4),
        "clock_offset_s": unit.clock_offset,
        "clock_rate": unit.clock_rate,
        "samples_lost": int(np.sum(~unit.kept)),
        "sensors": {
            name: {
                "bias": _rounded(error.bias[[0, -1]], 12),
                "read_from_true": _rounded(error.matrix),
            }
            for name, error in unit.errors.items()
        },
    }


def _rounded(values: object, digits: int = 9) -> list:
    return np.round(np.asarray(values, float), digits).tolist()
