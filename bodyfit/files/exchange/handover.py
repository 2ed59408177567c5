"""What is handed over of a fit: its motion, its account of itself, its events and strides if known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from ...body.motion.poses import PoseSequence
from ...body.parts import Joint
from ...errors import InputError
from ...results.fit_like import FitLike, SegmentSd
from ..account import Account, account_of
from ..plain.tables import read_table

EVENTS, STRIDES = "events.csv", "strides.csv"
Rows = Mapping[str, Sequence[Any]]


@dataclass(frozen=True, eq=False)
class Handover:
    """A motion with what is told beside it.

    Attributes
    ----------
    poses : the motion
    angle_sd : joint -> angle -> (T,) rad; empty where none is known
    account : in words
    inferred : joints with no unit on one side, whose angles are not handed over
    segment_sd : segment -> how sure its heading, inclination and place are; empty where no one knows
    events, strides : column -> cells, as in events.csv and strides.csv, None in an empty cell; None where
        there is no such file
    """

    poses: PoseSequence
    angle_sd: Mapping[str, Mapping[str, np.ndarray]]
    account: Account
    events: Rows | None = None
    strides: Rows | None = None
    inferred: tuple[str, ...] = ()
    segment_sd: Mapping[str, SegmentSd] = field(default_factory=dict)

    @property
    def joints(self) -> dict[str, Joint]:
        """Joints whose angles are handed over: those with a unit on both sides."""
        return {n: joint for n, joint in self.poses.model.joints.items() if n not in self.inferred}


def handover(fit: FitLike, beside: str | Path | None = None, inferred: bool = False) -> Handover:
    """All that is handed over of a fit.

    Parameters
    ----------
    fit : from `bodyfit.fit` or `bodyfit.read_fit`
    beside : folder in which events.csv and strides.csv stand where they were found; None: nowhere
    inferred : whether joints with no unit on one side go along

    Raises
    ------
    InputError
        One of the two files is damaged or lacks a column.
    """
    events = _rows(beside, EVENTS, ("time_s", "side", "event"))
    strides = _rows(beside, STRIDES, ("side", "start_s", "end_s"))
    return Handover(
        fit.poses,
        fit.joint_angle_sd or {},
        account_of(fit.summary, fit.findings),
        events,
        strides,
        () if inferred else fit.summary.inferred_joints,
        fit.segment_sd,
    )


def _rows(beside: str | Path | None, name: str, needed: Sequence[str]) -> Rows | None:
    """The cells of a table, or None: it is not there, or holds no row."""
    path = None if beside is None else Path(beside) / name
    if path is None or not path.is_file() or path.read_bytes().count(b"\n") < 2:
        return None
    table = read_table(path)
    for column in needed:
        if column not in table.names:
            raise InputError(
                f"{path}: no column {column!r}; found {', '.join(table.names)}. Write the file again"
            )
    cells = (column.to_pylist() for column in table.columns)
    return dict(zip(table.names, cells, strict=True))
