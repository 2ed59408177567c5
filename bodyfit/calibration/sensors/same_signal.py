"""Units that hold the very same samples: one table read twice."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from ...core.findings import Finding
from ...recording.capture import Unit

ALIKE = 0.5  # share of equal rows; noise hardly ever makes one row of two devices equal (by reasoning)
LEAST_ROWS = 20  # fewer changing rows may be rest, read with few digits (by reasoning)
COMPARED = ("accelerometer", "gyroscope", "magnetometer")


def same_signals(units: Sequence[Unit]) -> tuple[tuple[str, str, float], ...]:
    """Pairs of units with the same samples.

    Parameters
    ----------
    units : as recorded

    Returns
    -------
    tuple of (name, name, share of rows that are equal, of those that differ from the row before)
    """
    found = []
    for a, b in combinations(units, 2):
        share = max((_share(a, b, s) for s in COMPARED if s in a.sensors & b.sensors), default=0.0)
        b.let_go()
        if share > ALIKE:
            found.append((a.name, b.name, share))
    return tuple(found)


def _share(a: Unit, b: Unit, sensor: str) -> float:
    """Of changing rows, row by row, those that are the same in both; zero where they are few."""
    x, y = getattr(a, sensor), getattr(b, sensor)
    n = min(len(x), len(y))
    if np.count_nonzero(x[1:n, 0] == y[1:n, 0]) <= ALIKE * LEAST_ROWS:  # too few, however many change
        return 0.0
    changes = (x[1:n] != x[: n - 1]).any(1) & np.isfinite(x[1:n]).all(1)
    if changes.sum() < LEAST_ROWS:
        return 0.0
    return float((x[1:n] == y[1:n]).all(1)[changes].mean())


def same_signal_findings(pairs: Sequence[tuple[str, str, float]]) -> tuple[Finding, ...]:
    """What to say about units with the same samples.

    Parameters
    ----------
    pairs : from `same_signals`

    Returns
    -------
    tuple of Finding: "same-signal"
    """
    return tuple(_finding(*pair) for pair in pairs)


def _finding(a: str, b: str, share: float) -> Finding:
    """One pair."""
    return Finding(
        "same-signal",
        "serious",
        f"{a} and {b} hold the same samples ({100 * share:.0f} % of their rows): one table is read twice",
        "in setup.toml, give each unit its own table and columns",
        units=(a, b),
        value=100 * share,
        threshold=100 * ALIKE,
        measure="% of changing rows",
        source="noise keeps the rows of two devices apart (by reasoning)",
        handled="both units left out: nothing tells whose samples they are",
        harm_deg=90.0,
    )
