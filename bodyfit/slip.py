"""A unit that slips on its segment during the capture: found by lever arms that change at one moment."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from .averages import Averages
from .capture import Capture, Unit
from .finding import Finding
from .geometry import joint_forces
from .problem import Body, Problem
from .residuals import huber
from .rotations import apply
from .signals import Signals

EDGE_S = 4.0  # s at either end in which too little motion is left to tell
LEAST_GAIN = 60.0  # χ² by which two lever arms must fit better than one, beyond what chance does (tried)
LEAST_TURN = np.radians(10.0)  # foam and tissue give up to that
LEAST_AXIS = np.radians(3.0)  # play of a hinge below which more agreement counts for nothing
SMALLEST = 0.02  # weight by which of all turns that fit the smallest is taken
PARTS = 12  # of a capture, between which arms are compared
PRIOR = 0.3  # m, length of a lever arm
SLIPPING_S = 0.5  # s before and after in which the unit's turn is not its segment's


@dataclass(frozen=True, eq=False)
class Slip:
    """One unit that turned on its segment.

    Attributes
    ----------
    unit : its name
    time : s
    turn : (3, 3) old_unit_from_new_unit: what rotates later samples into the frame that it had before
    angle : rad, of that turn
    gain : χ² by which the capture fits better with it
    """

    unit: str
    time: float
    turn: np.ndarray
    angle: float
    gain: float


def find_slip(problem: Problem, body: Body, average: Averages, freed: np.ndarray) -> Slip | None:
    """The most telling slip of a capture, or None.

    Parameters
    ----------
    problem, body, average : of a finished solve
    freed : (K + 1, U, 3, 3) world_from_unit, freed from the elastic part of the mounting

    Returns
    -------
    Slip or None

    Notes
    -----
    Joint-centre agreement is linear in the lever arms. For every unit and keyframe the arms of the unit are
    let change there, and the gain in the weighted sum of squares over one constant set of arms is a
    likelihood ratio: cumulative sums of the normal equations give it for all keyframes at once. Hinges add
    what two axes gain over one, from the singular values of cumulative sums of the joint's rotation.
    """
    if not len(body.levers):
        return None
    time = problem.signals.key_time
    ratio, arms = _likelihood_ratios(problem, body, average)
    ratio, pairs = _with_axes(problem, ratio, freed)
    inside = (time > time[0] + EDGE_S) & (time < time[-1] - EDGE_S)
    ratio[~inside] = 0.0
    k, u = np.unravel_index(int(np.argmax(ratio)), ratio.shape)
    if ratio[k, u] < LEAST_GAIN:
        return None
    seen = [pair for pair in (*arms(int(k), int(u)), *pairs(int(k), int(u)))]
    turn = _turn(np.array([pair[0] for pair in seen]), np.array([pair[1] for pair in seen]))
    angle = float(np.linalg.norm(Rotation.from_matrix(turn).as_rotvec()))
    if angle < LEAST_TURN:
        return None
    return Slip(problem.signals.units[u], float(time[k]), turn, angle, float(ratio[k, u]))


def _likelihood_ratios(problem: Problem, body: Body, average: Averages):
    """(K + 1, U) gain by letting a unit's arms change at a keyframe, and a function that gives the arms."""
    ends, w = body.ends, problem.weights
    parent, child = joint_forces(average, ends, body.levers)
    U, K = len(problem.signals.units), len(average.force)
    ratio, parts = np.zeros((K, U)), []
    for j, (p, c) in enumerate(ends.units):
        A = np.concatenate([average.lever[:, p], -average.lever[:, c]], -1)
        z = average.force[:, c] - average.force[:, p]
        sd = body.joint_sd[j]
        known = average.known[:, p] & average.known[:, c]
        weight = known * huber(parent[:, j] - child[:, j], sd, 3.0) / (problem.alike(w.joint_s) * sd**2)
        weighted = np.swapaxes(A * weight[:, None, None], -1, -2)
        H = np.cumsum(weighted @ A, axis=0)
        b = np.cumsum(apply(weighted, z), axis=0)
        parts.append((H, b))
        whole = _gain(H[-1] + np.eye(6) / PRIOR**2, b[-1])
        sides = [_gain(*_split(H, b, side)) - whole for side in (0, 1)]
        wander = _wander(H, b, whole + max(side.max() for side in sides))
        for side, unit in zip(sides, (p, c), strict=True):
            ratio[:, unit] += side / wander
    return ratio, lambda k, u: _arms(ends.units, parts, k, u)


