"""A finding: one thing about a capture or a motion that a person should know, with what to do about it."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, SupportsIndex, overload

from .cards import Card, Shown
from .one_line import one_line

SEVERITIES = ("note", "warning", "serious")
LONGEST = 200  # characters of a finding among others: two lines (by reasoning)


@dataclass(frozen=True, repr=False)
class Finding:
    """One thing that was noticed; plain data.

    Attributes
    ----------
    kind : stable identifier in words and hyphens, e.g. "clock-offset"; docs/…findings.md list them all
    severity : "note" (good to know), "warning" (figures suffer), "serious" (figures are not fit for use)
    what : one sentence, what was found, with its number and unit
    advice : one sentence, what to do
    units, segments, joints : names that it is about; empty where it is about the whole capture
    start, end : s of the capture's clock, or None: throughout; of several stretches the longest
    stretches : [start, end] s of all of them, where there are several
    value, threshold, measure : the number, the limit that it passed, the unit of both ("ms", "deg", "m/s²")
    source : where the threshold comes from; where there is none, why
    handled : what bodyfit did about it; empty: nothing
    harm_deg : rough size of the error that it leaves in angles as things stand; orders a list of findings
    """

    kind: str
    severity: str
    what: str
    advice: str
    units: tuple[str, ...] = ()
    segments: tuple[str, ...] = ()
    joints: tuple[str, ...] = ()
    start: float | None = None
    end: float | None = None
    value: float | None = None
    threshold: float | None = None
    measure: str = ""
    source: str = ""
    handled: str = ""
    harm_deg: float = 0.0
    stretches: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        if self.severity not in SEVERITIES:
            raise ValueError(f"severity: found {self.severity!r}, expected one of {', '.join(SEVERITIES)}")

    @property
    def identifier(self) -> str:
        """Stable name of this finding within its capture: kind, where, and when it starts."""
        where = "+".join((*self.units, *self.joints, *self.segments)) or "capture"
        return f"{self.kind}/{where}" + ("" if self.start is None else f"/{self.start:.2f}")

    @property
    def sentence(self) -> str:
        """What was found and what to do, in one line."""
        return f"{self.what}; {self.advice}"

    def __repr__(self) -> str:
        return f"<{self.severity} {self.identifier}: {one_line(self.what, LONGEST)}>"

    def as_data(self) -> dict[str, Any]:
        """The finding as JSON-ready data, its identifier first."""
        plain = {k: list(v) if isinstance(v, tuple) else v for k, v in dataclasses.asdict(self).items()}
        plain["stretches"] = [list(span) for span in self.stretches]
        renamed = {"start": "start_s", "end": "end_s", "stretches": "stretches_s"}
        return {"id": self.identifier} | {renamed.get(key, key): value for key, value in plain.items()}

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> Finding:
        """The finding whose `as_data` this is."""
        renamed = {"start_s": "start", "end_s": "end", "stretches_s": "stretches"}
        named = {renamed.get(key, key): value for key, value in data.items() if key != "id"}
        plain: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in named.items()}
        plain["stretches"] = tuple((a, b) for a, b in plain.get("stretches", ()))
        return cls(**plain)


class Findings(Shown, tuple[Finding, ...]):
    """Findings in an order, which show themselves one entry a kind."""

    __slots__ = ()

    @overload
    def __getitem__(self, place: SupportsIndex, /) -> Finding: ...
    @overload
    def __getitem__(self, place: slice, /) -> Findings: ...
    def __getitem__(self, place: Any, /) -> Any:
        found = super().__getitem__(place)
        return Findings(found) if isinstance(place, slice) else found

    def _card(self) -> Card:
        rows = [(e.worst.severity, when(e.worst), e.named) for e in folded(self)]
        return Card(f"Findings: {counted_findings(self)}", (), ("severity", "when", "what"), tuple(rows))


def counted_findings(findings: Iterable[Finding]) -> str:
    """How many findings there are of each severity, in words."""
    found = [finding.severity for finding in findings]
    counts = [(found.count(severity), severity) for severity in reversed(SEVERITIES)]
    return ", ".join(f"{count} {severity}" for count, severity in counts if count) or "none"


def when(finding: Finding) -> str:
    """The time of a finding: a span, an instant, or throughout."""
    if finding.start is None:
        return "throughout"
    if finding.end is None or finding.end - finding.start < 0.005:
        return f"{finding.start:.2f} s"
    return f"{finding.start:.2f}–{finding.end:.2f} s"


@dataclass(frozen=True)
class Folded:
    """Findings of one kind and severity as one entry.

    Attributes
    ----------
    worst : the most harmful of them
    others : names of the units, joints and segments that the others are about, each once
    count : how many findings there are
    all : every one of them, the most harmful first
    """

    worst: Finding
    others: tuple[str, ...]
    count: int
    all: tuple[Finding, ...]

    @property
    def what(self) -> str:
        """The worst in its own words, and whom else it is about."""
        if self.count == 1:
            return self.worst.what
        names = f": {', '.join(self.others)}" if self.others else ""
        return f"{self.worst.what}; {self.count - 1} more alike{names}"

    @property
    def named(self) -> str:
        """The same, after the names that it is about where the words do not name any."""
        worst = self.worst
        names = (*worst.units, *worst.joints, *worst.segments)
        who = "" if any(name in worst.what for name in names) else ", ".join(names)
        return f"{who}: {self.what}" if who else self.what


def folded(findings: Iterable[Finding]) -> tuple[Folded, ...]:
    """One entry for each kind and severity, in the order of the worst of each.

    Parameters
    ----------
    findings : in any order

    Returns
    -------
    tuple of Folded
    """
    groups: dict[tuple[str, str], list[Finding]] = {}
    for finding in worst_first(findings):
        groups.setdefault((finding.kind, finding.severity), []).append(finding)
    out = []
    for worst, *rest in groups.values():
        own = {*worst.units, *worst.joints, *worst.segments}
        names = dict.fromkeys(n for f in rest for n in (*f.units, *f.joints, *f.segments) if n not in own)
        out.append(Folded(worst, tuple(names), 1 + len(rest), (worst, *rest)))
    return tuple(out)


def inferred_as_notes(findings: Iterable[Finding], inferred: Iterable[str]) -> list[Finding]:
    """Findings, those that are only about joints that no unit measured turned into notes without harm.

    Parameters
    ----------
    findings : in any order
    inferred : joints with no unit on one side; their angles are not shown unless asked for

    Returns
    -------
    list of Finding, in the same order
    """
    joints = set(inferred)
    return [
        dataclasses.replace(f, severity="note", harm_deg=0.0)
        if f.joints and not f.units and joints.issuperset(f.joints)
        else f
        for f in findings
    ]


def worst_first(findings: Iterable[Finding]) -> Findings:
    """Findings, most harmful first: by severity, by the error that they leave, in the order of time.

    Parameters
    ----------
    findings : in any order

    Returns
    -------
    Findings
    """
    return Findings(
        sorted(findings, key=lambda f: (-SEVERITIES.index(f.severity), -f.harm_deg, f.start or 0.0, f.kind))
    )
