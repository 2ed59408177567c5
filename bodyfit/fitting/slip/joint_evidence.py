"""What joints tell of a unit that turns on its segment: agreement at their centres, axes of their hinges."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ...alignment.joint_equations import arms_solved, centre_rows
from ...core.arrays.scratch import let_go, room, rows_at_once
from ...core.robust import huber, robust_sd
from ...core.rotations import UP, apply
from ...estimator.problem.problem import Problem
from ...estimator.problem.unknowns import Body
from ...recording.keyframe_averages import Averages

# play of a hinge below which more agreement counts for nothing; by reasoning: 3° per g of soft tissue
LEAST_AXIS = np.radians(3.0)
PARTS = 12  # of a capture, between which arms are compared; chosen; not tried
PRIOR = 0.3  # m, length of a lever arm; by reasoning: `Weights.lever`
# m per m/s², an entry of M for soft tissue of 3° per g at an arm of 0.2 m, and 5 mm per g; by reasoning
YIELD = 0.0005
FAR = 3.0  # standard deviations of a disagreement beyond which it counts less; chosen; not tried
Part = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]
Equations = tuple[np.ndarray, np.ndarray]


@dataclass(frozen=True, eq=False)
class Centre:
    """Agreement at one joint's centre, linear in its two arms: sums up to every keyframe.

    Attributes
    ----------
    units : (2,) of parent and child
    H, b : (K + 1, 6, 6), (K + 1, 6) normal equations of both arms
    X : (K + 1, 6, 18), H between the arms and how the units yield; H − X Xᵀ is what tells of the arms
    """

    units: np.ndarray
    H: np.ndarray
    X: np.ndarray
    b: np.ndarray

    def free(self, unit: int) -> np.ndarray:
        """(K + 1,) gain over constant arms when the unit's arm may be any other after that keyframe."""
        return self._free[int(self.units[1] == unit)] / self._wander

    def turned(self, k: int, unit: int, turn: np.ndarray) -> float:
        """Gain when the unit's arm is turned after keyframe k; turn is old_unit_from_new_unit."""
        own, after = 3 * int(self.units[1] == unit), np.eye(6)
        after[own : own + 3, own : own + 3] = turn.T
        return (float(_fall(_joined(self._sides(k, np.eye(6), after)))) - self._whole) / self._wander

    def directions(self, k: int, unit: int) -> tuple[np.ndarray, np.ndarray]:
        """The unit's arm before and after keyframe k, both of one length, in tenths of a metre."""
        H, b = _joined(self._sides(k, *_arms(int(self.units[1] == unit))))
        x = np.linalg.solve(_with_prior(H), b)
        size = float(np.clip(np.sqrt(np.linalg.norm(x[3:6]) * np.linalg.norm(x[6:])) / 0.1, 0.1, 2.0))
        before, after = (size * v / max(np.linalg.norm(v), 1e-9) for v in (x[3:6], x[6:]))
        return before, after

    @cached_property
    def _whole(self) -> float:
        return float(_fall(_joined(self._sides(-1, np.eye(6), np.eye(6)))))

    @cached_property
    def _free(self) -> list[np.ndarray]:
        """(K + 1,) by side, of chance and slips together."""
        out = np.empty((2, len(self.H)))
        for at in rows_at_once(len(self.H)):
            for side in (0, 1):
                out[side, at] = _fall(_joined(self._sides(at, *_arms(side)))) - self._whole
            let_go(self.H, self.X, self.b)
        return [*out]

    @cached_property
    def _wander(self) -> float:
        """How much more arms change from one part of the capture to the next than chance and a slip explain.

        At least one; whatever moves with the motion, and is no yielding, makes it larger.
        """
        at = np.linspace(0, len(self.H) - 1, PARTS + 1).astype(int)
        apart = np.eye(6 * PARTS).reshape(PARTS, 6, 6 * PARTS)
        H, b = _joined(zip(*(np.diff(v[at], axis=0) for v in (self.H, self.X, self.b)), apart, strict=True))
        shown = float(np.trace(np.linalg.solve(_with_prior(H), H)))
        stepped = self._whole + max(side.max() for side in self._free)
        return max(1.0, (float(_fall((H, b))) - stepped) / max(shown - 9.0, 1.0))

    def _sides(self, k: int | slice, before: np.ndarray, after: np.ndarray) -> Iterable[Part]:
        """Sums up to keyframes and after them, and what (6, n) the arms then are of n unknowns."""
        sums = (self.H, self.X, self.b)
        yield (*(v[k] for v in sums), before)  # type: ignore[misc]
        yield (*(v[-1] - v[k] for v in sums), after)  # type: ignore[misc]