def _wander(H: np.ndarray, b: np.ndarray, stepped: float) -> float:
    """How much more arms change from one part of the capture to the next than chance and one slip explain.

    At least one; soft tissue that moves with the motion makes it larger.
    """
    at = np.linspace(0, len(H) - 1, PARTS + 1).astype(int)
    pieces, rhs = np.diff(H[at], axis=0), np.diff(b[at], axis=0)
    full = pieces + np.eye(6) / PRIOR**2
    shown = float(np.trace(np.linalg.solve(full, pieces), axis1=-2, axis2=-1).sum())
    return max(1.0, (float(_gain(full, rhs).sum()) - stepped) / max(shown - 9.0, 1.0))


def _split(H: np.ndarray, b: np.ndarray, side: int) -> tuple[np.ndarray, np.ndarray]:
    """Normal equations (K, 9, 9), (K, 9) of the arms with one end's arm different after each keyframe."""
    own, other = np.r_[3 * side : 3 * side + 3], np.r_[3 - 3 * side : 6 - 3 * side]
    rest, left = H[-1] - H, b[-1] - b
    big, rhs = np.zeros((len(H), 9, 9)), np.zeros((len(H), 9))
    big[:, :3, :3], big[:, 3:6, 3:6] = H[-1][np.ix_(other, other)], H[:, own][:, :, own]
    big[:, 6:, 6:] = rest[:, own][:, :, own]
    for at, part in ((slice(3, 6), H), (slice(6, 9), rest)):
        block = part[:, other][:, :, own]
        big[:, :3, at], big[:, at, :3] = block, np.swapaxes(block, -1, -2)
    rhs[:, :3], rhs[:, 3:6], rhs[:, 6:] = b[-1][other], b[:, own], left[:, own]
    return big + np.eye(9) / PRIOR**2, rhs


