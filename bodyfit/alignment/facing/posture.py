"""What the usual posture of a joint says of its heading in a piece and of how both units face."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...body.anatomy import LEFT
from ...body.parts import Joint
from .grid import GRID, wrapped
from .usual import (
    BACKWARD,
    INWARD,
    SOFT_DIRECTION,
    USUAL_DIRECTION,
    USUAL_DIRECTION_SD,
    Spread,
    Usual,
)

ALIKE_S = 0.5  # s, over which a joint's angles are alike (`Weights.angle_s`); by reasoning
# keyframes of a piece; more show nothing new within a second or two; tried: 8 and 12 on six captures of
# tests/benchmarks/facing_in_pieces.py: as much known
LOOKED_AT = 8


@dataclass(frozen=True, eq=False)
class Posture:
    """Log-likelihood of one piece by posture, its third angle kept apart since the child's facing shifts it.

    Attributes
    ----------
    log : (N, G) of joint headings and facings of the parent: first and second angle, spread of the third
    third : (N, G) rad, mean of the third angle for a child that faces at zero
    variance : rad², of that mean about `usual`
    usual : rad
    """

    log: np.ndarray
    third: np.ndarray
    variance: float
    usual: float

    def likelihood(self, floor: float) -> np.ndarray:
        """(N, G, G) by joint heading and both facings, no less than exp(−floor)."""
        apart = wrapped(self.third[..., None] - GRID - self.usual).astype(np.float32)
        log = self.log[..., None].astype(np.float32) - np.square(apart) * np.float32(0.5 / self.variance)
        return np.exp(log) + np.float32(np.exp(-floor))


def posture_of(
    segments: tuple[np.ndarray, np.ndarray], joint: Joint, usual: Usual, tilt: float, seconds: float
) -> Posture:
    """Posture in one piece for every heading of the joint and every facing of the parent.

    Parameters
    ----------
    segments : parent's and child's (k, 3, 3) world_from_segment if both units faced at zero, own headings
    joint : its sequence, signs, ranges
    usual : of that joint
    tilt : rad, of an inclination in this piece
    seconds : length of the piece

    Returns
    -------
    Posture

    Notes
    -----
    R = Ry(μ_p) C(ψ) Ry(−μ_c), C = S_pᵀ Ry(ψ) S_c. For a ZXY joint, (a, b, c − μ_c) are the angles of R with
    (a, b, c) those of Ry(μ_p) C: one table serves all facings of the child. For the shoulder R is split into
    the swing of the arm's direction and the twist about it; Ry(μ) turns the direction, and the twist of R is
    that of C plus μ_p − μ_c.
    """
    step = max(1, len(segments[0]) // LOOKED_AT)
    entries = _entries(segments[0][::step], segments[1][::step])
    count = max(1.0, min(seconds / ALIKE_S, len(entries[0])))
    if usual.by_direction:
        log, c = _direction(entries, joint, count)
    else:
        log, c = _cardan(entries, joint, usual, tilt, count)
    mean = np.exp(1j * c).mean(0)
    third = usual.third
    log = log - count * (1 - np.abs(mean)) / np.radians(third.within) ** 2
    variance = np.radians(third.piece) ** 2 + 2 * tilt**2
    return Posture(log, np.angle(mean), variance, float(joint.signs[2] * np.radians(third.usual)))


def held_posture(segments: tuple[np.ndarray, np.ndarray], third: float, sd: float, usual: Usual) -> Posture:
    """The declared pose as a piece: how both units face beside each other is what the pose says.

    Parameters
    ----------
    segments : as in `posture_of`
    third : rad, third angle of the joint in the pose
    sd : rad, headings of both units as people hold the pose, together
    usual : of that joint

    Returns
    -------
    Posture
    """
    entries = _entries(*segments)
    c = _twist(entries)[..., None] + GRID if usual.by_direction else _angles(entries)[2]
    mean = np.angle(np.exp(1j * c).mean(0))
    return Posture(np.zeros(mean.shape), mean, sd**2, third)


def _entries(parent: np.ndarray, child: np.ndarray) -> tuple[np.ndarray, ...]:
    """(k, N) each: C₀₁, C₁₁, C₂₁, C₀₀, C₂₀, C₀₂, C₂₂ of C(ψ) = S_pᵀ Ry(ψ) S_c."""
    even = parent[:, 0, :, None] * child[:, 0, None] + parent[:, 2, :, None] * child[:, 2, None]
    odd = parent[:, 0, :, None] * child[:, 2, None] - parent[:, 2, :, None] * child[:, 0, None]
    rest = parent[:, 1, :, None] * child[:, 1, None]
    cos, sin = np.cos(GRID), np.sin(GRID)

    def at(i: int, j: int) -> np.ndarray:
        return rest[:, i, j, None] + cos * even[:, i, j, None] + sin * odd[:, i, j, None]

    return at(0, 1), at(1, 1), at(2, 1), at(0, 0), at(2, 0), at(0, 2), at(2, 2)


def _angles(entries: tuple[np.ndarray, ...]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(k, N, G) each: angles of Ry(μ) C = Rz(a) Rx(b) Ry(c)."""
    c01, c11, c21, c00, c20, c02, c22 = (v[..., None].astype(np.float32) for v in entries)
    cos, sin = np.cos(GRID).astype(np.float32), np.sin(GRID).astype(np.float32)
    a = np.arctan2(-(cos * c01 + sin * c21), c11)
    b = np.arcsin(np.clip(cos * c21 - sin * c01, -1, 1))
    return a, b, np.arctan2(sin * c00 - cos * c20, cos * c22 - sin * c02)


