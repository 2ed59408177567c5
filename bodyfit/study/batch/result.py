"""What came of each capture of a batch: plain data, kept as JSON beside its fit."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

DONE, FAILED = "done", "failed"


@dataclass(frozen=True)
class Row:
    """One capture of a batch.

    Attributes
    ----------
    name : of its folder in the output
    capture : path as it was given
    state : "done" or "failed"
    reason : why it failed, one line; empty when done
    key : hash of the capture, the options and bodyfit's version; empty where it could not be read
    seconds : wall time of reading, fitting, reviewing and writing
    title, model : of the capture
    findings : severity -> how many
    iterations, converged : of the solver
    ranges : joint -> angle -> (least, greatest) in degrees
    """

    name: str
    capture: str
    state: str
    reason: str = ""
    key: str = ""
    seconds: float | None = None
    title: str = ""
    model: str = ""
    findings: Mapping[str, int] = field(default_factory=dict)
    iterations: int | None = None
    converged: bool | None = None
    ranges: Mapping[str, Mapping[str, tuple[float, float]]] = field(default_factory=dict)

    def as_data(self) -> dict[str, Any]:
        """The row as JSON-ready data."""
        return dataclasses.asdict(self)

    @classmethod
    def from_data(cls, data: Any) -> Row | None:
        """The row whose `as_data` this is; None where it is not one."""
        try:
            ranges = {
                joint: {angle: (float(low), float(high)) for angle, (low, high) in angles.items()}
                for joint, angles in data["ranges"].items()
            }
            return cls(**{**data, "ranges": ranges})
        except (TypeError, KeyError, ValueError, AttributeError):
            return None


def first_to_look_at(row: Row) -> tuple[Any, ...]:
    """Sorts rows: failures, then what did not converge, then by serious findings, then by warnings."""
    found = row.findings
    return (
        row.state == DONE,
        row.converged is not False,
        -found.get("serious", 0),
        -found.get("warning", 0),
        row.name,
    )
