"""repetitions.csv, cycles.csv and repetitions.json: what was repeated, written to a folder."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from ...core.findings import Finding
from ...version import __version__
from ..plain.atomic_file import check_folder, make_folder, whole_file
from .column_tables import CURVES, write_columns, write_cycles

TABLE, ACCOUNT = "repetitions.csv", "repetitions.json"


class Written(Protocol):
    """What is written of repetitions."""

    @property
    def counted(self) -> Mapping[str, int]:
        """Movement -> how often."""
        ...

    @property
    def explained(self) -> Mapping[str, float]:
        """Movement -> share of what moves."""
        ...

    @property
    def odd(self) -> Sequence[Any]:
        """Those that stand out."""
        ...

    @property
    def findings(self) -> Sequence[Finding]:
        """Most harmful first."""
        ...

    def columns(self) -> dict[str, np.ndarray]:
        """Of repetitions.csv."""
        ...

    def cycle_columns(self) -> dict[str, np.ndarray]:
        """Of cycles.csv; no rows where joints are not known."""
        ...


def write_repetitions(found: Written, out: str | Path, caution: str) -> tuple[Path, ...]:
    """Paths of the files, now written.

    Parameters
    ----------
    found : repetitions
    out : folder, made if missing
    caution : sentence that stands first in repetitions.json

    Raises
    ------
    OutputError
        The folder can't be made or written to.
    """
    out = Path(out)
    check_folder(out, (TABLE, CURVES, ACCOUNT))
    make_folder(out)
    write_columns(out / TABLE, found.columns())
    curves = write_cycles(found.cycle_columns(), out, of_strides=False)
    with whole_file(out / ACCOUNT) as partial:
        partial.write_text(json.dumps(_account(found, caution), indent=2, ensure_ascii=False) + "\n", "utf-8")
    return out / TABLE, *curves, out / ACCOUNT


def _account(found: Written, caution: str) -> dict[str, Any]:
    movements = {
        name: {"counted": count, "explained_percent": round(100 * found.explained[name], 1)}
        for name, count in found.counted.items()
    }
    odd = [
        {
            "start_s": round(one.start, 4),
            "end_s": round(one.end, 4),
            "movement": one.movement,
            "stands_out_by": list(one.odd),
            "duration_ratio": round(one.duration_ratio, 3),
            "amplitude_ratio": round(one.amplitude_ratio, 3),
        }
        for one in found.odd
    ]
    told = [finding.as_data() for finding in found.findings]
    return {
        "bodyfit_version": __version__,
        "caution": caution,
        "movements": movements,
        "odd": odd,
        "findings": told,
    }