def _cardan(
    entries: tuple[np.ndarray, ...], joint: Joint, usual: Usual, tilt: float, count: float
) -> tuple[np.ndarray, np.ndarray]:
    """(N, G) log-likelihood of the first two angles; (k, N, G) the third."""
    a, b, c = _angles(entries)
    low, high = np.radians(0.0), np.radians(0.0)
    log = np.zeros(a.shape[1:])
    if joint.angles[0] in joint.range:
        low, high = joint.range[joint.angles[0]]
        bent = a * joint.signs[0]
        beyond = np.minimum(0, bent - low) + np.maximum(0, bent - high)
        log = -0.5 * count * np.mean(beyond**2, 0) / (np.radians(usual.soft) ** 2 + tilt**2)
    return log + _second(b * joint.signs[1], usual.second, tilt, count), c


def _second(b: np.ndarray, spread: Spread, tilt: float, count: float) -> np.ndarray:
    """(N, G) log-likelihood of the second angle (k, N, G): its mean over the piece, and its spread in it."""
    mean = b.mean(0)
    variance = np.radians(spread.constant) ** 2 + np.radians(spread.piece) ** 2 + 2 * tilt**2
    off = (mean - np.radians(spread.usual)) ** 2 / variance
    return -0.5 * off - 0.5 * count * ((b - mean) ** 2).mean(0) / np.radians(spread.within) ** 2


def _direction(entries: tuple[np.ndarray, ...], joint: Joint, count: float) -> tuple[np.ndarray, np.ndarray]:
    """(N, G) log-likelihood of where the limb points; (k, N, G) its twist.

    Forward and outward parts of its direction: one-sided limits, and a usual mean over the piece.
    """
    c01, _, c21 = (v[..., None] for v in entries[:3])
    side = -1.0 if joint.name.startswith(LEFT) else 1.0
    forward = -(np.cos(GRID) * c01 + np.sin(GRID) * c21)
    outward = -side * (np.cos(GRID) * c21 - np.sin(GRID) * c01)
    beyond = np.minimum(0, forward + BACKWARD) ** 2 + np.minimum(0, outward + INWARD) ** 2
    log = -0.5 * count * beyond.mean(0) / SOFT_DIRECTION**2
    for part, mean, sd in zip((forward, outward), USUAL_DIRECTION, USUAL_DIRECTION_SD, strict=True):
        log = log - 0.5 * ((part.mean(0) - mean) / sd) ** 2
    return log, _twist(entries)[..., None] + GRID


def _twist(entries: tuple[np.ndarray, ...]) -> np.ndarray:
    """(k, N) twist about Y of C = swing · Ry(t): t = atan2(C₀₂ − C₂₀, C₀₀ + C₂₂) (half-angle form)."""
    _, _, _, c00, c20, c02, c22 = entries
    return np.arctan2(c02 - c20, c00 + c22)
