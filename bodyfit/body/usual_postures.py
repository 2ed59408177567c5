"""Usual postures: where a joint of people usually is, beside a segment on which no unit is worn."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..core.rotations import exp, log


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

    def deviation(self, relative: np.ndarray) -> np.ndarray:
        """Mean of a joint's turns from its usual posture.

        Parameters
        ----------
        relative : (T, 3, 3) child's rotation against the parent's

        Returns
        -------
        (3,) rad, child frame of the usual posture
        """
        return log(exp(self.turn).T @ relative).mean(0)

    def learned(self, mean: np.ndarray, variance: float, share: float, person: float) -> UsualPosture:
        """What is usual of a person once another motion of theirs is known.

        Parameters
        ----------
        mean : (3,) rad, of that motion's turns from here; see `deviation`
        variance : rad², of its error
        share : correlation of the two motions' means
        person : rad, by which a person's mean is off beyond `between`

        Returns
        -------
        UsualPosture, nearer to that motion, and surer

        Notes
        -----
        Means c, c' of two motions, variance V = B + p² each and correlation ρ; of one m = c + e, e ~ (0, S²),
        was seen: E[c'] = g m with g = ρ V / (V + S²), var c' = V (1 − ρ g). Bivariate normal, e.g. Anderson
        2003, ISBN 0471360910, theorem 2.5.1; from memory.
        """
        V = self.between**2 + person**2
        gain = share * V / (V + variance)
        left = V * (1 - share * gain)
        turn = log(exp(self.turn) @ exp(gain * mean))
        return replace(self, turn=turn, between=np.sqrt(np.maximum(0.0, left - person**2)))
