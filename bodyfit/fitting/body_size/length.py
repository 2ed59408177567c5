"""Length of a segment with its standard deviation: by share of stature, and several fused."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...body.chain import BodyModel
from ...body.person import Person, share_of

# Share of a segment's length by which people of one stature differ from the model: 0.041 between persons,
# 0.040 between tables. ANSUR II (Natick/TR-15/007): residual of thigh, calf, forearm, hand and foot given
# stature, and how far the models' shares lie from the survey's; tests/published recomputes both.
STATURE_SD_SHARE = 0.06
MEASURED_SD = 0.01  # m, tape measure between palpated landmarks: common practice


@dataclass(frozen=True)
class Length:
    """A length and its standard deviation, m."""

    value: float
    sd: float


def fused(lengths: Sequence[Length]) -> Length:
    """Independent lengths of one segment, weighted by precision.

    Parameters
    ----------
    lengths : at least one

    Returns
    -------
    Length
    """
    precision = np.array([1 / length.sd**2 for length in lengths])
    value = precision @ [length.value for length in lengths] / precision.sum()
    return Length(float(value), float(precision.sum() ** -0.5))


def length_from_stature(model: BodyModel, person: Person, segment: str) -> Length | None:
    """Length of a segment by its share of stature.

    Parameters
    ----------
    model : with shares
    person : stature and sex
    segment : name

    Returns
    -------
    Length, or None without a stature or a share
    """
    share = share_of(model.segments[segment].length_of_stature, person)
    if share is None or person.stature_m is None:
        return None
    length = float(share) * person.stature_m
    return Length(length, STATURE_SD_SHARE * length)
