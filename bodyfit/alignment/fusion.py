"""All evidence on how units sit, fused by one small robust least squares."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..core.rotations import as_complex, exp, nearest_rotation
from .evidence import Blocks, Evidence, GivenMounting, Guess, HeldPose, SharedAxis

# rad, standard deviation of a rotation that nothing is known of; by reasoning: next to nothing, as
# `Weights.rotation_at_start`
LEAST_INFORMATION = np.radians(100.0)
FREE_PLACE = 0.3  # m, where a unit sits on a segment: within a limb's length; by reasoning
TAIL = 4.0  # degrees of freedom of Student's t, whose weights take outliers' influence (Lange et al. 1989)
MOST_STEPS = 30  # chosen; not tried
SETTLED = 1e-4  # rad; by reasoning: far below any mounting's deviation
MOST_SENSES = 6  # axes whose two senses are all tried together; by reasoning: 2⁶ solutions of a small problem
DIFFERENT = 0.2  # of an entry of a mounting, in which two solutions count as two; chosen; not tried
CARE_ROUNDS, CARE_SETTLES, CARE_FREEDOM = 12, 0.02, 1.0  # see `_with_care`; chosen; not tried
# cost by which another choice of senses counts as much worse (a likelihood ratio of e³); chosen; not tried
ALIKE = 3.0


@dataclass(frozen=True, eq=False)
class Fused:
    """What the evidence comes to.

    Attributes
    ----------
    guess : mountings, headings of poses, places
    covariance : (U, 3, 3) rad², of the rotation vector φ with Exp(φ) M true, segment frame
    together : (3U, 3U) rad², the same of all units, which share headings of poses and axes of joints
    evidence : as used, axes turned to the sense that fits best
    surprise : per evidence, χ² per degree of freedom of what it says against what all else says
    weight : per evidence, what is left of its information
    rival : (U, 3, 3) mountings with other senses that fit about as well, or None
    """

    guess: Guess
    covariance: np.ndarray
    together: np.ndarray
    evidence: tuple[Evidence, ...]
    surprise: np.ndarray
    weight: np.ndarray
    rival: np.ndarray | None


def fuse(evidence: Sequence[Evidence], units: int, poses: int) -> Fused:
    """Mountings of all units from everything known about them.

    Parameters
    ----------
    evidence : of any kind
    units, poses : how many there are

    Returns
    -------
    Fused

    Notes
    -----
    Least Σ ρ(rᵀ Σ⁻¹ r) over all mountings M ← Exp(φ) M, headings of held poses and places of units, by
    Gauss–Newton; weights (ν + m)/(ν + rᵀ Σ⁻¹ r), at most one, of Student's t (Lange et al. 1989,
    doi:10.1080/01621459.1989.10478852). Covariance: inverse information matrix. An axis is a line where its
    sense is not known; all combinations of senses are tried, and of equals the one in which units sit least
    turned is taken. How carefully mountings were stated is common to a capture and found too (`_with_care`).
    """
    choices = [_turned(evidence, senses) for senses in _senses(evidence)]
    starts = [(_start(choice, units, poses), choice) for choice in choices]
    starts.sort(key=lambda pair: _cost(pair[1], pair[0]))
    starts = starts[:4]
    starts += [(_as_stated(choice, guess), choice) for guess, choice in starts[:1]]
    tried = [(_descended(guess, choice), choice) for guess, choice in starts]
    costs = [_cost(choice, guess) + _least_turned(guess) for guess, choice in tried]
    best = int(np.argmin(costs))
    others = [
        i
        for i, (at, _) in enumerate(tried)
        if costs[i] < costs[best] + ALIKE and np.abs(at.mounting - tried[best][0].mounting).max() > DIFFERENT
    ]
    guess, choice = _with_care(*tried[best])
    H, _, _, weight = _normal(_with_doubt(choice, guess), guess)
    covariance = np.linalg.inv(H)
    surprise = np.array([_surprise(e, w, guess, covariance) for e, w in zip(choice, weight, strict=True)])
    own = np.stack([covariance[3 * u : 3 * u + 3, 3 * u : 3 * u + 3] for u in range(units)])
    rival = tried[others[0]][0].mounting if others else None
    together = covariance[: 3 * units, : 3 * units]
    return Fused(guess, own, together, tuple(choice), surprise, weight, rival)


def _jacobian(blocks: Blocks, rows: int, at: Guess) -> np.ndarray:
    """(rows, n) by all unknowns: mountings, headings of poses, places."""
    U, P = len(at.mounting), len(at.facing)
    first = {"mounting": (0, 3), "facing": (3 * U, 1), "place": (3 * U + P, 3)}
    J = np.zeros((rows, 6 * U + P))
    for name, index, block in blocks:
        start, width = first[name]
        J[:, start + width * index : start + width * (index + 1)] += block
    return J


def _surprise(e: Evidence, weight: float, at: Guess, covariance: np.ndarray) -> float:
    """χ² per degree of freedom of a residual, with the residual's own covariance Σ − w J C Jᵀ."""
    r, blocks, own = e.residual(at)
    J = _jacobian(blocks, len(r), at)
    left = own - weight * J @ covariance @ J.T
    values, turns = np.linalg.eigh(left)
    floor = 0.01 * np.trace(own) / len(r)  # where nothing else says anything there is nothing to compare
    told = values > floor
    return float(np.sum((turns.T @ r)[told] ** 2 / values[told]) / len(r))


