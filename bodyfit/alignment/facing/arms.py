"""Lever arms of a joint from all its pieces, and what accelerations say of its heading in each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...core.rotations import apply, as_complex, heading_matrix
from ...recording.keyframe_averages import Averages
from .grid import GRID, HEADINGS, blurred
from .pieces import Pieces

# soft tissue's part of a heading by acceleration, per piece; tried: 5, 10, 20° on 15 captures (seeds 8030 to
# 8044 of tests/benchmarks/facing_in_pieces.py): 71.6, 71.1, 69.8 % of units known, none wrong while sure
SOFT = np.radians(10.0)
STRAY = 0.03  # share of pieces of which accelerations say nothing right (common practice)
# rad of heading for each rad of a wrong inclination, for vertical acceleration leaks; 1/rad, share of pieces
# that say nothing right. tried: 0 to 2 and 0 to 1, on 2786 pieces of recorded motion with simulated units
BY_TILT, STRAY_BY_TILT = 0.5, 0.2
# times `alike` that numbers of one piece repeat each other in the arms: inclination and tissue err alike all
# along. tried: 1, 3, 10, 20, 50 on 45 captures (7000 to 7014, 8000 to 8029): squared errors of arms over
# covariance, of six numbers, median 63, 19, 6, 3, 2; headings of elbows off alike in all pieces, root mean
# square 8.7, 5.8, 3.1, 3.1, 3.0°
REPEATED = 10.0
SETTLED_AFTER = 12  # rounds between headings and arms; tried: 6, 12, 24 on those captures: as many known
# m/s², disagreement at a joint to start from, and its floor (`Weights.joint`); chosen; not tried
FIRST_SD, LEAST_SD = 1.0, 0.15
FAR = 1.5  # standard deviations from which a disagreement counts linearly (Huber 1964)


@dataclass(frozen=True, eq=False)
class Prior:
    """What is known of both arms (parent's, child's) beforehand: mean (6,) m, precision (6, 6) 1/m²."""

    mean: np.ndarray
    precision: np.ndarray


@dataclass(frozen=True, eq=False)
class Arms:
    """Both arms of one joint: arm (2, 3) m and covariance (6, 6) m², unit frames; pull (S,) complex.

    The pull of a piece is the weighted sum of p c̄: its argument is the heading of the child against the
    parent that fits best, its size the information about it, 1/rad².
    """

    arm: np.ndarray
    covariance: np.ndarray
    sd: float
    pull: np.ndarray


@dataclass(frozen=True, eq=False)
class _Felt:
    """Forces and lever matrices at the keyframes of all pieces, each unit's own heading."""

    pieces: Pieces
    force: tuple[np.ndarray, np.ndarray]
    lever: tuple[np.ndarray, np.ndarray]
    known: np.ndarray
    alike: float
    g: float

    def kept(self, sd: float) -> np.ndarray:
        """(S,) share of a piece's mean force that counts: a wrong inclination leaks gravity into it.

        With n keyframes whose errors have variance σ², of which `alike` repeat each other, and two
        inclinations each wrong by a tilt of σ_t all along: sqrt(σ² / (σ² + 2 n g² σ_t²)).
        """
        own = sd**2 * self.alike
        return np.sqrt(own / (own + 2 * self.pieces.count * (self.g * self.pieces.tilt) ** 2))


def arms_of(
    average: Averages, units: tuple[int, int], pieces: Pieces, prior: Prior, alike: float, g: float
) -> Arms:
    """Arms of one joint that make both units feel the same at it, one free heading per piece.

    Parameters
    ----------
    average : with start rotations, whose headings are arbitrary in every piece
    units, pieces : parent and child of the joint, and its pieces
    prior : of the arms
    alike : number of keyframes over which the disagreement is alike
    g : m/s²

    Returns
    -------
    Arms

    Notes
    -----
    Σ |F_p + L_p r_p − Ry(ψ_s) (F_c + L_c r_c)|² alternately over the headings ψ_s (closed form,
    ψ_s = arg Σ p c̄ of the horizontal parts) and over the arms (linear), with robust weights. Of the arms
    a piece tells as little as if its numbers repeated each other (`REPEATED`): the body's build, which the
    prior has, must not be outvoted by one error that lasts.
    """
    parent, child = units
    felt = _Felt(
        pieces,
        (average.force[pieces.at, parent], average.force[pieces.at, child]),
        (average.lever[pieces.at, parent], average.lever[pieces.at, child]),
        (average.known[pieces.at, parent] & average.known[pieces.at, child]).astype(float),
        alike,
        g,
    )
    r, sd, covariance = prior.mean, FIRST_SD, np.linalg.inv(prior.precision)
    if felt.known.any():
        for _ in range(SETTLED_AFTER):
            r, sd, covariance = _arms(felt, np.angle(_pull(felt, r, sd)), r, sd, prior)
    return Arms(r.reshape(2, 3), covariance, sd, _pull(felt, r, sd))


