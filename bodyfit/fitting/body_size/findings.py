"""Findings about the person's size: stature, tape measure and motion that do not agree."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ...body.chain import BodyModel
from ...body.person import Person
from ...core.findings import Finding
from .length import MEASURED_SD, Length, fused, length_from_stature

# share that all lengths from one motion are off by together; tried: 3 to 5 % on simulated people
COMMON_SD = 0.04
DISAGREE = 3.0  # standard deviations, two sources further apart are reported; common practice


def length_findings(model: BodyModel, person: Person, shown: Mapping[str, Length]) -> tuple[Finding, ...]:
    """Findings where what was stated about the person and what is seen lie too far apart.

    Parameters
    ----------
    model : scaled to the person
    person : stature, sex and measured lengths
    shown : segment -> Length by the motion

    Returns
    -------
    tuple of Finding, kind "length-disagrees": one about the stature where all segments are off together,
    else one for each segment that is
    """
    by_stature = {name: length_from_stature(model, person, name) for name in model.segments}
    stated = {name: length for name, length in by_stature.items() if length is not None}
    common = _stature_off(person, {n: (stated[n], shown[n]) for n in shown if n in stated})
    if common is not None:
        return (common,)
    measured = {name: Length(value, MEASURED_SD) for name, value in person.lengths_m.items()}
    pairs = [(n, "stature", stated[n], "the motion", shown[n]) for n in shown if n in stated]
    pairs += [(n, "stature", stated[n], "the tape measure", measured[n]) for n in measured if n in stated]
    pairs += [(n, "the tape measure", measured[n], "the motion", shown[n]) for n in measured if n in shown]
    return tuple(_disagreement(*pair) for pair in pairs if _apart(pair[2], pair[4]) > DISAGREE)


def _apart(one: Length, other: Length) -> float:
    """Distance between two independent lengths in standard deviations."""
    return abs(one.value - other.value) / float(np.hypot(one.sd, other.sd))


def _stature_off(person: Person, pairs: Mapping[str, tuple[Length, Length]]) -> Finding | None:
    """All segments together longer or shorter than the stature says: the stature is likely wrong.

    ρ = Σ wᵢ Lᵢ/L̄ᵢ / Σ wᵢ with wᵢ = 1/σᵢ², σᵢ the relative standard deviation of one ratio.
    """
    if len(pairs) < 2 or person.stature_m is None:
        return None
    ratios = [
        Length(b.value / a.value, b.value / a.value * float(np.hypot(a.sd / a.value, b.sd / b.value)))
        for a, b in pairs.values()
    ]
    mean = fused(ratios)
    limit = DISAGREE * float(np.hypot(mean.sd, COMMON_SD))
    if abs(mean.value - 1) < limit:
        return None
    word = "longer" if mean.value > 1 else "shorter"
    return Finding(
        "length-disagrees",
        "warning",
        f"{len(pairs)} segments are on average {100 * abs(mean.value - 1):.0f} % {word} by their motion than "
        f"a stature of {person.stature_m:.2f} m suggests",
        f"check person.stature_m ({mean.value * person.stature_m:.2f} m would agree) and that each unit is "
        "on the segment that setup.toml names",
        segments=tuple(pairs),
        value=100 * (mean.value - 1),
        threshold=100 * limit,
        measure="%",
        source=f"{DISAGREE:.0f} standard deviations",
        handled="lengths were moved towards the motion by precision",
    )


def _disagreement(name: str, first: str, one: Length, second: str, other: Length) -> Finding:
    """The finding for one segment."""
    apart, limit = abs(one.value - other.value), DISAGREE * float(np.hypot(one.sd, other.sd))
    return Finding(
        "length-disagrees",
        "warning",
        f"{name} is {100 * one.value:.1f} cm long by {first} and {100 * other.value:.1f} cm by {second}",
        f"measure {name} between the centres of its two joints and give it in [person.lengths_m], check the "
        "stature, and check that the unit is on the segment that setup.toml names",
        segments=(name,),
        value=100 * apart,
        threshold=100 * limit,
        measure="cm",
        source=f"{DISAGREE:.0f} standard deviations of the difference",
        handled="" if "tape" in second else "the length was moved towards the motion by precision",
    )