def _arms(side: int) -> tuple[np.ndarray, np.ndarray]:
    """(6, 9) both arms before, and after: of the other unit's arm, the unit's own before, its own after."""
    before, after = np.zeros((2, 6, 9))
    own, other = slice(3 * side, 3 * side + 3), slice(3 - 3 * side, 6 - 3 * side)
    before[other, :3] = after[other, :3] = before[own, 3:6] = after[own, 6:] = np.eye(3)
    return before, after


def _joined(parts: Iterable[Part]) -> Equations:
    """Normal equations of n unknowns from sums H, X, b whose arms are E of them, yielding eliminated."""
    H, Y, b = 0.0, 0.0, 0.0
    for part, cross, rhs, E in parts:
        H, Y, b = H + E.T @ part @ E, Y + E.T @ cross, b + rhs @ E
    Y = np.asarray(Y)
    return H - Y @ np.swapaxes(Y, -1, -2), np.asarray(b)


def _with_prior(H: np.ndarray) -> np.ndarray:
    return H + np.eye(H.shape[-1]) / PRIOR**2


def _fall(equations: Equations) -> np.ndarray:
    """Fall of the weighted sum of squares, bᵀ H⁻¹ b."""
    H, b = equations
    return arms_solved(_with_prior(H), b)[1]


def centre(problem: Problem, body: Body, average: Averages, freed: np.ndarray, j: int) -> Centre:
    """What the j-th joint with lever arms tells.

    Parameters
    ----------
    problem, body, average : of a finished solve
    freed : (K + 1, U, 3, 3) world_from_unit, freed from the elastic part of the mounting
    j : of the joints in `body.ends`

    Returns
    -------
    Centre

    Notes
    -----
    A unit on soft tissue answers its acceleration a (without gravity, unit frame): it is turned and moved
    against the bone by what is linear in a, so its arm becomes r + M a, with nine numbers M that stay. The
    two ends of a joint then disagree by

        R_p (f_p + K_p r_p) − R_c (f_c + K_c r_c) + d²/dt² (R_p M_p a_p − R_c M_c a_c),

    linear in arms and M. Robust weights and the spread are those beside the best constant arms and M.
    """
    (p, c), w = body.ends.units[j], problem.weights
    A, z, known = _equations(problem, average, freed, p, c)
    prior = np.r_[np.full(6, PRIOR**-2), np.full(18, YIELD**-2)]
    off, sd = _off(A, z, np.r_[body.levers[j].ravel(), np.zeros(18)]), float(body.joint_sd[j])
    for again in (True, True, False):
        weight = known * huber(off, sd, FAR) / (problem.alike(w.joint_s) * sd**2)
        H, b = np.diag(prior), np.zeros(len(prior))
        for at, weighted in _weighted(A, weight):
            H = np.tensordot(weighted, A[at], ((0, 2), (0, 1))) + H
            b = b + apply(weighted, z[at]).sum(0)
        if again and known.any():
            off = _off(A, z, np.linalg.solve(H, b))
            sd = float(robust_sd(off[known][:, None], w.joint_least)[0])
    half = np.linalg.inv(np.linalg.cholesky(H[6:, 6:])).T
    sums, X, told = (room((len(A), 6, *of)) for of in ((6,), (18,), ()))
    carry = np.zeros((6, 25))
    for at, weighted in _weighted(A, weight):
        every = np.concatenate([weighted[:, :6] @ A[at], apply(weighted[:, :6], z[at])[..., None]], -1)
        every[0] += carry
        np.cumsum(every, axis=0, out=every)
        carry = every[-1].copy()
        sums[at], X[at] = every[..., :6], every[..., 6:24] @ half
        told[at] = every[..., 24] - X[at] @ (half.T @ b[6:])
        let_go(sums, X, told)
    return Centre(np.array([p, c]), sums, X, told)


