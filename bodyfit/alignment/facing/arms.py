"""Lever arms of a joint from all its pieces, and what accelerations say of its heading in each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ive

from ...core.rotations import apply, as_complex, heading_matrix
from ...recording.keyframe_averages import Averages
from .grid import FINE
from .pieces import Pieces

# rad of a heading by what units feel apart at a joint, as a share of all they feel there; tried: on 616
# joints of 44 captures (tests/benchmarks/facing_in_pieces.py, seeds 14000 to 14015, these with doubled
# tissue, and 8000 to 8011; shares of 0.03 to 0.7): errors alike in all pieces 0.47, of each piece by itself
# 0.4 to 0.5
BY_DISAGREEMENT = 0.5
STRAY = 0.03  # share of pieces of which accelerations say nothing right (common practice)
# rad of heading for each rad of a wrong inclination, for vertical acceleration leaks; 1/rad, share of pieces
# that say nothing right. tried: 0 to 2 and 0 to 1, on 2786 pieces of recorded motion with simulated units
BY_TILT, STRAY_BY_TILT = 0.5, 0.2
# independent forces that all of a joint's motion counts as in arms, however long: tissue and inclinations
# err with the movement, and the same movement again errs alike. tried: 6, 8, 10, and one of ten numbers of
# each piece instead, on 48 captures of 12 to 90 s (15000 to 15007 of tests/benchmarks/facing_in_pieces.py,
# in pieces and whole, errors once and twice; four draws of each demo): leans of legs over their deviation
# 0.85, 0.95, 1.08 and 4.6 on stairs, 1.31, 1.20, 1.17 and 1.34 in pieces with errors twice, 0.78, 0.77, 0.78
# and 0.95 whole with errors once
INDEPENDENT = 8.0
SETTLED_AFTER = 12  # rounds between headings and arms; tried: 6, 12, 24 on those captures: as many known
# m/s², disagreement at a joint to start from, and its floor (`Weights.joint`); chosen; not tried
FIRST_SD, LEAST_SD = 1.0, 0.15
# leans beforehand that say the pose was held as people usually do; common practice (as `TAILS` in chain)
CAREFUL = 4.0
FAR = 1.5  # standard deviations from which a disagreement counts linearly (Huber 1964)


@dataclass(frozen=True, eq=False)
class Prior:
    """What is known beforehand of the arms of J joints, and of how T units' segments lean.

    Attributes
    ----------
    mean : (6 J + 2 T,) m joint by joint, the parent's arm before the child's; then where each segment's
        length axis points in the level frame, forward and sideways parts of a vector that rises by one
    precision : (6 J + 2 T, 6 J + 2 T) of the arms beside these parts; what is known of the parts by
        themselves is not in it
    units : (T,) whose they are
    lean : (T,) deviation of each part
    """

    mean: np.ndarray
    precision: np.ndarray
    units: np.ndarray
    lean: np.ndarray


@dataclass(frozen=True, eq=False)
class Arms:
    """Both arms of one joint: arm (2, 3) m and covariance (6, 6) m², unit frames; pull (S,) complex.

    The pull of a piece is the weighted sum of p c̄: its argument is the heading of the child against the
    parent that fits best, its size the information about it, 1/rad². `soft`, rad, is how far tissue turns
    headings: alike in all pieces, and as much again in each by itself.
    """

    arm: np.ndarray
    covariance: np.ndarray
    sd: float
    pull: np.ndarray
    soft: float


@dataclass(frozen=True, eq=False)
class Lean:
    """How T units' segments lean in a pose that should have had them upright.

    Attributes
    ----------
    units : (T,) whose
    toward : (T, 2) where each length axis points in the level frame, as in `Prior`
    sd : (T,) rad, of each part
    askew : how much worse the pose was held than people usually do, one at least
    """

    units: np.ndarray
    toward: np.ndarray
    sd: np.ndarray
    askew: float


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
    average: Averages,
    joints: Sequence[tuple[tuple[int, int], Pieces]],
    prior: Prior,
    alike: float,
    g: float,
) -> tuple[list[Arms], Lean]:
    """Arms of all joints that make both units of each feel the same at it, one free heading per piece.

    Parameters
    ----------
    average : with start rotations, whose headings are arbitrary in every piece
    joints : parent and child of each of J joints, and its pieces
    prior : of all arms together
    alike : number of keyframes over which the disagreement is alike
    g : m/s²

    Returns
    -------
    list of J Arms, Lean

    Notes
    -----
    Σ |F_p + L_p r_p − Ry(ψ_s) (F_c + L_c r_c)|² alternately over the headings ψ_s (closed form,
    ψ_s = arg Σ p c̄ of the horizontal parts) and over the arms (linear), with robust weights. Of the arms
    all pieces tell no more than a few forces would (`INDEPENDENT`): the body's build, which the prior has,
    must not be outvoted by one error that lasts, or by many steps that err alike. The build also says where
    the joints of one segment lie beside each other, so the arms of all joints are one linear system. The line
    from one joint to the next is the segment's length, so it shows how far a pose was held askew. How badly
    all of it was held is found along with that.
    """
    felt = [_felt(average, *joint, alike, g) for joint in joints]
    own = [slice(6 * j, 6 * j + 6) for j in range(len(felt))]
    r, sd = prior.mean, np.full(len(felt), FIRST_SD)
    leans, lean, askew = slice(6 * len(felt), None), np.repeat(prior.lean, 2), 1.0
    for _ in range(SETTLED_AFTER):
        precision, pulled, equations = prior.precision.copy(), prior.precision @ prior.mean, []
        precision[leans, leans] += np.diag(1 / (askew * lean) ** 2)
        for j, one in enumerate(felt):
            A, z = _equations(one, np.angle(_pull(one, r[own[j]], sd[j])), sd[j])
            w = _weight(one, A @ r[own[j]] - z, sd[j])
            weighted = w[:, None, None] * A
            precision[own[j], own[j]] += np.einsum("kmi,kmj->ij", weighted, A)
            pulled[own[j]] += np.einsum("kmi,km->i", weighted, z)
            equations.append((A, z))
        covariance = np.linalg.inv(precision)
        r = covariance @ pulled
        shown = 1 - np.diag(covariance)[leans] / (askew * lean) ** 2
        askew = _askew(r[leans] / lean, shown)
        for j, (A, z) in enumerate(equations):
            sd[j] = _disagreement(felt[j], A @ r[own[j]] - z, sd[j])
    arms = [
        Arms(
            r[k].reshape(2, 3),
            covariance[k, k],
            float(s),
            _pull(one, r[k], s),
            _soft(one, r[k], A @ r[k] - z),
        )
        for one, k, s, (A, z) in zip(felt, own, sd, equations, strict=True)
    ]
    spread = np.sqrt(np.diag(covariance)[leans].reshape(-1, 2).mean(-1))
    return arms, Lean(prior.units, r[leans].reshape(-1, 2), spread, askew)


def _askew(lean: np.ndarray, shown: np.ndarray) -> float:
    """How badly the pose was held, by (n,) leans in usual deviations and how much of each motion shows.

    MacKay's fixed point, s² = (ν + Σ l²) / (ν + Σ γ), γ the share of a lean that does not come from its prior
    (MacKay 1992, Bayesian interpolation, doi:10.1162/neco.1992.4.3.415).
    """
    return float(np.sqrt(max(1.0, (CAREFUL + lean @ lean) / (CAREFUL + shown.sum()))))


def _felt(average: Averages, units: tuple[int, int], pieces: Pieces, alike: float, g: float) -> _Felt:
    """What both units of a joint feel in its pieces."""
    at, (parent, child) = pieces.at, units
    return _Felt(
        pieces,
        (average.force[at, parent], average.force[at, child]),
        (average.lever[at, parent], average.lever[at, child]),
        (average.known[at, parent] & average.known[at, child]).astype(float),
        alike,
        g,
    )


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


def _equations(felt: _Felt, heading: np.ndarray, sd: float) -> tuple[np.ndarray, np.ndarray]:
    """A (n, 3, 6) and z (n, 3) m/s² of A r = z at given headings (S,): both units feel the same."""
    pieces, of = felt.pieces, felt.pieces.of
    Q = heading_matrix(heading)[of]
    A = np.concatenate([felt.lever[0], -Q @ felt.lever[1]], -1)
    z = apply(Q, felt.force[1]) - felt.force[0]
    share = (1 - felt.kept(sd)) / np.maximum(pieces.sums(felt.known), 1e-9)
    A = A - (share[:, None, None] * pieces.sums(felt.known[:, None, None] * A))[of]
    z = z - (share[:, None] * pieces.sums(felt.known[:, None] * z))[of]
    return A, z


def _weight(felt: _Felt, off: np.ndarray, sd: float) -> np.ndarray:
    """(n,) weight of each keyframe by how far (n, 3) both units disagree there."""
    robust = np.minimum(1.0, FAR * sd / np.maximum(np.linalg.norm(off, axis=-1), 1e-9))
    alike = max(felt.alike, float(felt.known.sum()) / INDEPENDENT)
    return felt.known * robust / (sd**2 * alike)


def _disagreement(felt: _Felt, off: np.ndarray, sd: float) -> float:
    """M/s², of (n, 3) what both units feel apart; `sd` where none is known."""
    left = np.abs(off)[felt.known > 0]
    return max(LEAST_SD, 1.4826 * float(np.median(left))) if left.size else sd


def _soft(felt: _Felt, r: np.ndarray, off: np.ndarray) -> float:
    """Rad, how far tissue turns headings, by what both units feel apart, (n, 3) m/s², beside all they feel.

    Tissue turns a unit in proportion to acceleration, so that headings go wrong by as much in slow motion.
    """
    moving = felt.known * ~felt.pieces.posed[felt.pieces.of]
    at = felt.force[0] + apply(felt.lever[0], r[:3]) - [0.0, felt.g, 0.0]
    apart, all_ = (float(np.sum(moving * np.sum(v**2, -1))) for v in (off, at))
    return BY_DISAGREEMENT * min(1.0, np.sqrt(apart / all_)) if all_ > 0 else BY_DISAGREEMENT


def heading_likelihood(pull: np.ndarray, tilt: np.ndarray, soft: float) -> np.ndarray:
    """Likelihood of the joint's heading in each piece by its accelerations.

    Parameters
    ----------
    pull : (S,) complex
    tilt : (S,) rad, standard deviation of both inclinations
    soft : rad, how far tissue turns the heading of each piece by itself

    Returns
    -------
    (S, F) on `FINE`, sums to one

    Notes
    -----
    log l(ψ) = Re(e^{−iψ} Σ w p c̄) / σ² (von Mises), convolved with what soft tissue and wrong
    inclinations turn a heading by, and a share of pieces that say nothing. As a Fourier series, right however
    narrow it is: 1 + 2 Σ_n I_n(κ) / I_0(κ) e^{−n² s² / 2} cos n(ψ − ψ₀), κ the size of the pull, ψ₀ its
    argument, s the deviation of the convolution, a step of `FINE` at least (Mardia & Jupp 2000, Directional
    Statistics, ISBN 0471953334, secs. 3.5.4 and 3.5.7; from memory).
    """
    n = np.arange(len(FINE) // 2 + 1)
    size, spread = np.abs(pull)[:, None], np.maximum(np.hypot(soft, BY_TILT * tilt), FINE[1])[:, None]
    share = ive(n, size) / ive(0, size) * np.exp(-0.5 * (n * spread) ** 2)
    p = np.fft.irfft(share * np.exp(-1j * n * np.angle(pull)[:, None]), len(FINE))
    p = np.maximum(p, 0.0)
    stray = (STRAY + STRAY_BY_TILT * tilt)[:, None]
    return (1 - stray) * p / p.sum(1, keepdims=True) + stray / len(FINE)
