"""How well any two units agree at a joint between them: all pairs of a capture at once, before any fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from ...alignment.joint_centre import HEADINGS
from ...alignment.joint_equations import arms_solved, by_heading, projected
from ...core.arrays.scratch import rows_at_once
from ...core.rotations import heading_matrix
from ...errors import CannotReconstructError
from ...recording.keyframe_averages import HALF_WINDOW_S
from ...recording.single_units import Unaided

STRETCH_S = 30.0  # s of most motion that pairs are compared on; chosen; not tried
EVERY_S = 0.125  # s between the instants that are compared; by reasoning: a keyframe interval, 1 / 8 Hz
FAR = 2.5  # standard deviations beyond which an instant counts linearly; chosen; not tried
ROUNDS = 3  # of robust weights and of the noise level; chosen; not tried
FIRST_SD = 1.5  # m/s², noise level of the first round; by reasoning: `Weights.joint_at_start`
# headings about the best so far, from the second round on; by reasoning: between two of HEADINGS
FINE = np.radians(np.arange(-5.0, 5.5, 0.5))
LEAST_SD = 0.1  # m/s², what biases and soft tissue leave at any joint; by reasoning: `Weights.joint_least`
LEAST_PLAY = np.radians(3.0)  # rad, about which soft tissue makes any axis uncertain; by reasoning: 3° per g
# share by which a joint's disagreement differs for reasons that more samples don't cure; tried: on
# simulated motion and the chain (docs/method.md, section 11)
MISFIT = 0.35
# s of known samples below which arms and heading can't be told from noise; chosen; not tried
SHORTEST_S = 2.0


@dataclass(frozen=True, eq=False)
class Stretch:
    """What U units felt at k instants, which weigh as much as `independent` ones.

    Attributes
    ----------
    R : (k, U, 3, 3); force : (k, U, 3) m/s²; lever : (k, U, 3, 3) 1/s², as in `Unaided`
    independent : seconds in which the units move, over the width of the averages
    """

    R: np.ndarray
    force: np.ndarray
    lever: np.ndarray
    independent: float

    @property
    def telling(self) -> float:
        """Instants that count when a joint is not quite what the model takes it for: at most 1 / MISFIT²."""
        return 1 / (1 / self.independent + MISFIT**2)


@dataclass(frozen=True, eq=False)
class PairTable:
    """Best joint centre between any two of U units; entry [i, j] takes i for one side, j for the other.

    Attributes
    ----------
    rms : (U, U) m/s², disagreement at the joint centre that is left, per component; on the diagonal all
        entries are those of a unit beside itself, and mean nothing
    heading : (U, U) rad, turn about the vertical that brings j's world onto i's
    lever : (U, U, 3) m, the joint centre in i's frame
    lever_covariance : (U, U, 3, 3) m²
    axis : (U, U, 3) the direction in i's frame that j turns about, as far as it turns about one
    axis_sd : (U, U) rad
    play, travel : (U, U) rad, root mean square movement of that axis, and of the one across that moves least
    mean_relative : (U, U, 3, 3) mean over time of the rotation from j's frame to i's
    """

    rms: np.ndarray
    heading: np.ndarray
    lever: np.ndarray
    lever_covariance: np.ndarray
    axis: np.ndarray
    axis_sd: np.ndarray
    play: np.ndarray
    travel: np.ndarray
    mean_relative: np.ndarray


def most_motion(alone: Unaided, seconds: float = STRETCH_S) -> Stretch:
    """The stretch with most motion, at the instants when every unit was sampled.

    Parameters
    ----------
    alone : units by themselves
    seconds : s, length of the stretch at most

    Returns
    -------
    Stretch

    Raises
    ------
    CannotReconstructError
        There are less than two seconds in which all units were sampled.
    """
    known = np.asarray(alone.known).all(1).reshape(-1)
    window = max(1, min(len(known), round(seconds / alone.step)))
    moved = np.empty(len(known))
    for rows in rows_at_once(len(known)):
        moved[rows] = known[rows] * np.sqrt(np.linalg.norm(alone.lever[rows], axis=(-2, -1))).sum(1)
        alone.let_go()
    middle = int(np.argmax(uniform_filter1d(moved, window, mode="constant")))
    start = int(np.clip(middle - window // 2, 0, len(known) - window))
    every = max(1, round(EVERY_S / alone.step))
    at = np.arange(start, start + window, every)
    at = at[known[at]]
    seconds = len(at) * every * alone.step
    if seconds < SHORTEST_S:
        raise CannotReconstructError(
            f"placement: {seconds:.1f} s in which all of {len(alone.units)} units were sampled, expected at "
            f"least {SHORTEST_S:.0f} s; record longer, or leave out the unit with most gaps"
        )
    moving = seconds * _share_of_motion(alone.force[at])
    return Stretch(alone.R[at], alone.force[at], alone.lever[at], moving / (2 * HALF_WINDOW_S))


def _share_of_motion(force: np.ndarray) -> float:
    """Share of the instants that the motion is spread over, (Σe)² / (k Σe²) of its energies e.

    Parameters
    ----------
    force : (k, U, 3) m/s²

    Notes
    -----
    Units at rest agree with every other: a jump between two rests says as much as the jump. Source: the
    effective sample size of weights (Kish 1965, Survey Sampling, from memory).
    """
    energy = np.sum((force - force.mean(0)) ** 2, axis=(1, 2)) + len(force[0]) * LEAST_SD**2
    return float(energy.sum() ** 2 / (len(energy) * np.sum(energy**2)))


def pair_table(stretch: Stretch, lever_sd: float = 0.3) -> PairTable:
    """Every pair of units, taken for neighbours at a joint.

    Parameters
    ----------
    stretch : of U units
    lever_sd : m, prior of each lever arm

    Returns
    -------
    PairTable

    Notes
    -----
    For each pair, least squares of (F_i + L_i r_i) − Ry(ψ) (F_j + L_j r_j) over the arms and ψ, variable
    projection as in `alignment.joint_centre.joint_start`, with the noise level taken from the residual
    itself. Means over time are taken off: nobody accelerates one way for long, so they hold gravity and the
    accelerometers' biases. At the best ψ the relative rotation shows the axis: the first singular pair of its
    mean.
    """
    U = stretch.R.shape[1]
    i, j = np.triu_indices(U, 1)
    rms, psi, levers, covariance = _fitted(stretch, i, j, lever_sd)
    mean = _mean_relative(stretch, i, j, psi)
    left, s, right = np.linalg.svd(mean)
    play, travel = (np.sqrt(2 * np.maximum(1 - s[:, k], 0.0)) for k in (0, 1))
    axis_sd = np.hypot(play, LEAST_PLAY) / np.sqrt(stretch.telling * np.maximum(s[:, 0] - s[:, 1], 1e-9))

    def both(of_first: np.ndarray, of_second: np.ndarray) -> np.ndarray:
        out = np.zeros((U, U, *of_first.shape[1:]))
        out[i, j], out[j, i] = of_first, of_second
        return out

    return PairTable(
        both(rms, rms),
        both(psi, -psi),
        both(levers[:, :3], levers[:, 3:]),
        both(covariance[:, :3, :3], covariance[:, 3:, 3:]),
        both(left[:, :, 0], right[:, 0]),
        both(axis_sd, axis_sd),
        both(play, play),
        both(travel, travel),
        both(mean, np.swapaxes(mean, -1, -2)),
    )


def _fitted(
    stretch: Stretch, i: np.ndarray, j: np.ndarray, lever_sd: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Noise (P,), heading (P,), arms (P, 6) and their covariance (P, 6, 6) of P pairs."""
    own = np.moveaxis(np.concatenate([stretch.lever, stretch.force[..., None]], -1), 0, 1)
    own = own - own.mean(1, keepdims=True)
    A, B = own[i], own[j]  # (P, k, 3, 4): lever matrix | force
    P, k = A.shape[:2]
    headings = np.tile(np.arange(HEADINGS) * 2 * np.pi / HEADINGS, (P, 1))
    w, sd, rows = np.ones((P, k)), np.full(P, FIRST_SD), np.arange(P)
    for _ in range(ROUNDS):
        H, b, c = _normal(A, B, w * stretch.telling / k / sd[:, None] ** 2, headings, lever_sd)
        r, fall = arms_solved(H, b)
        best = np.argmin(c - fall, axis=1)
        arms, psi = r[rows, best], headings[rows, best]
        at_first = np.einsum("pkij,pj->pki", A, np.c_[arms[:, :3], np.ones(P)])
        at_second = np.einsum("pkij,pj->pki", B, np.c_[arms[:, 3:], np.ones(P)])
        off = at_first - np.einsum("pij,pkj->pki", heading_matrix(psi), at_second)
        size = np.sqrt(np.mean(off**2, -1))
        sd = np.sqrt(np.sum(w * size**2, 1) / np.sum(w, 1) + LEAST_SD**2)
        w = np.minimum(1.0, FAR * sd[:, None] / np.maximum(size, 1e-9))
        headings = psi[:, None] + FINE
    return sd, psi, arms, np.linalg.inv(H[rows, best])


