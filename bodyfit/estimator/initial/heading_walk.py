"""From the root of a body outwards: each unit turned about the vertical until it agrees with the last."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import uniform_filter1d

from ...alignment.joint_centre import LeverPrior, joint_start
from ...calibration.magnetic.field_gate import FieldTrust
from ...core.arrays.scratch import copied, let_go, rows_at_once
from ...core.rotations import apply, as_complex, heading_matrix, heading_of
from ...recording.attitude import stretches
from ...recording.keyframe_averages import Averages
from ..problem.problem import Problem
from ..problem.unknowns import Body
from ..updates.joint_geometry import prior_of_levers

HEADING_WINDOW_S = 60.0  # over which a start heading is taken for constant; chosen; not tried


class Walk:
    """The body from its root outwards: each unit turned about the vertical until it agrees with the last.

    A heading is an angle of complex numbers: what pulls towards it are those numbers, by their precision.

    Attributes
    ----------
    out : (K + 1, U, 3, 3) rotations, those of units not reached yet as they started
    turned : (K + 1, U) by what they were turned, unit complex numbers
    levers : (J, 2, 3) m
    """

    def __init__(self, problem: Problem, R: np.ndarray, average: Averages, body: Body, trust: FieldTrust):
        self.problem, self.R, self.average, self.body = problem, R, average, body
        self.window = max(1, round(HEADING_WINDOW_S / problem.signals.key_step))
        north = np.conj(as_complex(average.field)) * trust.trusted
        w = problem.weights
        self.north = north / (np.maximum(np.abs(north), 1e-9) * problem.alike(w.field_s) * w.field**2)
        self.prior = prior_of_levers(problem, body.ends, body.joints, body.mounting)
        self.out, self.levers = copied(R), body.levers.copy()
        self.turned = np.ones((len(R), R.shape[1]), complex)

    def turn(self, unit: int, pull: np.ndarray) -> None:
        """Turns a unit to where it is pulled (K + 1,); as it is where nothing pulls."""
        self.turned[:, unit] = np.where(np.abs(pull) > 1e-6, pull / np.maximum(np.abs(pull), 1e-9), 1.0)
        self._put(unit)

    def _put(self, unit: int) -> None:
        """The unit's rotations as it is turned."""
        for at in rows_at_once(len(self.R)):
            self.out[at, unit] = heading_matrix(np.angle(self.turned[at, unit])) @ self.R[at, unit]
            let_go(self.out, self.R)

    def go_along(self, i: int) -> None:
        """From the parent of a tie to its child."""
        tie, facing = self.problem.ties[i], self.body.facing
        p, unit = tie.parent, tie.child
        if not self.problem.measured[unit]:
            segment = self.out[:, p] @ self.body.mounting.segment_from_unit[p].T
            self.out[:, unit], self.turned[:, unit] = segment, self.turned[:, p]
        elif facing is not None and i in facing.ties:
            at = facing.ties.index(i)
            self.levers[self.body.joints.index(i)] = facing.arms[at]
            self.turned[:, unit] = self.turned[:, p] * np.exp(1j * facing.heading[at])
            self._put(unit)
        elif facing is not None and facing.doubtful[unit]:
            self.turn(unit, self.pull_of_forces(i))
        else:
            pull = self.pull_of_field(unit, p)
            if i in self.body.joints:
                pull = pull + self.pull_of_joint(self.body.joints.index(i), p, unit)
            self.turn(unit, pull)

    def parts(self, p: int, unit: int) -> list[np.ndarray]:
        """(K + 1,) bool each: after a gap of either unit a heading is another."""
        part = self._stretch(p, unit)
        return [part == number for number in range(part[-1] + 1)]

    def _stretch(self, p: int, unit: int) -> np.ndarray:
        lost = self.problem.signals.lost
        return stretches(lost[:, p] | lost[:, unit])

    def pull_of_field(self, unit: int, p: int | None = None) -> np.ndarray:
        """(K + 1,) by a trusted field and, seen from a parent, by how it stands in poses."""
        pull = np.zeros(len(self.R), complex)
        for at in self.parts(unit if p is None else p, unit):
            pull[at] = uniform_sum(self.north[at, unit], self.window)
            if p is not None:
                pull[at] += self.pull_of_poses(p, unit, at)
        return pull

    def pull_of_poses(self, p: int, unit: int, at: np.ndarray) -> complex:
        """By poses in a stretch (K + 1,) bool, where mountings are stated or beyond a bare segment.

        Else by the neutral pose.
        """
        problem, M, pull = self.problem, self.body.mounting.segment_from_unit, 0j
        told = problem.stated[[p, unit]].all() or not problem.measured[p]
        told = told and problem.posed[[p, unit]].all()
        for pose in problem.held if told else ():
            inside = at & pose.holds(problem.signals.key_time)
            if inside.any():
                parent, child = (pose.segments[u] @ M[u] for u in (p, unit))  # from the unit to the body
                alike = self._facing_alike((p, unit), (parent, child), inside)
                pull += alike / float(np.sum(pose.sd[[p, unit], 1] ** 2))
        return pull or self._facing_alike((p, unit), (M[p], M[unit]), at)

    def _facing_alike(
        self, units: tuple[int, int], M: tuple[np.ndarray, np.ndarray], at: np.ndarray
    ) -> complex:
        """Turn that makes a child face as its parent does at (K + 1,) bool, of size one or less.

        Of weight 1/rad² it is too weak to matter beside any motion; it decides where nothing else does.
        """
        (p, unit), inside, total = units, np.flatnonzero(at), 0j
        for rows in rows_at_once(len(inside)):
            parent = self.out[inside[rows], p] @ M[0].T
            child = self.R[inside[rows], unit] @ M[1].T
            total += np.sum(np.exp(1j * (heading_of(parent) - heading_of(child))))
            let_go(self.out, self.R)
        return complex(total / len(inside))

    def pull_of_forces(self, i: int) -> np.ndarray:
        """(K + 1,) by what the next unit towards the root feels, as if both were one, and a trusted field.

        Where a unit is turned about its segment's length nobody knows, so no usual posture tells its heading.
        """
        unit, p = self.problem.ties[i].child, self.problem.ties[i].parent
        towards = {tie.child: tie.parent for tie in self.problem.ties}
        while not self.problem.followed[p] and p in towards:
            p = towards[p]
        felt = self.average.known[:, unit] & self.average.known[:, p]
        pull = np.zeros(len(self.R), complex)
        for at in self.parts(p, unit):
            both = _turned(self.average.force[at, p], self.turned[at, p]), self.average.force[at, unit]
            known, sd = felt[at, None], self.problem.weights.joint_at_start
            pull[at] = uniform_sum(self.north[at, unit], self.window)
            pull[at] += relative_heading(both[0] * known, both[1] * known, sd, self.window)
        return pull

    def pull_of_joint(self, j: int, p: int, unit: int) -> np.ndarray:
        """(K + 1,) by the forces at the j-th joint's centre, its lever arms found first."""
        problem, average, prior = self.problem, self.average, self.prior
        ends, part = (p, unit), self._stretch(p, unit)
        self.levers[j] = _first_levers(problem, average, ends, self.turned[:, p], j, prior, part)
        sides = np.empty((2, len(self.R), 3))
        for at in rows_at_once(len(self.R)):
            for side, u in enumerate(ends):
                sides[side, at] = average.force[at, u] + apply(average.lever[at, u], self.levers[j, side])
            average.let_go()
        known = (average.known[:, p] & average.known[:, unit])[:, None]
        seen, felt = _turned(sides[0], self.turned[:, p]) * known, sides[1] * known
        w, pull = problem.weights, np.zeros(len(self.R), complex)
        for at in self.parts(p, unit):
            pull[at] = relative_heading(seen[at], felt[at], w.joint_at_start, self.window)
        return pull / problem.alike(w.joint_s)


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
