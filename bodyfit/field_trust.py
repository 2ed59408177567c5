"""Where the magnetic field can be trusted: its norm and dip are what they usually are."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

LEAST_SHARE = 0.5  # a unit whose field passes the gate less often is not used at all
DIP_WITHOUT_PLACE = np.radians(60.0)  # middle latitudes; used only where no accelerometer shows the dip


@dataclass(frozen=True, eq=False)
class FieldTrust:
    """Which magnetometer readings count.

    Attributes
    ----------
    trusted : (K + 1, U) bool
    share : (U,) of the keyframes that passed the gate, NaN without a magnetometer
    dip : rad, of the field that was taken for clean
    level : (U,) rad, how far a heading by the field may be off throughout, as far as anything else shows it
    lasting : s, over which an error of that level is taken for one
    """

    trusted: np.ndarray
    share: np.ndarray
    dip: float
    level: np.ndarray
    lasting: float = 0.0

    def without(self, units: np.ndarray) -> FieldTrust:
        """The same with the magnetometers of some units, (U,) bool, left aside."""
        return replace(self, trusted=self.trusted & ~units)

    def spread(self, sd: float, seconds: float) -> tuple[np.ndarray, np.ndarray]:
        """Standard deviation of each unit's field heading, and how long an error stays.

        Parameters
        ----------
        sd, seconds : rad, s: of what comes and goes as one moves past iron

        Returns
        -------
        sd, seconds : (U,) rad, (U,) s, of that or of what stays, whichever leaves less to be known
        """
        both = np.maximum(sd, self.level)
        return both, np.maximum(sd**2 * seconds, self.level**2 * self.lasting) / both**2

    def with_level(self, level: np.ndarray, lasting: float, units: np.ndarray) -> FieldTrust:
        """The same with the level of error, (U,) rad, that was found for some units, (U,) bool."""
        return replace(self, level=np.where(units, level, self.level), lasting=lasting)


def dip_of(field: np.ndarray) -> np.ndarray:
    """Angle of the field below the horizon.

    Parameters
    ----------
    field : (..., 3) world frame

    Returns
    -------
    (...) rad
    """
    return np.arctan2(-field[..., 1], np.hypot(field[..., 0], field[..., 2]))


def judge_field(
    field: np.ndarray,
    known: np.ndarray,
    levelled: np.ndarray,
    expected_dip: float,
    norm_gate: float,
    dip_gate: float,
) -> FieldTrust:
    """Gate on norm and dip.

    Parameters
    ----------
    field : (K + 1, U, 3) world frame (headings need not be right), each unit's usual norm about one
    known : (K + 1, U) bool
    levelled : (U,) bool, units whose inclination is known from an accelerometer
    expected_dip : rad, used where no unit is levelled
    norm_gate, dip_gate : share, rad

    Returns
    -------
    FieldTrust
    """
    there = known.any(0)
    norm, dip = np.linalg.norm(field, axis=-1), dip_of(field)
    seen = known & levelled
    usual_dip = float(np.median(dip[seen])) if seen.any() else expected_dip
    usual_norm = np.array([np.median(n[k]) if k.any() else 1.0 for n, k in zip(norm.T, known.T, strict=True)])
    passed = known & (np.abs(norm / usual_norm - 1) < norm_gate)
    passed &= (np.abs(dip - usual_dip) < dip_gate) | ~levelled
    share = np.where(there, passed.sum(0) / np.maximum(known.sum(0), 1), np.nan)
    passed &= np.nan_to_num(share) >= LEAST_SHARE
    return FieldTrust(passed, share, usual_dip, np.zeros(len(there)))
