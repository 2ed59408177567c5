"""How far each unit's field is off in heading: what norm, dip, gyroscopes and joints say.

Iron bends the field about as much in one direction as in another. How far a unit's norm and dip stray from
those of all units therefore shows how far its heading strays, before anything else is asked. What is wrong
with a heading stays so for as long as iron and unit stay together, so it does not average out.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...alignment.joint_centre import joint_forces
from ...calibration.magnetic.field_gate import FieldTrust, dip_of
from ...core.rotations import apply, as_complex, heading_matrix
from ...recording.attitude import stretches
from ...recording.keyframe_averages import Averages
from ..problem.problem import Problem, judged
from ..problem.unknowns import Body, State

# by reasoning: 0.5 µT of hard iron left over, in 20 µT of horizontal field: 1.4°, and noise
LEAST_LEVEL = np.radians(2.0)
# how far soft tissue turns a heading that joints show; tried: on simulated bodies
JOINT_LEVEL = np.radians(2.0)
ROUNDS = 10  # of splitting the disagreement between fields and joints; chosen; not tried
FAR = 1.0  # share of the norm, rad; further off is no measure any more


def strayed(
    problem: Problem, average: Averages, trust: FieldTrust, within: np.ndarray | None = None
) -> np.ndarray:
    """Heading error that a unit's norm and dip let expect.

    Parameters
    ----------
    problem, average, trust : what is given and found so far
    within : (K + 1,) bool, look there only; None: throughout

    Returns
    -------
    (U,) rad; NaN without a magnetometer

    Notes
    -----
    A disturbance of size s in every direction (share of the norm) changes the norm by s, the dip by s and
    the heading by s / cos(dip). The median of (Δnorm² + Δdip²) is 1.386 s² (chi-square of 2 degrees).
    """
    scale = problem.field_norm / np.nanmedian(problem.field_norm) if _in_tesla(problem).any() else 1.0
    scale = np.where(_in_tesla(problem), scale, 1.0)
    off_norm = np.linalg.norm(average.field, axis=-1) * scale - 1
    off_dip = np.where(problem.levelled, dip_of(average.field) - trust.dip, 0.0)
    square = np.minimum(off_norm**2 + off_dip**2, FAR**2)
    known = average.field_known if within is None else average.field_known & within[:, None]
    middle = [np.median(s[k]) if k.any() else np.nan for s, k in zip(square.T, known.T, strict=True)]
    return np.hypot(np.sqrt(np.array(middle) / 1.386) / np.cos(trust.dip), LEAST_LEVEL)


def _in_tesla(problem: Problem) -> np.ndarray:
    """(U,) bool: the norm is known in tesla and can be compared with others."""
    return np.isfinite(problem.field_norm)


def admitted(
    problem: Problem, state: State, body: Body, average: Averages, trust: FieldTrust
) -> tuple[State, Averages, FieldTrust]:
    """The field let in, each unit's with its own level of error, and all headings turned to agree with it.

    Every stretch between long gaps by itself: beyond a gap all headings are others, and so is the room.

    Parameters
    ----------
    problem, state, body, average : found without the field of the units that are `judged`
    trust : by norm and dip

    Returns
    -------
    state, average, trust
    """
    units, step = judged(problem), problem.signals.key_step
    if not (trust.trusted & units & average.field_known).any():
        return state, average, trust
    part = stretches(np.any(problem.signals.lost[:, units], axis=1))
    level, lasting = trust.level.copy(), trust.lasting.copy()
    turn = np.zeros(level.shape)
    own = strayed(problem, average, trust)
    for number in range(part[-1] + 1):
        within = part == number
        seen = units & (trust.trusted & average.field_known)[within].any(0)
        if not seen.any():
            continue
        here = np.fmax(own, strayed(problem, average, trust, within)) ** 2
        turn[within], found = _judged(problem, body, average, trust, within, np.where(seen, here, np.nan))
        level[within] = np.where(seen, found, level[within])
        lasting[within] = min(problem.weights.field_lasts, step * within.sum())
    Q = heading_matrix(-turn)
    return _turned(problem, state, Q), _seen_turned(average, Q), trust.with_level(level, lasting, units)


def _judged(
    problem: Problem,
    body: Body,
    average: Averages,
    trust: FieldTrust,
    within: np.ndarray,
    own: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """(U,) rad, error of every unit's heading in one stretch, and level of error of its field.

    The stretch is `within` (K + 1,) bool; `own` (U,) rad² by norm and dip, NaN for units not looked at.
    """
    seen = np.isfinite(own)
    weight = (trust.trusted * average.field_known)[within] * seen
    m = average.field[within]
    toward = np.sum(weight * as_complex(m) / np.maximum(np.hypot(m[..., 0], m[..., 2]), 1e-9), 0)
    # one stray place shows two parts of three
    prior = np.where(seen, (own + np.median(own[seen])) / 2, np.inf)
    common = np.angle(np.sum(toward[seen] / weight.sum(0)[seen] / prior[seen]))
    off = np.where(seen, np.angle(toward * np.exp(-1j * common)), 0.0)
    pairs, joint = _joint_variances(problem, body, average, within)
    body_off, level = divided(off, prior, pairs, joint)
    return common + body_off, level


def divided(
    off: np.ndarray, prior: np.ndarray, pairs: np.ndarray, joint: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Disagreements divided between fields and joints, in proportion to how far each is known to go wrong.

    Parameters
    ----------
    off : (U,) rad, heading of each unit's field against the motion found without it
    prior : (U,) rad², of the field; infinite where there is none
    pairs : (J, 2) units that a joint ties
    joint : (J,) rad², of the relative heading that a joint shows

    Returns
    -------
    body : (U,) rad, error of the motion
    level : (U,) rad, standard deviation of each field's heading; infinite where there is none

    Notes
    -----
    off = x + c with c ~ N(0, a), x_child − x_parent ~ N(0, b). Expectation of x, then a = a₀ + c² and
    b = b₀ + Δx² (each side's variance is its prior and what the other side can't explain), repeated.
    """
    a, b = prior.copy(), joint.copy()
    x = np.zeros(len(off))
    for _ in range(ROUNDS):
        H = np.diag(1 / a + 1e-9)
        for (p, c), variance in zip(pairs, b, strict=True):
            H[np.ix_([p, c], [p, c])] += np.array([[1, -1], [-1, 1]]) / variance
        x = np.linalg.solve(H, off / a)
        a = prior + np.where(np.isfinite(prior), (off - x) ** 2, 0.0)
        b = joint + (x[pairs[:, 1]] - x[pairs[:, 0]]) ** 2 if len(pairs) else b
    return x, np.sqrt(a)


