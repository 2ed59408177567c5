"""The report's list of findings, each a way to its time and joint."""

from __future__ import annotations

from collections.abc import Sequence

from ...core.findings import Finding
from ...results.summary import Summary
from .files import FitFiles
from .words import joint_label, number, safe, spaced

MOST_NAMES = 4  # in the head of one finding
MARKS = {"serious": "◆", "warning": "▲", "note": "●"}


def findings_list(files: FitFiles) -> str:
    """All findings in their order, or what their absence means; whether the motion was reviewed."""
    unseen = (
        "<p>The motion itself was not reviewed yet: these are the fit's own findings. "
        "<code>bodyfit review OUT</code> looks it over; then make this page again.</p>"
    )
    head = "" if files.reviewed else unseen
    if not files.findings:
        nothing = "The review had" if files.reviewed else "The fit had"
        return f"{head}<p>{nothing} nothing to point at. That is no clearance; see the cautions below.</p>"
    items = [_item(files, place, found) for place, found in enumerate(files.findings)]
    is_note = [found.severity == "note" for found in files.findings]
    urgent = [item for item, note in zip(items, is_note, strict=True) if not note]
    notes = [item for item, note in zip(items, is_note, strict=True) if note]
    return head + _list(urgent) + _folded(notes, bool(urgent))


def _list(items: Sequence[str]) -> str:
    return '<ol class="findings">\n' + "\n".join(items) + "\n</ol>" if items else ""


def _folded(notes: Sequence[str], more: bool) -> str:
    """Notes behind one line, so that what matters stays in sight."""
    if not notes:
        return ""
    one = "one note, good to know" if len(notes) == 1 else f"{len(notes)} notes, good to know"
    first = (
        ""
        if more
        else "<p>No warning, and nothing serious. That is no clearance; see the cautions below.</p>"
    )
    return f'{first}<details class="notes"><summary>{one}</summary>\n{_list(notes)}</details>'


def _item(files: FitFiles, place: int, found: Finding) -> str:
    joints = joints_of(found, files.summary)
    who = _few([*map(joint_label, (*found.joints, *found.segments)), *found.units]) or "whole capture"
    limit = _limit(found)
    more = [
        f'<p class="advice">{safe(found.advice)}</p>',
        f"<p>Done about it: {safe(found.handled)}</p>" if found.handled else "",
        f'<p class="small">{limit}</p>' if limit else "",
    ]
    return (
        f'<li class="{found.severity}"><button type="button" class="go" data-finding="{place}"'
        f' data-joints="{safe(" ".join(joints))}">'
        f'<span class="mark" aria-hidden="true">{MARKS[found.severity]}</span> <b>{found.severity}</b> '
        f'<span class="who">{safe(who)}</span> <span class="when">{_when(found)}</span></button>'
        f'<p class="what">{safe(found.what)}</p>{"".join(more)}</li>'
    )


def _few(names: Sequence[str]) -> str:
    """The first names, and how many more there are."""
    shown = (
        names if len(names) <= MOST_NAMES + 1 else [*names[:MOST_NAMES], f"{len(names) - MOST_NAMES} more"]
    )
    return ", ".join(shown)


def _when(found: Finding) -> str:
    if found.start is None:
        return "throughout"
    if found.end is None or found.end <= found.start:
        return f"at {number(found.start, 2)} s"
    return f"{number(found.start, 2)} to {number(found.end, 2)} s"


def _limit(found: Finding) -> str:
    """Number, limit and source, as far as the finding gives them."""
    unit = "°" if found.measure == "deg" else f" {found.measure}"
    parts = [
        f"found {_short(found.value)}{unit}" if found.value is not None else "",
        f"limit {_short(found.threshold)}{unit}" if found.threshold is not None else "",
        f"limit from: {found.source}" if found.source else "",
        spaced(found.kind.replace("-", " ")),
    ]
    return safe("; ".join(part for part in parts if part))


def _short(value: float) -> str:
    """Three figures, and never a power of ten."""
    text = f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}"
    return text.replace("-", "−") if "e" not in text else f"{value:.6f}".rstrip("0")


def joints_of(found: Finding, summary: Summary) -> list[str]:
    """Joints that a finding is about: those it names, and those that carry its segments and units."""
    joints, units = summary.joints, summary.units
    worn_on = [units[name].segment for name in found.units if name in units]
    segments = {*found.segments, *worn_on}
    carried = [name for name, joint in joints.items() if joint.child in segments]
    return [*[name for name in found.joints if name in joints], *carried]
