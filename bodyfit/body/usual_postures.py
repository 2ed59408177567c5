"""Usual postures: where a joint of people usually is, beside a segment on which no unit is worn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class UsualPosture:
    """Where one joint usually is, and how far from there.

    Attributes
    ----------
    turn : (3,) rad, rotation vector of the child against the parent
    within : (3, 3) rad², covariance about it in the course of a motion, child frame
    between : (3,) rad, standard deviation of a motion's own mean from it
    """

    turn: np.ndarray
    within: np.ndarray
    between: np.ndarray
