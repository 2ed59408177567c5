"""What every exported file says of itself: which bodyfit, body, sensors, and what it must not be used for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

CAUTION = (
    "Not a medical device: no diagnosis, no advice on treatment, no decision on anyone's return to work or "
    "sport without a licensed professional. A recording of a person is personal data."
)
WORLD = (
    "World: right-handed, +Y up, +Z to the right of +X; {heading}. Segments: X forward, Y towards the head, "
    "Z to the right in the neutral standing pose (ISB); with every segment neutral and facing +X all "
    "rotations are the identity"
)


@dataclass(frozen=True)
class Account:
    """The account that a fit gives of itself, in words.

    Attributes
    ----------
    version : of bodyfit, as the fit was made with
    title : of the capture
    model : name of the body model
    heading : what +X of the world is
    root : what is known of the root's place
    units : worn unit -> segment that it is on
    sensors : worn unit -> sensors used of it
    warnings : sentences, most harmful first
    findings : severity -> how many
    iterations, converged : of the solver; None where it isn't told
    start_time : moment from which time counts, ISO 8601; empty where it isn't known
    """

    version: str
    title: str
    model: str
    heading: str
    root: str
    units: Mapping[str, str]
    sensors: Mapping[str, tuple[str, ...]]
    warnings: tuple[str, ...]
    findings: Mapping[str, int]
    iterations: int | None = None
    converged: bool | None = None
    start_time: str = ""

    @property
    def worn(self) -> str:
        """The worn units in one line."""
        told = (f"{unit} on {self.units[unit]} ({', '.join(self.sensors[unit])})" for unit in self.units)
        return "; ".join(told)

    @property
    def world(self) -> str:
        """Frames and signs in one sentence."""
        return WORLD.format(heading=self.heading or "the heading of +X is not told")

    def as_text(self) -> dict[str, str]:
        """Short word -> sentence, for a file's own attributes."""
        return {
            "title": self.title,
            "software": f"bodyfit {self.version}",
            "body_model": self.model,
            "sensors": self.worn,
            "frames": self.world,
            **({"start_time": self.start_time} if self.start_time else {}),
            "root_position": self.root,
            "warnings": "; ".join(self.warnings),
            "caution": CAUTION,
        }


def account_of(summary: Mapping[str, Any]) -> Account:
    """The account in a fit's summary; the one place here that reads it.

    Parameters
    ----------
    summary : content of summary.json; keys that are missing count as not told
    """
    units, solver = summary.get("units") or {}, summary.get("solver") or {}
    found = [finding.get("severity", "note") for finding in summary.get("findings") or ()]
    return Account(
        version=str(summary.get("bodyfit_version") or "of unknown version"),
        title=str(summary.get("capture") or ""),
        model=str((summary.get("model") or {}).get("name") or ""),
        heading=str((summary.get("heading") or {}).get("reference") or ""),
        root=str(summary.get("root_position") or ""),
        units={name: str(unit.get("segment") or "") for name, unit in units.items()},
        sensors={name: tuple(unit.get("sensors") or ()) for name, unit in units.items()},
        warnings=tuple(summary.get("warnings") or ()),
        findings={word: found.count(word) for word in ("serious", "warning", "note")},
        iterations=solver.get("iterations"),
        converged=solver.get("converged"),
        start_time=str((summary.get("sampling") or {}).get("start_time") or ""),
    )
