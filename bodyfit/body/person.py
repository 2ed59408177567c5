"""The person who wears the units, and shares (of stature, mass, length) that depend on the sex."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..errors import InputError, suggest

SEXES = ("female", "male")
# m, within which any one segment of any person lies; by reasoning: from a foot's height to a leg
LENGTHS_M = (0.02, 1.2)
Fraction = float | Sequence[float] | Mapping[str, Any]
"""A number, three numbers, or a mapping {male, female} of either; a share of stature, mass or length."""


@dataclass(frozen=True)
class Person:
    """Who wears the units; scales a human body model. `sex` is female, male, or None: the mean of both.

    `lengths_m` holds measured lengths, segment name -> m; they win over what the stature suggests.
    `lengths_sd_m` says how far those that an earlier fit lends may be off, m; others as a tape measure.
    """

    stature_m: float | None = None
    mass_kg: float | None = None
    sex: str | None = None
    lengths_m: Mapping[str, float] = field(default_factory=dict, hash=False)
    lengths_sd_m: Mapping[str, float] = field(default_factory=dict, hash=False)

    def __post_init__(self) -> None:
        if self.sex is not None and self.sex not in SEXES:
            raise InputError(f"person.sex: found {self.sex!r}; {suggest(self.sex, SEXES)}, or leave it out")
        for name, low, high, unit in (("stature_m", 0.4, 2.8, "m"), ("mass_kg", 2.0, 650.0, "kg")):
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                raise InputError(f"person.{name}: found {value}, expected {low} to {high} {unit}")
        low, high = LENGTHS_M
        for segment, value in self.lengths_m.items():
            if not low <= value <= high:
                raise InputError(
                    f"person.lengths_m.{segment}: found {value:g}, expected {low:g} to {high:g} m; give the "
                    "distance between the joint centres at its two ends, in metres"
                )


def share_of(value: Fraction | None, person: Person) -> Any:
    """A share for this person's sex; the mean over the sexes when it is not known.

    Parameters
    ----------
    value : a share, or None
    person : whose sex decides

    Returns
    -------
    float array of shape () or (3,), or None
    """
    if value is None:
        return None
    if isinstance(value, Mapping):
        sexes = SEXES if person.sex is None else (person.sex,)
        return np.mean([np.asarray(value[sex], float) for sex in sexes], axis=0)
    return np.asarray(value, float)
