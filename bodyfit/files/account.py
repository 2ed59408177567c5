"""What every exported file says of itself: which bodyfit, body, sensors, and what it must not be used for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ..core.findings import Finding
from ..results.summary import Summary

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
    start_time: str = ""

    @property
    def worn(self) -> str:
        """The worn units in one line."""
        told = (f"{unit} on {self.units[unit]} ({', '.join(self.sensors[unit])})" for unit in self.units)
        return "; ".join(told)

    @property
    def world(self) -> str:
        """Frames and signs in one sentence."""
        return WORLD.format(heading=self.heading)

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


def account_of(summary: Summary, findings: Sequence[Finding]) -> Account:
    """The account that a fit gives of itself.

    Parameters
    ----------
    summary, findings : of the fit
    """
    return Account(
        version=summary.bodyfit_version,
        title=summary.capture,
        model=summary.model.name,
        heading=summary.heading.reference,
        root=summary.root_position,
        units={name: unit.segment for name, unit in summary.units.items()},
        sensors={name: unit.sensors for name, unit in summary.units.items()},
        warnings=tuple(f.sentence for f in findings if f.severity != "note"),
        start_time=summary.sampling.start_time or "",
    )