def _equations(
    problem: Problem, average: Averages, freed: np.ndarray, p: int, c: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """As `centre_rows`, with 18 more columns: how both units yield."""
    last, g, step = len(freed), problem.g, problem.signals.key_step
    A, z, known = room((last, 3, 24)), room((last, 3)), np.empty(last, bool)
    for at in rows_at_once(last):
        A[at, :, :6], z[at], known[at] = centre_rows(average.piece(at.start, at.stop), p, c)
        near = slice(max(0, at.start - 1), at.stop + 1)
        own = slice(at.start - near.start, at.stop - near.start)
        yields = [_yielding(freed[near, u], average.force[near, u], g, step)[own] for u in (p, c)]
        A[at, :, 6:15] = yields[0]
        np.negative(yields[1], out=A[at, :, 15:])
        let_go(A, z, freed)
        average.let_go()
    return A, z, known


def _weighted(A: np.ndarray, weight: np.ndarray) -> Iterator[tuple[slice, np.ndarray]]:
    """Rows at a time, and AᵀW of these."""
    for at in rows_at_once(len(A)):
        yield at, np.swapaxes(A[at] * weight[at, None, None], -1, -2)
        let_go(A)


def _off(A: np.ndarray, z: np.ndarray, x: np.ndarray) -> np.ndarray:
    """(K + 1, 3) A x − z."""
    out = room(z.shape)
    for at in rows_at_once(len(A)):
        out[at] = apply(A[at], x) - z[at]
        let_go(A)
    return out


def _yielding(R: np.ndarray, force: np.ndarray, g: float, step: float) -> np.ndarray:
    """(k, 3, 9) m/s² per entry of M, second difference of R M a; none at the ends."""
    a = apply(np.swapaxes(R, -1, -2), force - g * UP)
    moved = (R[..., None] * a[:, None, None, :]).reshape(-1, 3, 9)
    out = np.zeros_like(moved)
    out[1:-1] = np.diff(moved, n=2, axis=0) / step**2
    return out


@dataclass(frozen=True, eq=False)
class Hinge:
    """A hinge's axis, the same at both ends all along.

    Attributes
    ----------
    units : (2,) of parent and child
    total : (K + 1, 3, 3) sums up to every keyframe of parent_unit_from_child_unit
    alike : number of keyframes over which the play is alike
    count : number of keyframes that the sums are of
    """

    units: np.ndarray
    total: np.ndarray
    alike: float
    count: int

    def free(self, unit: int) -> np.ndarray:
        """(K + 1,) gain over one axis when there may be any other after that keyframe."""
        before, after = _longest(self.total), _longest(self.total[-1] - self.total)
        return self._gain(before + after)

    def turned(self, k: int, unit: int, turn: np.ndarray) -> float:
        """Gain when the axis is turned in the unit after keyframe k; turn is old_unit_from_new_unit."""
        after = self.total[-1] - self.total[k]
        after = turn @ after if unit == self.units[0] else after @ turn.T
        return float(self._gain(_longest(self.total[k] + after)))

    def directions(self, k: int, unit: int) -> tuple[np.ndarray, np.ndarray]:
        """The axis in the unit before and after keyframe k."""
        (U0, _, V0), (U1, _, V1) = (np.linalg.svd(S) for S in (self.total[k], self.total[-1] - self.total[k]))
        ends = ((U0[:, 0], U1[:, 0]), (V0[0], V1[0]))
        mine, other = ends if unit == self.units[0] else ends[::-1]
        return mine[0], mine[1] * (1.0 if other[0] @ other[1] > 0 else -1.0)

    def _gain(self, agreement: np.ndarray) -> np.ndarray:
        """Log-likelihood ratio, twice, of agreements of the axis' two ends."""
        least = self.count * (1.0 + LEAST_AXIS**2)
        by_play = np.log((least - _longest(self.total[-1])) / np.maximum(least - agreement, 1e-9))
        return 2 * self.count / self.alike * by_play


def _longest(total: np.ndarray) -> np.ndarray:
    return np.linalg.svd(total, compute_uv=False)[..., 0]


def evidence(
    problem: Problem,
    body: Body,
    average: Averages,
    freed: np.ndarray,
    unit: int | None = None,
    inside: np.ndarray | None = None,
    doubted: Collection[int] = (),
) -> Iterator[Centre | Hinge]:
    """What every joint tells, one after the other, for they are large.

    Parameters
    ----------
    problem, body, average, freed : as in `centre`
    unit : only of its joints
    inside : (K + 1,) bool, keyframes that count; None: all
    doubted : units whose joints are passed over

    Returns
    -------
    Iterator of Centre and Hinge
    """

    def counts(*units: int) -> bool:
        return (unit is None or unit in units) and not any(one in units for one in doubted)

    for j, units in enumerate(body.ends.units.tolist()):
        if counts(*units):
            yield centre(problem, body, average, freed, j)
    for tie in problem.ties:
        bends = tie.joint.type == "hinge" or tie.joint.flexes_only
        if bends and problem.both_measured(tie) and counts(tie.parent, tie.child):
            relative = np.swapaxes(freed[:, tie.parent], -1, -2) @ freed[:, tie.child]
            units = np.array([tie.parent, tie.child])
            looked_at = np.ones(len(relative), bool) if inside is None else inside
            total = np.cumsum(relative * looked_at[:, None, None], axis=0)
            let_go(freed)
            yield Hinge(units, total, problem.alike(problem.weights.hinge_s), int(looked_at.sum()))
