"""A unit that slips on its segment during the capture: found by lever arms that turn at one moment."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from scipy.spatial.transform import Rotation

from ...core.findings import Finding
from ...core.rotations import nearest_rotation
from ...estimator.problem.problem import Problem
from ...estimator.problem.unknowns import Body
from ...recording.attitude import stretches
from ...recording.capture import Capture, Unit
from ...recording.keyframe_averages import Averages
from ...recording.signals import Signals
from .joint_evidence import Centre, Hinge, evidence

EDGE_S = 4.0  # s at either end in which too little motion is left to tell; chosen; not tried
# χ² of a turn; chance makes 30 of three numbers once in 700 000 tries, noise is not white; by reasoning
LEAST_GAIN = 40.0
LEAST_TURN = np.radians(10.0)  # foam and tissue give up to that; by reasoning
LARGE_TURN = 1.0  # rad, standard deviation of a slip: of all turns that fit the smallest is taken
# χ² per rad at which a turn is found, to 3° or better: its curvature is 2 at least; by reasoning
NEAR = {"gtol": 0.1}
SMALLEST = 0.02  # weight by which that holds for the turn to start from; chosen; not tried
SLIPPING_S = 0.5  # s before and after in which the unit's turn is not its segment's; chosen; not tried


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


def find_slip(
    problem: Problem, body: Body, average: Averages, freed: np.ndarray, doubted: Collection[str] = ()
) -> Slip | None:
    """The most telling slip of a capture, or None.

    Parameters
    ----------
    problem, body, average : of a finished solve
    freed : (K + 1, U, 3, 3) world_from_unit, freed from the elastic part of the mounting
    doubted : units whose sensors are wrong; their joints say nothing

    Returns
    -------
    Slip or None

    Notes
    -----
    Joint-centre agreement is linear in the lever arms, and in how the units yield to acceleration. For every
    unit and keyframe the unit's arms are let change there, each as it likes; cumulative sums of the normal
    equations give the gain in the weighted sum of squares over constant arms, a likelihood ratio, for all
    keyframes at once. That is more than any slip can gain: a slip turns all arms and hinge axes of its unit
    alike and leaves their lengths. So where it is enough, the best such turn is looked for, and only what
    that gains counts. Only keyframes of one stretch are compared: after a gap headings are others, and a unit
    may have been put on anew.
    """
    if not len(body.levers):
        return None
    part = stretches(np.all(problem.signals.lost[:, problem.measured], axis=1))
    wrong = [u for u, name in enumerate(problem.signals.units) if name in doubted]
    told = partial(evidence, problem, body, doubted=wrong)
    found = [_in_stretch(problem, told, average, freed, part == n) for n in range(part[-1] + 1)]
    return max((slip for slip in found if slip is not None), key=lambda slip: slip.gain, default=None)


def _in_stretch(
    problem: Problem,
    told: Callable[..., Iterator[Centre | Hinge]],
    average: Averages,
    freed: np.ndarray,
    inside: np.ndarray,
) -> Slip | None:
    """The most telling slip among the keyframes (K + 1,) bool of one stretch."""
    time = problem.signals.key_time
    first, last = time[inside][[0, -1]]
    if last - first <= 2 * EDGE_S:
        return None
    if not inside.all():
        average = replace(average, known=average.known & inside[:, None])
    free = np.zeros(freed.shape[:2])
    for joint in told(average, freed, inside=inside):
        for unit in joint.units:
            free[:, unit] += joint.free(unit)
    free[(time <= first + EDGE_S) | (time >= last - EDGE_S)] = 0.0
    best: Slip | None = None
    most = LEAST_GAIN
    for u in np.argsort(-free.max(0)):
        k = int(np.argmax(free[:, u]))
        if free[k, u] < most:  # nor can any turn gain more
            break
        turn, gain = _best_turn(list(told(average, freed, int(u), inside)), k, int(u))
        if gain >= most:
            name, most = problem.signals.units[u], gain
            best = Slip(name, float(time[k]), turn.as_matrix(), float(turn.magnitude()), gain)
    return best if best is not None and best.angle >= LEAST_TURN else None


def _best_turn(joints: Sequence[Centre | Hinge], k: int, unit: int) -> tuple[Rotation, float]:
    """The turn (old_unit_from_new_unit) after a keyframe that joints gain most by, and what they gain.

    Looked for from the one that carries each direction onto its like as well as may be, and from none.
    """
    from scipy.optimize import minimize

    def cost(turn: np.ndarray) -> float:
        R = Rotation.from_rotvec(turn).as_matrix()
        return float(turn @ turn) / LARGE_TURN**2 - sum(joint.turned(k, unit, R) for joint in joints)

    before, after = np.swapaxes([joint.directions(k, unit) for joint in joints], 0, 1)
    first = Rotation.from_matrix(_turn(before, after)).as_rotvec()
    found = min((minimize(cost, v, options=NEAR) for v in (first, np.zeros(3))), key=lambda one: one.fun)
    return Rotation.from_rotvec(found.x), -float(found.fun)


def _turn(before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """(3, 3) turn that carries directions after onto those before; smallest where they leave it open."""
    B = before.T @ after
    return nearest_rotation(B + SMALLEST * np.linalg.norm(B) * np.eye(3))


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
        source="no limit in degrees: by likelihood against none (docs/method.md)",
        handled="later samples were turned back by what lever arms and axes show; a turn about the line from "
        "the unit to its joint stays open",
        harm_deg=0.3 * size,
    )
