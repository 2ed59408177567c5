"""What a search for repetitions tells besides them: none found, odd ones, what it rests on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ...core.findings import Finding
from .likeness import OUTLIER
from .result import LIKELY, Repetition
from .search import LIMIT

WORDS = {"distance": "its shape", "duration": "how long it took", "amplitude": "how large it was"}


def findings_of(
    found: Sequence[Repetition], counted: Mapping[str, int], elsewhere: bool, worn_otherwise: bool
) -> list[Finding]:
    """Findings about repetitions.

    Parameters
    ----------
    found : all of them
    counted : movement -> how often
    elsewhere : whether the examples come from another recording
    worn_otherwise : whether the turns of units were solved for

    Returns
    -------
    list of Finding: "repetitions-none", "repetition-unsure", "repetition-odd", "repetitions-worn-otherwise"
    """
    out = [_none(name, elsewhere, worn_otherwise) for name, count in counted.items() if not count]
    out += [_unsure(one, counted[one.movement]) for one in found if not one.sure]
    out += [_odd(one) for one in found if one.odd]
    if worn_otherwise and found:
        out.append(_otherwise())
    return out


def _none(name: str, elsewhere: bool, worn_otherwise: bool) -> Finding:
    advice = "check the start and end of the example, and that the movement is in the recording"
    if elsewhere and not worn_otherwise:
        advice += "; if units sat otherwise or on another person, say so (worn otherwise)"
    return Finding(
        "repetitions-none",
        "warning",
        f"{name}: no repetition was found within a distance of {LIMIT}",
        advice,
        threshold=LIMIT,
        source="0 is the same, 1 no nearer than standing still; tried on open recordings of exercises",
    )


def _unsure(one: Repetition, count: int) -> Finding:
    return Finding(
        "repetition-unsure",
        "warning",
        f"of {count} repetitions of {one.movement} the one at {one.start:.2f} s is more likely another "
        f"movement or none (probability {one.probability:.2f})",
        "look at it, and count it only if it is one; one more example, slow or small, makes others surer",
        start=one.start,
        end=one.end,
        value=one.probability,
        threshold=LIKELY,
        source="more likely than not, by definition",
    )


def _odd(one: Repetition) -> Finding:
    words = " and ".join(WORDS[kind] for kind in one.odd)
    return Finding(
        "repetition-odd",
        "note",
        f"{one.movement} at {one.start:.2f} s stands out from the others by {words} (distance "
        f"{one.distance:.2f}, {one.duration_ratio:.2f} times as long, {one.amplitude_ratio:.2f} times as "
        "large)",
        "look at it before it goes into a mean",
        start=one.start,
        end=one.end,
        value=one.distance,
        source=f"{OUTLIER} robust standard deviations from the median (Iglewicz & Hoaglin 1993, from memory)",
        handled="left out of the mean curves" if "distance" in one.odd else "",
    )


def _otherwise() -> Finding:
    return Finding(
        "repetitions-worn-otherwise",
        "warning",
        "how the units were turned was solved for from the movement itself",
        "trust the count only if no other movement of the same shape is in the recording: those that differ "
        "in direction alone can't be told apart; better give an example from this recording",
        source="with turns solved for, 70 % of sessions of another exercise were taken for this one "
        "(112 pairs of open recordings)",
    )
