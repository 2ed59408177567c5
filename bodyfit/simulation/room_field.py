"""Magnetic field of a room: the Earth's, bent by iron that is modelled as dipoles."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

DIPOLE_CONSTANT = 1e-7  # T m³ / (A m²), μ0 / 4π; by definition
# m; iron is no point: inside this radius the field of a dipole stops growing; chosen; not tried
CORE_RADIUS = 0.2


@dataclass(frozen=True)
class Dipole:
    """A piece of magnetised iron, fixed in the world.

    Attributes
    ----------
    position : (x, y, z) m, world frame
    moment : (x, y, z) A m², world frame
    """

    position: tuple[float, float, float]
    moment: tuple[float, float, float]


@dataclass(frozen=True)
class MagneticField:
    """The Earth's field with dipoles added; depends on where one stands.

    Attributes
    ----------
    norm : T, of the Earth's field; 48 µT is usual in central Europe
    dip : rad, positive when the field points into the ground; 64° is usual in central Europe
    north : rad, heading of magnetic north, turned from world +X about +Y
    dipoles : what bends the field
    """

    norm: float = 48e-6
    dip: float = math.radians(64.0)
    north: float = 0.0
    dipoles: tuple[Dipole, ...] = ()

    @property
    def earth(self) -> np.ndarray:
        """The Earth's field, (3,) T, world frame."""
        level = self.norm * math.cos(self.dip)
        return np.array(
            [level * math.cos(self.north), -self.norm * math.sin(self.dip), -level * math.sin(self.north)]
        )

    def at(self, position: np.ndarray) -> np.ndarray:
        """Field at positions.

        Parameters
        ----------
        position : (..., 3) m, world frame

        Returns
        -------
        field : (..., 3) T, world frame
        """
        return self.earth + sum((dipole_field(d, position) for d in self.dipoles), np.zeros(position.shape))


def dipole_field(dipole: Dipole, position: np.ndarray) -> np.ndarray:
    """Field of one dipole, softened inside its core.

    Parameters
    ----------
    dipole : the dipole
    position : (..., 3) m, world frame

    Returns
    -------
    field : (..., 3) T, world frame

    Notes
    -----
    B = μ0/4π (3 (m·r) r / r⁵ − m / r³) with r² replaced by r² + core².

    References
    ----------
    Jackson, Classical Electrodynamics, 3rd edition (1998), eq. 5.56.
    """
    arm = position - np.asarray(dipole.position, float)
    moment = np.asarray(dipole.moment, float)
    square = (np.sum(arm**2, -1) + CORE_RADIUS**2)[..., None]
    return DIPOLE_CONSTANT * (3 * (arm @ moment)[..., None] * arm / square**2.5 - moment / square**1.5)


def scattered_dipoles(
    rng: np.random.Generator, path: np.ndarray, distortion: float, count: int = 5
) -> tuple[Dipole, ...]:
    """Dipoles around a path, such that the field along it is off by a wanted amount.

    Parameters
    ----------
    rng : source of the places and directions
    path : (T, 3) m, where the person goes
    distortion : T, root mean square of the disturbance along the path
    count : how many

    Returns
    -------
    dipoles : they lie 0.5 to 1.5 m beside the path, below it by up to 1.5 m
    """
    foot = path[rng.integers(0, len(path), count)]
    angle, reach = rng.uniform(0, 2 * math.pi, count), rng.uniform(0.5, 1.5, count)
    offset = np.stack([reach * np.cos(angle), rng.uniform(-1.5, 0.0, count), reach * np.sin(angle)], -1)
    moments = rng.standard_normal((count, 3))
    unscaled = [Dipole(tuple(p), tuple(m)) for p, m in zip(foot + offset, moments, strict=True)]
    disturbance = sum(dipole_field(d, path) for d in unscaled)
    factor = distortion / math.sqrt(np.mean(np.sum(disturbance**2, -1)))
    return tuple(Dipole(d.position, tuple(factor * np.asarray(d.moment))) for d in unscaled)