def _normal(
    A: np.ndarray, B: np.ndarray, weight: np.ndarray, headings: np.ndarray, lever_sd: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Normal equations (P, H, 6, 6), (P, H, 6), (P, H) of the arms for every heading (P, H)."""
    Aw, Bw = A * weight[..., None, None], B * weight[..., None, None]

    def summed(x: np.ndarray, y: np.ndarray) -> np.ndarray:  # Σ over instants and components -> (P, 4, 4)
        return np.swapaxes(x.reshape(len(x), -1, 4), 1, 2) @ y.reshape(len(y), -1, 4)

    pp, cc = summed(Aw, A), summed(Bw, B)
    level = (slice(None), slice(None), [0, 2])
    turned = summed(Aw[level], B[level][:, :, ::-1] * np.array([1.0, -1.0])[:, None])  # x z' − z x'
    parts = np.stack([summed(Aw[:, :, 1:2], B[:, :, 1:2]), summed(Aw[level], B[level]), turned], 1)
    pc = np.einsum("phb,pbjl->phjl", by_heading(headings), parts)
    return projected(pp[:, None], pc, cc[:, None], np.zeros(6), np.eye(6) / lever_sd**2)


def _mean_relative(stretch: Stretch, i: np.ndarray, j: np.ndarray, psi: np.ndarray) -> np.ndarray:
    """(P, 3, 3) mean over time of the rotation from the second unit's frame to the first's."""
    R = np.moveaxis(stretch.R, 0, 1)
    turned = heading_matrix(psi)[:, None] @ R[j]
    return np.einsum("pkji,pkjl->pil", R[i], turned, optimize=True) / R.shape[1]
