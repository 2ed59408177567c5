"""Soft tissue: how a worn unit turns and shifts against the bone when the segment is accelerated."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.signal import cont2discrete, lfilter, lfilter_zi

from ..core.gravity import STANDARD_GRAVITY

NATURAL_FREQUENCY = 7.0  # Hz; worn masses on thigh and calf ring at 5 to 10 Hz (from memory)
DAMPING = 0.4  # share of critical damping (from memory)


@dataclass(frozen=True, eq=False)
class SoftTissue:
    """One unit's tissue: a damped mass on a spring, pushed by acceleration across the segment's long axis.

    Attributes
    ----------
    turn : (3, 3) rad per g; segment-frame acceleration (in g) -> rotation vector of the unit at rest
    shift : (3, 3) m per g; the same for the displacement, which lags behind the bone
    """

    turn: np.ndarray
    shift: np.ndarray

    def response(self, acceleration: np.ndarray, dt: float) -> tuple[np.ndarray, np.ndarray]:
        """Rotation vectors (rad) and shifts (m) of the unit against the bone, segment frame.

        Parameters
        ----------
        acceleration : (T, 3) m/s², of the bone under the unit, in the segment frame; with gravity's pull on
            the tissue taken off where it sags (`unit_path`)
        dt : s between samples

        Returns
        -------
        turn, shift : (T, 3) arrays
        """
        felt = damped_mass(acceleration / STANDARD_GRAVITY, dt)
        return felt @ self.turn.T, felt @ self.shift.T


def damped_mass(drive: np.ndarray, dt: float) -> np.ndarray:
    """Response of x'' + 2 ζ ω x' + ω² x = ω² drive, settled at the first sample; follows a slow drive.

    Parameters
    ----------
    drive : (T, n) array
    dt : s between samples, short against 1 / NATURAL_FREQUENCY

    Returns
    -------
    (T, n) array
    """
    w = 2 * math.pi * NATURAL_FREQUENCY
    numerator, a, _ = cont2discrete(([w * w], [1.0, 2 * DAMPING * w, w * w]), dt, method="foh")  # type: ignore
    b = np.ravel(numerator)
    start = lfilter_zi(b, a)[:, None] * drive[:1]
    return lfilter(b, a, drive, axis=0, zi=start)[0]


def drawn_tissue(rng: np.random.Generator, deg_per_g: float, mm_per_g: float) -> SoftTissue:
    """Tissue with seeded directions: which way the unit tilts depends on where it sits on the muscle.

    Parameters
    ----------
    rng : source of the directions
    deg_per_g : rotation at rest for one g across the long axis (Y), any direction across
    mm_per_g : shift at rest for one g across the long axis, against the acceleration

    Returns
    -------
    tissue : acceleration along the long axis moves nothing
    """
    directions, _ = np.linalg.qr(rng.standard_normal((3, 3)))
    across = np.diag([1.0, 0.0, 1.0])
    return SoftTissue(math.radians(deg_per_g) * directions @ across, -mm_per_g / 1000 * across)
