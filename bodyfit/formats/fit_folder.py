"""A folder that a fit wrote, read back as a fit."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from ..body import BodyModel
from ..errors import InputError
from ..fitting import Fit
from ..poses import PoseSequence
from .model_file import model_from_data
from .pose_tables import read_joints, read_segments

AGAIN = "Give the folder that `bodyfit fit … --out` wrote, or fit the capture again"


def read_fit(out: str | Path) -> Fit:
    """The fit in a folder, from its segments.csv, joints.csv and summary.json.

    Parameters
    ----------
    out : folder that `Fit.write` or `bodyfit fit` wrote

    Returns
    -------
    Fit; numbers as they were written, quaternions to 1e-9

    Raises
    ------
    InputError
        A file is missing or is not what a fit writes.
    """
    out = Path(out)
    summary = read_summary(out / "summary.json")
    model = _body(out / "summary.json", summary)
    table = read_segments(out / "segments.csv")
    missing = [segment for segment in model.segments if segment not in table.rotations]
    if missing:
        raise InputError(
            f"{out / 'segments.csv'}: no columns of segment {missing[0]!r}, which the body in summary.json "
            f"has; {AGAIN}"
        )
    followed = str(summary.get("root_position", "")).startswith("followed")
    root = table.positions.get(model.root) if followed else None
    rotations = {segment: table.rotations[segment] for segment in model.segments}
    return Fit(PoseSequence(table.time, rotations, model, root), summary, _angle_sd(out, model))


def read_summary(path: Path) -> dict[str, Any]:
    """The content of a summary.json.

    Raises
    ------
    InputError
        The file is missing or not JSON.
    """
    try:
        summary = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise InputError(f"{path}: no such file; {AGAIN}") from None
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: not valid JSON: {error}; {AGAIN}") from None
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from None
    if not isinstance(summary, dict):
        raise InputError(f"{path}: found {type(summary).__name__}, expected an object; {AGAIN}")
    return summary


def _body(path: Path, summary: Mapping[str, Any]) -> BodyModel:
    """The scaled body that the fit used."""
    if "body" not in summary:
        raise InputError(f"{path}: no key 'body', which tells the body that was used; {AGAIN}")
    return model_from_data(summary["body"], path, "body")


def _angle_sd(out: Path, model: BodyModel) -> dict[str, dict[str, np.ndarray]] | None:
    """Joint -> angle -> (T,) rad, or None: joints.csv holds none."""
    path = out / "joints.csv"
    spread = read_joints(path).angle_sd if path.is_file() else {}
    if not spread:
        return None
    named = {
        name: {angle: spread[f"{name}_{angle}"] for angle in joint.angles if f"{name}_{angle}" in spread}
        for name, joint in model.joints.items()
    }
    return {name: angles for name, angles in named.items() if angles}
