"""What the usual posture of a joint says of its heading in a piece and of how both units face."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ...body.anatomy import LEFT
from ...body.parts import Joint
from .grid import GRID, wrapped
from .usual import Bend, Limb, Spread, Usual

ALIKE_S = 0.5  # s, over which a joint's angles are alike (`Weights.angle_s`); by reasoning
# keyframes of a piece; more show nothing new within a second or two; tried: 4, 8, 16 on 15 captures
# (8030 to 8044 of tests/benchmarks/facing_in_pieces.py): 71.1, 71.1, 71.6 % known, none wrong while sure
LOOKED_AT = 8


@dataclass(frozen=True, eq=False)
class Posture:
    """What one piece shows of posture by N joint headings and G facings of the parent.

    Attributes
    ----------
    log : (N, G) log-likelihood of ranges, and of how far the second and third angle spread
    means : (M, N, G) means over the piece, from the usual: second angle, or where a limb points
    variances : (M,) of these about the wearer's own
    third : (N, G) rad, mean of the third angle for a child that faces at zero, which its facing shifts
    variance : rad², of that mean about the wearer's own
    usual : rad
    habit : whether the third angle is one of habit, 1, or declared, 0
    """

    log: np.ndarray
    means: np.ndarray
    variances: np.ndarray
    third: np.ndarray
    variance: float
    usual: float
    habit: int = 1

    def beside(self, own: np.ndarray) -> np.ndarray:
        """(K, N, G) likelihood of all but the third angle, for K wearers whose own means are (K, M)."""
        log = np.repeat(self.log[None].astype(np.float32), len(own), 0)
        for mean, variance, by_wearer in zip(self.means, self.variances, own.T, strict=True):
            off = mean.astype(np.float32) - by_wearer[:, None, None].astype(np.float32)
            log -= np.float32(0.5 / variance) * np.square(off)
        return np.exp(log)

    def turned(self) -> np.ndarray:
        """(N, G, G) likelihood of the third angle, by the child's facing too."""
        apart = (self.third - self.usual)[..., None].astype(np.float32) - GRID.astype(np.float32)
        return np.exp(np.square(wrapped(apart)) * np.float32(-0.5 / self.variance))

    def of_any_wearer(self, constant: np.ndarray, turn: float = 0.0) -> Posture:
        """The same with the wearer's own means left open, which are spread by (M,) constant and turn, rad."""
        return replace(
            self, variances=self.variances + constant**2, variance=self.variance + self.habit * turn**2
        )

    def tempered(self, share: float) -> Posture:
        """The same with a share of the log-likelihood."""
        return replace(
            self, log=share * self.log, variances=self.variances / share, variance=self.variance / share
        )

    def facing(self, parent: int) -> Posture:
        """The same for one facing of the parent, G = 1 there."""
        one = slice(parent, parent + 1)
        return replace(self, log=self.log[:, one], means=self.means[:, :, one], third=self.third[:, one])


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
    log, means, c = _beside(entries, joint, usual, tilt, count)
    variances = usual.piece**2 + 2 * tilt**2
    mean = np.exp(1j * c).mean(0)
    third = usual.third_at(float(segments[1][:, 1, 1].mean()))
    log = log - count * (1 - np.abs(mean)) / np.radians(third.within) ** 2
    variance = np.radians(third.piece) ** 2 + 2 * tilt**2
    usually = float(joint.signs[2] * np.radians(third.usual))
    return Posture(log, means, variances, np.angle(mean), variance, usually)


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
    c = _angles(entries)[2] if usual.cardan else _twist(entries)[..., None] + GRID
    mean = np.angle(np.exp(1j * c).mean(0))
    M = len(usual.constant)
    return Posture(np.zeros(mean.shape), np.zeros((M, *mean.shape)), np.ones(M), mean, sd**2, third, 0)


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


def _beside(
    entries: tuple[np.ndarray, ...], joint: Joint, usual: Usual, tilt: float, count: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(N, G) log-likelihood of ranges and spread; (M, N, G) means from the usual; (k, N, G) third angle."""
    if isinstance(usual.beside, Spread):
        a, b, c = _angles(entries)
        log = _within_range(a * joint.signs[0], joint, np.hypot(np.radians(usual.soft), tilt), count)
        mean = (b := b * joint.signs[1]).mean(0)
        log = log - 0.5 * count * ((b - mean) ** 2).mean(0) / np.radians(usual.beside.within) ** 2
        return log, mean[None] - np.radians(usual.beside.usual), c
    twist = _twist(entries)[..., None] + GRID
    if isinstance(usual.beside, Bend):
        log = _bent(entries[1], usual.beside, tilt, count)
        return np.broadcast_to(log[:, None], twist.shape[1:]), np.zeros((0, *twist.shape[1:])), twist
    return *_points(entries, joint, usual.beside, count), twist


def _within_range(bent: np.ndarray, joint: Joint, soft: float, count: float) -> np.ndarray:
    """(N, G) log-likelihood of a first angle (k, N, G) that has a range."""
    if joint.angles[0] not in joint.range:
        return np.zeros(bent.shape[1:])
    low, high = joint.range[joint.angles[0]]
    beyond = np.minimum(0, bent - low) + np.maximum(0, bent - high)
    return -0.5 * count * np.mean(beyond**2, 0) / soft**2


def _bent(cosine: np.ndarray, bend: Bend, tilt: float, count: float) -> np.ndarray:
    """(N,) log-likelihood of a bend whose cosine (k, N) is given, to whichever side."""
    beyond = np.maximum(0, np.arccos(np.clip(cosine, -1, 1)) - np.radians(bend.most))
    return -0.5 * count * np.mean(beyond**2, 0) / (np.radians(bend.soft) ** 2 + tilt**2)


def _points(
    entries: tuple[np.ndarray, ...], joint: Joint, limb: Limb, count: float
) -> tuple[np.ndarray, np.ndarray]:
    """(N, G) log-likelihood of one-sided limits of where a limb points; (2, N, G) means from the usual."""
    c01, _, c21 = (v[..., None] for v in entries[:3])
    side = -1.0 if joint.name.startswith(LEFT) else 1.0
    forward = -(np.cos(GRID) * c01 + np.sin(GRID) * c21)
    outward = -side * (np.cos(GRID) * c21 - np.sin(GRID) * c01)
    beyond = np.minimum(0, forward + limb.backward) ** 2 + np.minimum(0, outward + limb.inward) ** 2
    means = np.stack([forward.mean(0) - limb.usual[0], outward.mean(0) - limb.usual[1]])
    return -0.5 * count * beyond.mean(0) / limb.soft**2, means


def _twist(entries: tuple[np.ndarray, ...]) -> np.ndarray:
    """(k, N) twist about Y of C = swing · Ry(t): t = atan2(C₀₂ − C₂₀, C₀₀ + C₂₂) (half-angle form)."""
    _, _, _, c00, c20, c02, c22 = entries
    return np.arctan2(c02 - c20, c00 + c22)
