"""The report's list of findings: a card a kind, each finding in it a way to its time and joint."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ...core.findings import Finding, Folded, folded
from ...results.summary import Summary
from ..pages.finding_cards import card, cards, few, limit_of, when
from .files import FitFiles
from .words import safe


def findings_list(files: FitFiles) -> str:
    """All findings by kind, or what their absence means; whether the motion was reviewed."""
    unseen = (
        "<p>The motion itself was not reviewed yet: these are the fit's own findings. "
        "<code>bodyfit review OUT</code> looks it over; then make this page again.</p>"
    )
    head = "" if files.reviewed else unseen
    if not files.findings:
        nothing = "The review had" if files.reviewed else "The fit had"
        return f"{head}<p>{nothing} nothing to point at. That is no clearance; see the cautions below.</p>"
    place = {id(found): number for number, found in enumerate(files.findings)}
    entries = folded(files.findings)
    urgent = [_card(files, place, entry) for entry in entries if entry.worst.severity != "note"]
    notes = [_card(files, place, entry) for entry in entries if entry.worst.severity == "note"]
    return head + (cards(urgent) if urgent else "") + _notes(notes, bool(urgent))


def _notes(notes: Sequence[str], more: bool) -> str:
    """Notes behind one line, so that what matters stays in sight."""
    if not notes:
        return ""
    kinds = "one kind of note" if len(notes) == 1 else f"{len(notes)} kinds of notes"
    first = (
        ""
        if more
        else "<p>No warning, and nothing serious. That is no clearance; see the cautions below.</p>"
    )
    return f'{first}<details class="notes"><summary>{kinds}, good to know</summary>\n{cards(notes)}</details>'


def _card(files: FitFiles, place: Mapping[int, int], entry: Folded) -> str:
    """The worst of a kind in full, the others each in one line."""
    worst, *others = entry.all
    rest = [f"{_way(files, place, one)}: {safe(files.names.within(one.what))}" for one in others]
    return card(worst, files.names, _head(files, place, worst), limit_of(worst), rest)


def _head(files: FitFiles, place: Mapping[int, int], found: Finding) -> str:
    return _button(files, place, found, f"<b>{found.severity}</b> {_who(files, found)}", "go")


def _way(files: FitFiles, place: Mapping[int, int], found: Finding) -> str:
    return _button(files, place, found, _who(files, found), "plain")


def _button(files: FitFiles, place: Mapping[int, int], found: Finding, words: str, look: str) -> str:
    """What leads to the finding's time and joint."""
    joints = " ".join(joints_of(found, files.summary))
    return (
        f'<button type="button" class="{look}" data-finding="{place[id(found)]}" '
        f'data-joints="{safe(joints)}">'
        f'{words} <span class="when">{when(found)}</span></button>'
    )


def _who(files: FitFiles, found: Finding) -> str:
    named = dict.fromkeys(map(files.names.of, (*found.joints, *found.segments, *found.units)))
    return f'<span class="who">{safe(few(list(named)) or "whole capture")}</span>'


def joints_of(found: Finding, summary: Summary) -> list[str]:
    """Joints that a finding is about: those it names, and those that carry its segments and units."""
    joints, units = summary.joints, summary.units
    worn_on = [units[name].segment for name in found.units if name in units]
    segments = {*found.segments, *worn_on}
    carried = [name for name, joint in joints.items() if joint.child in segments]
    return [*[name for name in found.joints if name in joints], *carried]