def _joint_variances(
    problem: Problem, body: Body, average: Averages, within: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Pairs (J, 2) of units, and the variance (J,) rad² of the heading that a joint shows in a stretch."""
    w = problem.weights
    parent, child = joint_forces(average, body.ends, body.levers)
    known = average.known[:, body.ends.parents] & average.known[:, body.ends.children]
    level = np.sum(np.square((parent + child)[..., [0, 2]] / 2), -1) * known
    information = level[within].sum(0) / (problem.alike(w.joint_s) * body.joint_sd**2)
    return body.ends.units, JOINT_LEVEL**2 + 1 / np.maximum(information, 1e-3)


def _turned(problem: Problem, state: State, Q: np.ndarray) -> State:
    """The state with each unit's heading turned, Q (K + 1, U, 3, 3)."""
    return replace(
        state,
        R=Q @ state.R,
        velocity=apply(Q[:, problem.moving], state.velocity),
        position=apply(Q[:, problem.placed], state.position),
    )


def _seen_turned(average: Averages, Q: np.ndarray) -> Averages:
    """Averages of units whose heading is turned."""
    turned = {"force": apply(Q, average.force), "field": apply(Q, average.field), "lever": Q @ average.lever}
    return replace(average, **turned, force_by_latency=None, lever_by_latency=None)