def _with_care(guess: Guess, evidence: list[Evidence]) -> tuple[Guess, list[Evidence]]:
    """How far stated mountings are off in this capture: few units say how carefully all were mounted.

    Their common variance by MacKay's fixed point (1992, doi:10.1162/neco.1992.4.3.415), with a prior of ν₀
    degrees of freedom about the variance that they come with: σ² = (ν₀ σ₀² + Σ w |r|²) / (ν₀ + γ), γ the
    number of turns that other evidence shows, Σ (3 − tr C / σ²).
    """
    stated = [i for i, e in enumerate(evidence) if isinstance(e, GivenMounting) and e.shared]
    if not stated:
        return guess, evidence
    usual = sd = float(evidence[stated[0]].sd)  # type: ignore[attr-defined]
    for _ in range(CARE_ROUNDS):
        H, _, surprise, weight = _normal(evidence, guess)
        off = sum(weight[i] * 3 * surprise[i] * sd**2 for i in stated)
        before, shown = sd, _shown(H, evidence, stated, sd)
        sd = float(np.sqrt((CARE_FREEDOM * usual**2 + off) / (CARE_FREEDOM + shown)))
        for i in stated:
            evidence[i] = dataclasses.replace(evidence[i], sd=sd)  # type: ignore[type-var]
        guess = _descended(guess, evidence, 1)
        if abs(sd / before - 1) < CARE_SETTLES:
            break
    return _descended(guess, evidence), evidence


def _shown(H: np.ndarray, evidence: Sequence[Evidence], stated: Sequence[int], sd: float) -> float:
    """Number of turns of stated mountings that other evidence shows, Σ (3 − tr C / σ²)."""
    C = np.linalg.inv(H)
    units = [evidence[i].unit for i in stated]  # type: ignore[attr-defined]
    return float(sum(3 - np.trace(C[3 * u : 3 * u + 3, 3 * u : 3 * u + 3]) / sd**2 for u in units))


def _with_doubt(evidence: Sequence[Evidence], at: Guess) -> list[Evidence]:
    """The evidence with stated mountings as wide as few units leave it open, for the covariance.

    The posterior of σ² is inverse χ² with ν = ν₀ + γ degrees of freedom, γ the number of turns that other
    evidence shows, Σ (3 − tr C / σ²). Widened by ν / (ν − γ/ν): not at all where the prior decides, between
    median and mean of that posterior where the capture does.
    """
    stated = [i for i, e in enumerate(evidence) if isinstance(e, GivenMounting) and e.shared]
    if not stated:
        return list(evidence)
    sd, out = float(evidence[stated[0]].sd), list(evidence)  # type: ignore[attr-defined]
    shown = _shown(_normal(evidence, at)[0], evidence, stated, sd)
    freedom = CARE_FREEDOM + shown
    wide = sd * np.sqrt(freedom / (freedom - shown / freedom))
    for i in stated:
        out[i] = dataclasses.replace(out[i], sd=wide)  # type: ignore[type-var]
    return out


def _senses(evidence: Sequence[Evidence]) -> list[tuple[int, ...]]:
    """Combinations of senses of the axes that are only lines; the first is as they come."""
    lines = sum(isinstance(e, SharedAxis) and not e.signed for e in evidence)
    tried = min(lines, MOST_SENSES)
    rest = (1,) * (lines - tried)
    return [(*senses, *rest) for senses in itertools.product((1, -1), repeat=tried)]


def _turned(evidence: Sequence[Evidence], senses: tuple[int, ...]) -> list[Evidence]:
    """The evidence with its lines turned."""
    sense = iter(senses)
    return [
        dataclasses.replace(e, seen=next(sense) * e.seen) if isinstance(e, SharedAxis) and not e.signed else e
        for e in evidence
    ]


