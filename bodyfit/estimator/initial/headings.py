"""Start of the smoother for a jointed body: lever arms and one slowly changing heading per unit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.ndimage import uniform_filter1d

from ...alignment.facing.known import Facing
from ...alignment.joint_centre import Ends, LeverPrior, joint_start
from ...alignment.mounting import Mounting
from ...calibration.magnetic.field_gate import DIP_WITHOUT_PLACE, FieldTrust, Gates, judge_field
from ...core.rotations import apply, as_complex, heading_matrix, heading_of
from ...recording.attitude import start_rotations, stretches, through_gaps
from ...recording.keyframe_averages import Averages, averages
from ..problem.chain_prior import expected
from ..problem.problem import Problem, judged
from ..problem.unknowns import Body, State
from ..updates.joint_geometry import prior_of_levers
from ..updates.mounting import calibrated
from .facing.search import find_facing

HEADING_WINDOW_S = 60.0  # over which a start heading is taken for constant; chosen; not tried


def start(problem: Problem) -> tuple[State, Body, FieldTrust]:
    """Start values: each unit alone, then lever arms and headings joint by joint from the root.

    Parameters
    ----------
    problem : what is given

    Returns
    -------
    state, body, trust
    """
    signals, w = problem.signals, problem.weights
    dip = DIP_WITHOUT_PLACE if problem.earth is None else problem.earth.dip
    R = start_rotations(signals, problem.turns, np.array([np.cos(dip), -np.sin(dip), 0.0]))
    average = averages(signals, problem.turns, R)
    turn = w.field_turn if signals.has["gyroscope"].all() else np.inf
    gates = Gates(w.field_norm, w.field_dip, turn)
    trust = judge_field(average.field, average.field_known, problem.levelled, dip, signals.key_step, gates)
    body = _start_body(problem, R, find_facing(problem, R, average, trust) if problem.ties else None)
    R, body = _headed(problem, R, average, body, trust.without(judged(problem)))
    U = R.shape[1]
    zeros = np.zeros((len(R), U, 3))
    velocity, position = (np.zeros((len(R), len(units), 3)) for units in (problem.moving, problem.placed))
    return State(R, zeros, velocity, position), body, trust


def _start_body(problem: Problem, R: np.ndarray, facing: Facing | None) -> Body:
    """Lever arms as far as they are known beforehand; no axes yet."""
    felt, w = problem.followed, problem.weights
    joints = [i for i, tie in enumerate(problem.ties) if felt[tie.parent] and felt[tie.child]]
    ends = Ends(
        np.array([[problem.ties[i].parent, problem.ties[i].child] for i in joints], int).reshape(-1, 2)
    )
    U = R.shape[1]
    mounting = calibrated(problem, R, None, facing=facing)
    prior = prior_of_levers(problem, ends, joints, mounting)
    levers = prior.mean.reshape(-1, 2, 3).copy()
    return Body(
        ends,
        joints,
        levers,
        np.linalg.inv(prior.precision),
        np.full(len(joints), w.joint),
        {},
        {},
        np.zeros((U, 3, 3)),
        mounting,
        inferred=expected(problem, mounting)[0],
        facing=facing,
    )


def _headed(
    problem: Problem, R: np.ndarray, average: Averages, body: Body, trust: FieldTrust
) -> tuple[np.ndarray, Body]:
    """Start rotations turned about the vertical, and lever arms: by the joints, and by a trusted field."""
    w, signals = problem.weights, problem.signals
    window = max(1, round(HEADING_WINDOW_S / signals.key_step))
    north = np.conj(as_complex(average.field)) * trust.trusted
    north /= np.maximum(np.abs(north), 1e-9) * problem.alike(w.field_s) * w.field**2
    prior, alike = prior_of_levers(problem, body.ends, body.joints, body.mounting), problem.alike(w.joint_s)
    out, levers = R.copy(), body.levers.copy()
    turned = np.ones((len(R), R.shape[1]), complex)
    for i in [None, *range(len(problem.ties))]:
        unit = problem.ties[i].child if i is not None else problem.root
        p = problem.ties[i].parent if i is not None else unit
        if i is not None and not problem.measured[unit]:
            out[:, unit], turned[:, unit] = out[:, p], turned[:, p]
            continue
        if i is not None and body.facing is not None and i in body.facing.ties:
            at = body.facing.ties.index(i)
            levers[body.joints.index(i)] = body.facing.arms[at]
            turned[:, unit] = turned[:, p] * np.exp(1j * body.facing.heading[at])
            out[:, unit] = heading_matrix(np.angle(turned[:, unit])) @ R[:, unit]
            continue
        part = stretches(signals.lost[:, p] | signals.lost[:, unit])
        parts = [part == number for number in range(part[-1] + 1)]  # after a gap a heading is another
        pull = np.zeros(len(R), complex)
        for at in parts:
            pull[at] = uniform_sum(north[at, unit], window)
            if i is not None:
                pull[at] += _towards_neutral(out[at], R[at], body.mounting, p, unit)
        if i is not None and i in body.joints:
            j = body.joints.index(i)
            levers[j] = _first_levers(problem, average, (p, unit), turned[:, p], j, prior, part)
            sides = [
                average.force[:, u] + apply(average.lever[:, u], levers[j, side])
                for side, u in enumerate((p, unit))
            ]
            known = (average.known[:, p] & average.known[:, unit])[:, None]
            seen, felt = _turned(sides[0], turned[:, p]) * known, sides[1] * known
            for at in parts:
                pull[at] += relative_heading(seen[at], felt[at], w.joint_at_start, window) / alike
        turned[:, unit] = np.where(np.abs(pull) > 1e-6, pull / np.maximum(np.abs(pull), 1e-9), 1.0)
        out[:, unit] = heading_matrix(np.angle(turned[:, unit])) @ R[:, unit]
    turned *= _root_kept(problem, R, turned, trust)[:, None]
    for unit in np.flatnonzero(problem.measured):
        out[:, unit] = heading_matrix(np.angle(turned[:, unit])) @ R[:, unit]
    _follow_in_gaps(problem, out)
    _in_usual_posture(problem, out, body.mounting)
    return out, replace(body, levers=levers, range_holds=_ranges_inferred(problem, body.mounting))


def _in_usual_posture(problem: Problem, R: np.ndarray, mounting: Mounting) -> None:
    """Puts segments without a unit where they usually are beside a neighbour, R changed in place."""
    M = mounting.segment_from_unit
    usual = {
        tuple(ends): turn for ends, turn in zip(problem.postures.ends, problem.postures.usual, strict=True)
    }
    placed = problem.measured.copy()
    ties = list(problem.ties)
    for tie in (*ties, *reversed(ties)):
        p, c = tie.parent, tie.child
        if placed[p] and not placed[c]:
            R[:, c] = R[:, p] @ M[p].T @ usual[p, c] @ M[c]
            placed[c] = True
        elif placed[c] and not placed[p]:
            R[:, p] = R[:, c] @ M[c].T @ usual[p, c].T @ M[p]
            placed[p] = True


def _ranges_inferred(problem: Problem, mounting: Mounting) -> dict[int, np.ndarray]:
    """Ranges of joints beside segments without a unit: they hold from the start."""
    return {
        i: np.ones(3, bool)
        for i, tie in enumerate(problem.ties)
        if not problem.both_measured(tie) and mounting.sure[tie.parent] and mounting.sure[tie.child]
    }


def _follow_in_gaps(problem: Problem, R: np.ndarray) -> None:
    """In long gaps R (K + 1, U, 3, 3) of a unit follows its neighbour's, changed in place.

    That is its parent's; the root's rotation goes evenly through the world.
    """
    lost = problem.signals.lost
    for unit, by in [(problem.root, None), *((tie.child, tie.parent) for tie in problem.ties)]:
        if lost[:, unit].any() and problem.measured[unit]:
            near = R[:, by] if by is not None and problem.measured[by] else np.eye(3)[None]
            R[:, unit] = near @ through_gaps(np.swapaxes(near, -1, -2) @ R[:, unit], lost[:, unit])


def _root_kept(problem: Problem, R: np.ndarray, turned: np.ndarray, trust: FieldTrust) -> np.ndarray:
    """(K + 1,) complex: turn of the whole body that keeps headings where they were when the root had a gap.

    Units that had none then must not jump; where all had one, the root faces as it did before.
    """
    lost, out = problem.signals.lost, np.ones(len(R), complex)
    if trust.trusted[:, problem.root].any():
        return out
    part = stretches(lost[:, problem.root])
    for first in np.flatnonzero(np.diff(part)) + 1:
        before = int(np.flatnonzero(np.r_[True, ~lost[: first - 1, problem.root]])[-1])
        own = ~lost[before:first].any(0) & problem.measured
        jump = turned[first, own] * turned[before, own].conj()
        if not own.any():
            M = problem.root
            ahead = heading_of(R[[before, first], M])
            jump = np.exp(1j * np.diff(ahead)) * turned[first, M] * turned[before, M].conj()
        out[first:] *= np.exp(-1j * np.angle(jump.sum()))
    return out


def _towards_neutral(
    placed: np.ndarray, R: np.ndarray, mounting: Mounting, parent: int, child: int
) -> complex:
    """Turn of a child that makes it face as its parent does, as a complex number of weight 1/rad².

    Too weak to matter beside any motion; it decides where nothing else does.
    """
    M = mounting.segment_from_unit
    ahead = heading_of(placed[:, parent] @ M[parent].T) - heading_of(R[:, child] @ M[child].T)
    return complex(np.mean(np.exp(1j * ahead)))


def _first_levers(
    problem: Problem,
    average: Averages,
    units: tuple[int, int],
    turned: np.ndarray,
    j: int,
    prior: LeverPrior,
    part: np.ndarray,
) -> np.ndarray:
    """(2, 3) lever arms of the j-th joint at its best heading, from the minute with most motion."""
    p, c = units
    known = average.known[:, p] & average.known[:, c]
    window = max(1, round(HEADING_WINDOW_S / problem.signals.key_step))
    moving = np.sum(np.square(average.force[:, c] - average.force[:, c].mean(0)), -1) * known
    most = int(np.argmax(uniform_filter1d(moving, min(window, len(moving)), mode="constant")))
    near = slice(max(0, most - window // 2), most + window // 2 + 1)
    at = np.flatnonzero(known[near] & (part[near] == part[most])) + near.start
    own = slice(6 * j, 6 * j + 6)
    Q = heading_matrix(np.angle(turned[at]))
    _, cost, levers = joint_start(
        (apply(Q, average.force[at, p]), Q @ average.lever[at, p]),
        (average.force[at, c], average.lever[at, c]),
        prior.mean[own],
        prior.precision[own, own],
        problem.weights.joint_at_start,
        problem.alike(problem.weights.joint_s),
    )
    return levers[int(np.argmin(cost))]


def _turned(v: np.ndarray, by: np.ndarray) -> np.ndarray:
    """World vectors (k, 3) turned about the vertical by the argument of a complex (k,)."""
    return apply(heading_matrix(np.angle(by)), v)


def relative_heading(parent: np.ndarray, child: np.ndarray, sd: float, window: int) -> np.ndarray:
    """How far to turn a child about the vertical so that both feel one acceleration at their joint.

    Parameters
    ----------
    parent, child : (k, 3) m/s², specific force at the joint centre in the world frame of either unit
    sd : m/s², disagreement beyond which a keyframe counts less
    window : keyframes over which the heading is alike

    Returns
    -------
    (k,) complex; the argument is the heading, the size its weight (sum over the window, in units of sd²)

    Notes
    -----
    Σ |p − e^{iψ} c|² is least at ψ = arg Σ p c̄: closed form, no search. Reweighted against outliers.
    """
    p, c = as_complex(parent), as_complex(child)
    weight = np.ones(len(p))
    for _ in range(4):
        total = uniform_sum(weight * p * c.conj() / sd**2, window)
        turned = np.exp(1j * np.angle(total)) * c
        weight = 1 / (1 + np.abs(p - turned) ** 2 / sd**2)
    return total


def uniform_sum(values: np.ndarray, window: int) -> np.ndarray:
    """Sliding sum of a complex series; window in entries, cut off at the ends.

    Parameters
    ----------
    values : (k,) complex
    window : entries

    Returns
    -------
    (k,) complex
    """
    size = min(window, len(values))
    parts = (uniform_filter1d(x, size, mode="constant") for x in (values.real, values.imag))
    real, imaginary = parts
    return size * (real + 1j * imaginary)