def _gain(H: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Fall of the weighted sum of squares, bᵀ H⁻¹ b."""
    return np.sum(b * np.linalg.solve(H, b[..., None])[..., 0], -1)


def _arms(units: np.ndarray, parts: Sequence, k: int, u: int) -> list[tuple[np.ndarray, np.ndarray]]:
    """Arms (m) of a unit to its joints before and after a keyframe, counted in tenths of a metre."""
    out = []
    for (H, b), ends in zip(parts, units, strict=True):
        if u in ends:
            big, rhs = _split(H[[k, -1]], b[[k, -1]], int(ends[1] == u))
            x = np.linalg.solve(big[0], rhs[0])
            size = float(np.clip(np.sqrt(np.linalg.norm(x[3:6]) * np.linalg.norm(x[6:])) / 0.1, 0.1, 2.0))
            out.append(tuple(size * v / max(np.linalg.norm(v), 1e-9) for v in (x[3:6], x[6:])))
    return out


def _with_axes(problem: Problem, ratio: np.ndarray, freed: np.ndarray):
    """The gains with those of hinges, and a function that gives a unit's axes before and after a keyframe."""
    w, sums = problem.weights, []
    for tie in problem.ties:
        bends = tie.joint.type == "hinge" or tie.joint.flexes_only
        if bends and problem.both_measured(tie):
            relative = np.swapaxes(freed[:, tie.parent], -1, -2) @ freed[:, tie.child]
            total = np.cumsum(relative, axis=0)
            sums.append((tie, total))
            first, whole = np.linalg.svd(total)[1][:, 0], len(total) + 2 * len(total) * LEAST_AXIS**2 / 2
            second = np.linalg.svd(total[-1] - total)[1][:, 0]
            gain = (
                2
                * len(total)
                / problem.alike(w.hinge_s)
                * np.log((whole - first[-1]) / np.maximum(whole - first - second, 1e-9))
            )
            ratio[:, tie.parent] += gain
            ratio[:, tie.child] += gain

    def pairs(k: int, u: int) -> list[tuple[np.ndarray, np.ndarray]]:
        out = []
        for tie, total in sums:
            if u in (tie.parent, tie.child):
                (U0, _, V0), (U1, _, V1) = (np.linalg.svd(S) for S in (total[k], total[-1] - total[k]))
                here, there = ((U0[:, 0], V0[0]), (U1[:, 0], V1[0]))
                mine, other = (0, 1) if u == tie.parent else (1, 0)
                out.append((here[mine], there[mine] * (1 if here[other] @ there[other] > 0 else -1)))
        return out

    return ratio, pairs


def _turn(before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """(3, 3) turn that carries directions after onto those before; smallest where they leave it open."""
    B = before.T @ after
    U, _, Vt = np.linalg.svd(B + SMALLEST * np.linalg.norm(B) * np.eye(3))
    return U @ np.diag([1.0, 1.0, np.linalg.det(U @ Vt)]) @ Vt


def without_slip(capture: Capture, slip: Slip) -> Capture:
    """The capture as if the unit had stayed: later samples turned back; see `slipping` for the slip itself.

    Parameters
    ----------
    capture : as recorded
    slip : found in it

    Returns
    -------
    Capture
    """
    unit = capture.units[slip.unit]
    later = unit.time > slip.time
    changed: dict[str, np.ndarray] = {}
    for sensor in sorted(unit.sensors - {"orientation"}):
        values = np.where(later[:, None], getattr(unit, sensor) @ slip.turn.T, getattr(unit, sensor))
        changed[sensor] = values
    if unit.orientation is not None:
        turned = (Rotation.from_quat(unit.orientation) * Rotation.from_matrix(slip.turn).inv()).as_quat()
        changed["orientation"] = np.where(later[:, None], turned, unit.orientation)
    repaired: Unit = dataclasses.replace(unit, **changed)
    return dataclasses.replace(capture, units={**capture.units, slip.unit: repaired})


def slipping(signals: Signals, slips: Sequence[Slip]) -> Signals:
    """The signals with gyroscopes not believed while their units slip: they turn, and the segments do not.

    Parameters
    ----------
    signals : on one clock
    slips : found in them

    Returns
    -------
    Signals
    """
    if not slips:
        return signals
    unknown = signals.turn_unknown.copy()
    middle = 0.5 * (signals.key_time[1:] + signals.key_time[:-1])
    for slip in slips:
        during = np.abs(middle - slip.time) < SLIPPING_S + 0.5 * signals.key_step
        unknown[during, signals.units.index(slip.unit)] = 1.0
    return dataclasses.replace(signals, turn_unknown=unknown)


def slip_finding(slip: Slip) -> Finding:
    """A slip as a finding.

    Parameters
    ----------
    slip : as found

    Returns
    -------
    Finding, kind "unit-slipped"
    """
    size = float(np.degrees(slip.angle))
    return Finding(
        "unit-slipped",
        "serious" if size > 15 else "warning",
        f"{slip.unit} slipped at {slip.time:.1f} s, by at least {size:.0f}° against its segment",
        "Fasten the unit and record again, or keep the part before: capture.between",
        units=(slip.unit,),
        start=slip.time,
        value=size,
        measure="deg",
        handled="later samples were turned back by what lever arms and axes show; a turn about the line from "
        "the unit to its joint stays open",
        harm_deg=0.3 * size,
    )