def _least_turned(guess: Guess) -> float:
    """Decides between equals: units are mostly made and worn to be turned little."""
    return 1e-3 * float(np.sum(3 - np.trace(guess.mounting, axis1=-2, axis2=-1)))


def _start(evidence: Sequence[Evidence], units: int, poses: int) -> Guess:
    """Mountings that bring all known directions closest (Wahba's problem), twice, poses' headings between."""
    guess = Guess(np.tile(np.eye(3), (units, 1, 1)), np.zeros(poses), np.zeros((units, 3)))
    for _ in range(3):
        sure = [e for e in evidence if not isinstance(e, HeldPose)]
        guess = dataclasses.replace(guess, facing=_facings(sure, evidence, guess))
        guess = dataclasses.replace(guess, mounting=_aligned(evidence, guess))
    return guess


def _as_stated(evidence: Sequence[Evidence], guess: Guess) -> Guess:
    """The guess with the mountings that are stated: evidence that errs far must not decide where to start."""
    mounting = guess.mounting.copy()
    stated = [e for e in evidence if isinstance(e, GivenMounting)]
    for e in stated:
        mounting[e.unit] = e.matrix
    guess = dataclasses.replace(guess, mounting=mounting)
    return dataclasses.replace(guess, facing=_facings(stated or evidence, evidence, guess))


def _aligned(evidence: Sequence[Evidence], guess: Guess) -> np.ndarray:
    """(U, 3, 3) mountings nearest to all pairs of directions."""
    B = 1e-6 * np.tile(np.eye(3), (len(guess.mounting), 1, 1))
    for e in evidence:
        for unit, seen, true, weight in e.directions(guess):
            B[unit] += np.einsum("n,ni,nj->ij", weight, true, seen)
    return nearest_rotation(B)


def _facings(sure: Sequence[Evidence], evidence: Sequence[Evidence], guess: Guess) -> np.ndarray:
    """(H,) heading of the body in each pose, from all directions known in both frames, as their mean."""
    total = np.zeros(len(guess.facing), complex)
    pairs = [pair for e in sure for pair in e.directions(guess)]
    for held in evidence:
        if not isinstance(held, HeldPose):
            continue
        for unit, seen, true, weight in pairs:
            if unit == held.unit:
                towards = as_complex(seen @ held.R.T) * np.conj(as_complex(true @ held.segment.T))
                total[held.pose] += np.sum(weight * towards)
    return np.angle(total)


def _cost(evidence: Sequence[Evidence], at: Guess) -> float:
    """Negative log-likelihood of Student's t, up to a constant."""
    total = 0.0
    for e in evidence:
        r, _, covariance = e.residual(at)
        total += 0.5 * (TAIL + len(r)) * float(np.log1p(r @ np.linalg.solve(covariance, r) / TAIL))
    return total


def _normal(evidence: Sequence[Evidence], at: Guess) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Information matrix, gradient, and per evidence χ² per degree of freedom and weight."""
    U, P = len(at.mounting), len(at.facing)
    H = np.diag(np.repeat([LEAST_INFORMATION**-2.0, FREE_PLACE**-2.0], [3 * U + P, 3 * U]))
    b, surprise, weights = np.zeros(len(H)), np.zeros(len(evidence)), np.zeros(len(evidence))
    b[3 * U + P :] = at.place.ravel() / FREE_PLACE**2
    for i, e in enumerate(evidence):
        r, blocks, covariance = e.residual(at)
        J = _jacobian(blocks, len(r), at)
        information = np.linalg.inv(covariance)
        chi2 = float(r @ information @ r)
        surprise[i], weights[i] = chi2 / max(len(r), 1), min(1.0, (TAIL + len(r)) / (TAIL + chi2))
        pull = weights[i] * (J.T @ information)
        H += pull @ J
        b += pull @ r
    return H, b, surprise, weights


def _descended(at: Guess, evidence: Sequence[Evidence], most: int | None = None) -> Guess:
    """Gauss–Newton from a guess, steps of at most half a radian."""
    U, P = len(at.mounting), len(at.facing)
    for _ in range(most or MOST_STEPS):
        H, b, _, _ = _normal(evidence, at)
        step = -np.linalg.solve(H, b)
        step *= min(1.0, 0.5 / max(np.abs(step[: 3 * U + P]).max(), 1e-12))
        turn, facing, place = np.split(step, [3 * U, 3 * U + P])
        at = Guess(exp(turn.reshape(U, 3)) @ at.mounting, at.facing + facing, at.place + place.reshape(U, 3))
        if np.abs(step[: 3 * U + P]).max() < SETTLED:
            break
    return at