def _pull(felt: _Felt, r: np.ndarray, sd: float) -> np.ndarray:
    """(S,) complex Σ w p c̄ / (σ² alike), outliers reweighted about the heading that fits best."""
    p, c = (
        as_complex(force + apply(lever, arm))
        for force, lever, arm in zip(felt.force, felt.lever, r.reshape(2, 3), strict=True)
    )
    of, sums, weight = felt.pieces.of, felt.pieces.sums, felt.known
    lost, total = 1 - felt.kept(sd), np.zeros(len(felt.pieces.first), complex)
    for _ in range(3):
        count = np.maximum(sums(weight), 1e-9)
        at_p, at_c = (v - (lost * sums(weight * v) / count)[of] for v in (p, c))
        total = sums(weight * at_p * at_c.conj()) / (sd**2 * felt.alike)
        apart = np.abs(at_p - np.exp(1j * np.angle(total))[of] * at_c)
        weight = felt.known / (1 + (apart / (2 * sd)) ** 2)
    return total


def _arms(
    felt: _Felt, heading: np.ndarray, r: np.ndarray, sd: float, prior: Prior
) -> tuple[np.ndarray, float, np.ndarray]:
    """Arms (6,), disagreement and covariance at given headings (S,)."""
    pieces, of = felt.pieces, felt.pieces.of
    Q = heading_matrix(heading)[of]
    A = np.concatenate([felt.lever[0], -Q @ felt.lever[1]], -1)
    z = apply(Q, felt.force[1]) - felt.force[0]
    share = (1 - felt.kept(sd)) / np.maximum(pieces.sums(felt.known), 1e-9)
    A = A - (share[:, None, None] * pieces.sums(felt.known[:, None, None] * A))[of]
    z = z - (share[:, None] * pieces.sums(felt.known[:, None] * z))[of]
    off = np.linalg.norm(A @ r - z, axis=-1)
    w = felt.known * np.minimum(1.0, FAR * sd / np.maximum(off, 1e-9)) / (sd**2 * felt.alike * REPEATED)
    weighted = w[:, None, None] * A
    covariance = np.linalg.inv(prior.precision + np.einsum("kmi,kmj->ij", weighted, A))
    r = covariance @ (prior.precision @ prior.mean + np.einsum("kmi,km->i", weighted, z))
    left = np.abs(A @ r - z)[felt.known > 0]
    return r, max(LEAST_SD, 1.4826 * float(np.median(left))), covariance


def heading_likelihood(pull: np.ndarray, tilt: np.ndarray) -> np.ndarray:
    """Likelihood of the joint's heading in each piece by its accelerations.

    Parameters
    ----------
    pull : (S,) complex
    tilt : (S,) rad, standard deviation of both inclinations

    Returns
    -------
    (S, HEADINGS), sums to one

    Notes
    -----
    log l(ψ) = Re(e^{−iψ} Σ w p c̄) / σ² (von Mises), convolved with what soft tissue and wrong
    inclinations turn a heading by, and a share of pieces that say nothing.
    """
    log = np.real(np.exp(-1j * GRID)[None] * pull[:, None])
    p = np.exp(log - log.max(1, keepdims=True, initial=-np.inf))
    p = blurred(p / p.sum(1, keepdims=True), np.hypot(SOFT, BY_TILT * tilt)[:, None])
    stray = (STRAY + STRAY_BY_TILT * tilt)[:, None]
    return (1 - stray) * p / p.sum(1, keepdims=True) + stray / HEADINGS
