"""What to say about where units are worn."""

from __future__ import annotations

from collections.abc import Mapping

from ...core.findings import Finding
from ...errors import CannotReconstructError
from ...recording.capture import Capture, Unit
from ...recording.single_units import Unaided
from .assignment import SURE, WRONG, Placement, find_placement

# rough error of angles on the wrong segment; by reasoning: half of what an angle can be off
SWAPPED_DEG = 90.0
SOURCE = "own choice: 0.95 for a place to be sure, 0.03 for a place as said to be wrong"


def check_placement(
    capture: Capture, alone: Unaided | None = None
) -> tuple[Placement | None, tuple[Finding, ...]]:
    """Where the units of a capture are worn, and what to say about it before anything is repaired.

    Parameters
    ----------
    capture : units with or without segments
    alone : `unaided` of the units that carry accelerometer and gyroscope, where it is there already

    Returns
    -------
    placement : None where nothing can be compared
    findings : as `placement_findings`; one "placement-unchecked" where the units share too little time

    Raises
    ------
    InputError
        As `find_placement`.
    """
    try:
        found = find_placement(
            list(capture.units.values()), capture.model, capture.person, capture.calibrations, alone
        )
    except CannotReconstructError as error:
        return None, (_unchecked(capture.units, str(error)),)
    return found, placement_findings(found)


def _unchecked(units: Mapping[str, Unit], why: str) -> Finding:
    unsaid = tuple(name for name, unit in units.items() if unit.segment is None)
    return Finding(
        "placement-unchecked",
        "serious" if unsaid else "note",
        f"where units are worn was not checked: {why}",
        "record a longer stretch in which all units move",
        units=unsaid,
        source="no limit: the check could not be made",
        harm_deg=SWAPPED_DEG if unsaid else 0.0,
    )


def placement_findings(placement: Placement | None, repaired: bool = False) -> tuple[Finding, ...]:
    """What was found about where units are worn.

    Parameters
    ----------
    placement : from `find_placement`, or None
    repaired : whether units were moved to their most probable places

    Returns
    -------
    tuple of Finding: at most one "placement-swapped", one "placement-undecided", and a "placement-found" for
    each unit without a segment whose place is sure
    """
    if placement is None:
        return ()
    out = [_swapped(placement, repaired)] if placement.misplaced else []
    for name, said in placement.given.items():
        if said is None and name not in placement.undecided:
            out.append(_found(placement, name, repaired))
    return (*out, *([_undecided(placement, repaired)] if placement.undecided else []))


def _swapped(placement: Placement, repaired: bool) -> Finding:
    names, best = placement.misplaced, placement.best
    moved = "; ".join(
        f"{n} is said to be on {placement.given[n]}, is worn on {best.segments[n]}" for n in names
    )
    likely = max(placement.places[n].get(str(placement.given[n]), 0.0) for n in names)
    segments = dict.fromkeys(str(s) for n in names for s in (placement.given[n], best.segments[n]))
    return Finding(
        "placement-swapped",
        "serious",
        f"units are on other segments than the capture says: {moved} (probability of the segments as said "
        f"at most {likely:.2g}, of this assignment {best.probability:.2f})",
        "exchange the segments in setup.toml, or fit with --assign auto",
        units=names,
        segments=tuple(segments),
        value=likely,
        threshold=WRONG,
        source=SOURCE,
        handled="units moved to these segments" if repaired else "",
        harm_deg=0.0 if repaired else SWAPPED_DEG,
    )


def _found(placement: Placement, name: str, repaired: bool) -> Finding:
    segment, p = next(iter(placement.places[name].items()))
    return Finding(
        "placement-found",
        "note",
        f"{name} has no segment; the motion puts it on {segment} (probability {p:.2f})",
        f'write segment = "{segment}" into its table in setup.toml, or fit with --assign auto',
        units=(name,),
        segments=(segment,),
        value=p,
        threshold=SURE,
        source=SOURCE,
        handled=f"taken for worn on {segment}" if repaired else "",
        harm_deg=0.0 if repaired else SWAPPED_DEG,
    )


def _undecided(placement: Placement, repaired: bool) -> Finding:
    names = placement.undecided
    places = "; ".join(f"{n}: {_most_probable(placement, n)}" for n in names)
    unsaid = [n for n in names if placement.given[n] is None]
    kept = "the segments as said are kept" if not unsaid else "taken for worn where most probable"
    return Finding(
        "placement-undecided",
        "serious" if unsaid and not repaired else "note",
        f"the motion does not tell for sure where {len(names)} units are: {places}",
        "check these units; walking, or moving one joint after the other, would tell them apart",
        units=names,
        value=min(max(placement.places[n].values()) for n in names),
        threshold=SURE,
        source=SOURCE,
        handled=kept if repaired or not unsaid else "",
        harm_deg=SWAPPED_DEG if unsaid else 0.0,
    )


def _most_probable(placement: Placement, name: str) -> str:
    places = [(s, p) for s, p in placement.places[name].items() if p >= 0.01][:3]
    return ", ".join(f"{segment} {p:.2f}" for segment, p in places)
