"""What a person reads after `bodyfit strides`: how many strides a side, and their means and spreads."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ...movement.strides.result import CAUTION, Stride, Strides
from .table import NONE, console_of, plain_table, print_written

QUANTITIES: dict[str, tuple[Callable[[Stride], float | None], int]] = {  # what, and decimals
    "stride time, s": (lambda s: s.duration, 2),
    "stride length, m": (lambda s: s.length, 2),
    "speed, m/s": (lambda s: s.speed, 2),
    "stance, %": (lambda s: _times(s.stance_share, 100), 1),
    "both feet stand, %": (lambda s: _times(s.double_support_share, 100), 1),
    "toe clearance, cm": (lambda s: _times(s.toe_clearance, 100), 1),
    "rise or fall, m": (lambda s: s.height_change if s.height_change is None else abs(s.height_change), 2),
    "turn, °": (lambda s: s.turn if s.turn is None else abs(np.degrees(s.turn)), 0),
}


def print_strides(found: Strides, paths: Sequence[Path] = (), console: Console | None = None) -> None:
    """Prints means and spreads by side, what to be wary of, and the files written, at most 100 columns wide.

    Parameters
    ----------
    found : strides of a recording
    paths : files written
    console : where to; default is the standard output
    """
    console = console_of(console)
    console.print(Text("from ", style="bold") + Text(found.found_from))
    console.print(Padding(_table(found), (1, 0, 0, 0)))
    console.print(Text("mean ± standard deviation over strides; – is not known", style="dim"))
    for finding in found.findings:
        console.print(Padding(Text(f"{finding.severity}  {finding.sentence}"), (1, 0, 0, 0)))
    console.print(Padding(Text(CAUTION), (1, 0, 0, 0)))
    if paths:
        print_written(console, paths)


def _table(found: Strides) -> Table:
    sides = list(dict.fromkeys([*found.tracks, *(stride.side for stride in found.strides)]))
    of = {side: [stride for stride in found.strides if stride.side == side] for side in sides}
    table = plain_table("per stride", *(f">{'one foot' if side == 'none' else side}" for side in sides))
    table.add_row("strides", *(str(len(of[side])) for side in sides))
    for name, (value, decimals) in QUANTITIES.items():
        table.add_row(name, *(_spread([value(stride) for stride in of[side]], decimals) for side in sides))
    return table


def _spread(values: Sequence[float | None], decimals: int) -> str:
    known = [value for value in values if value is not None]
    if not known:
        return NONE
    return f"{np.mean(known):.{decimals}f} ± {np.std(known):.{decimals}f}"


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else factor * value
