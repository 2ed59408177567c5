"""Strides by what ground they go over: curves of each kind by side, and left against right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from ...core.findings import Finding
from ...fitting.result import Fit
from ..strides.result import Stride, Strides
from .curves import Angles, Cycles, columns_of, cycles_of, evenly_within, measured_angles
from .left_right import LeftRight, left_right
from .sides import SIDES, ranges_of_sides

LEAST_RISE = 0.08  # m of a stride's ground, half a step of a stair (by reasoning); less is level
LEAST_TURN = np.radians(45)  # of a stride: its leg does not swing as in walking ahead (by reasoning)
ENDINGS = {"level": "", "up": "_up", "down": "_down"}  # kind -> end of a movement's name in cycles.csv
FEWEST = 3  # strides of a side from which a comparison is given (by reasoning)
QUANTITIES = {
    "stride_time": ("s", "duration"),
    "stride_length": ("m", "length"),
    "speed": ("m/s", "speed"),
    "stance": ("share", "stance_share"),
    "double_support": ("share", "double_support_share"),
    "toe_clearance": ("m", "toe_clearance"),
}


@dataclass(frozen=True, eq=False)
class StrideCycles:
    """Joint angles over the strides of a fit, and left against right on the level.

    Attributes
    ----------
    cycles : "left", "right": straight on and level; "left_up", "right_down" and so on: stairs and slopes
    sides : left against right of level strides: times, lengths, and ranges of motion; empty where a side
        has fewer than three such strides
    findings : "sides-not-compared" where it is empty
    """

    cycles: Mapping[str, Cycles]
    sides: tuple[LeftRight, ...]
    findings: tuple[Finding, ...] = field(default=())

    def cycles_frame(self) -> Any:
        """The curves as a pandas table, 101 rows a movement.

        Returns
        -------
        pandas.DataFrame with the columns of cycles.csv
        """
        from ...files.movement.column_tables import frame

        return frame(columns_of(list(self.cycles.values())))

    def sides_frame(self) -> Any:
        """Left against right as a pandas table, one row a quantity.

        Returns
        -------
        pandas.DataFrame with the columns of sides.csv: percent instead of shares, degrees instead of rad
        """
        from ...files.movement.column_tables import frame
        from ...files.movement.sides_file import side_columns

        return frame(side_columns(self.sides))

    def write(self, out: str | Path) -> tuple[Path, ...]:
        """Writes cycles.csv, in which curves of repetitions stay, and sides.csv.

        Parameters
        ----------
        out : folder, made if missing

        Returns
        -------
        tuple of Path, of the files written

        Raises
        ------
        OutputError
            One can't be written.
        """
        from ...files.movement.column_tables import write_cycles
        from ...files.movement.sides_file import write_sides
        from ...files.plain.atomic_file import make_folder

        out = Path(out)
        make_folder(out)
        cycles = write_cycles(columns_of(list(self.cycles.values())), out, of_strides=True)
        return *cycles, *write_sides(self.sides, out)


def cycles_of_strides(fit: Fit, found: Strides) -> StrideCycles:
    """Joint angles over the stride by side and ground, and left against right.

    Parameters
    ----------
    fit : in which the strides were found
    found : from `bodyfit.strides`; strides whose side is not known, that turn by over 45°, or that reach
        beyond the fit are left out

    Returns
    -------
    StrideCycles
    """
    kinds = {kind: _of_kind(fit, found.strides, kind) for kind in ENDINGS}
    cycles: dict[str, Cycles] = {}
    for kind, ending in ENDINGS.items():
        for side, strides in kinds[kind].items():
            if strides:
                cycles[side + ending] = _cycles(fit, side, side + ending, strides)
    level = kinds["level"]
    if min(len(strides) for strides in level.values()) < FEWEST:
        return StrideCycles(cycles, (), (_not_compared(level),))
    ranges = ranges_of_sides(cycles, fit.joint_angle_sd)
    return StrideCycles(cycles, (*_of_steps(level), *ranges.values()))


def ground_of(stride: Stride) -> str:
    """What a stride goes over: level, up, down; or that it is turning."""
    if abs(stride.turn or 0.0) > LEAST_TURN:
        return "turning"
    rise = stride.height_change or 0.0
    return "up" if rise > LEAST_RISE else "down" if rise < -LEAST_RISE else "level"


def _of_kind(fit: Fit, strides: Sequence[Stride], kind: str) -> dict[str, list[Stride]]:
    first, last = fit.time[0], fit.time[-1]
    inside = [s for s in strides if s.start >= first and s.end <= last and ground_of(s) == kind]
    return {side: [s for s in inside if s.side == side] for side in SIDES}


def _cycles(fit: Fit, side: str, name: str, strides: Sequence[Stride]) -> Cycles:
    angles = angles_of_side(fit, side)
    starts, ends = (np.array([getattr(s, edge) for s in strides]) for edge in ("start", "end"))
    return cycles_of(name, fit.time, angles, evenly_within(starts, ends))


def angles_of_side(fit: Fit, side: str) -> Angles:
    """Measured joint angles of a side and of the middle of the body."""
    others = tuple(prefix for name, prefix in SIDES.items() if name != side)
    return {j: value for j, value in measured_angles(fit).items() if not j.startswith(others)}


def _of_steps(level: Mapping[str, Sequence[Stride]]) -> list[LeftRight]:
    """Left against right of what a stride is like, as far as it is known."""
    out = []
    for quantity, (unit, name) in QUANTITIES.items():
        left, right = (
            np.array([value for s in level[side] if (value := getattr(s, name)) is not None])
            for side in SIDES
        )
        if min(len(left), len(right)) >= FEWEST:
            out.append(left_right(quantity, unit, left, right))
    return out


def _not_compared(level: Mapping[str, Sequence[Stride]]) -> Finding:
    counts = " and ".join(f"{len(strides)} of the {side}" for side, strides in level.items())
    return Finding(
        "sides-not-compared",
        "note",
        f"left and right are not compared: found {counts} level strides straight on",
        "record ten steps straight on, on level ground",
        value=float(min(map(len, level.values()))),
        threshold=float(FEWEST),
        source="three of either side, so that a spread between strides means something (by reasoning)",
    )
