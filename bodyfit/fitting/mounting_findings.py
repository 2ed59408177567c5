"""What is uncertain, open or contradictory about how units sit, and which movement would help."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from ..alignment.evidence import GivenMounting, HeldPose
from ..alignment.facing.evidence import HeldLevel, ShownLength
from ..alignment.mounting import Held, Mounting
from ..core.findings import Finding
from ..core.rotations import log
from ..estimator.problem.problem import Problem

OPEN = np.radians(30.0)  # standard deviation above which a direction counts as open; chosen; not tried
UNCERTAIN = np.radians(10.0)  # above which angles suffer; chosen; not tried
DISAGREES = np.radians(8.0)  # that far from what is given is more than people's usual 5°; by reasoning
FAR_OFF = np.radians(20.0)  # so far that the wrong axes must have been given; chosen; not tried
LIKELY = 2.5  # standard deviations by which a disagreement must stand out; chosen; not tried
MOVING = np.radians(3.0)  # root mean square turn during a pose that is not held still; chosen; not tried
STILL = "how still people stand: chosen; not tried"
NO_LIMIT = "no limit in degrees: by its surprise against all else"
ASKEW = np.radians(20.0)  # of a segment in a pose; by reasoning: three deviations of an arm's, six of a leg's
USUALLY = "three deviations of how people hold arms: common practice"
# χ² per degree of freedom of a unit in a pose; 1 % of true ones reach it (3 d.o.f.); by definition of that
# distribution
LEANING = 3.8
# another solution that far away is another sense of an axis; by reasoning: it is 180° off about another
# direction
SENSES = np.radians(60.0)
AXES = ("X, forward", "Y, along the segment", "Z, to the right")


def mounting_findings(
    problem: Problem, mounting: Mounting, told: Collection[int] = ()
) -> tuple[Finding, ...]:
    """Findings about how units sit.

    Parameters
    ----------
    problem : what was given
    mounting : what was found
    told : units of which it is said elsewhere that nobody can tell which way they face

    Returns
    -------
    tuple of Finding: "pose-assumed", "pose-badly-held", "mounting-disagrees", "mounting-open",
    "mounting-uncertain"
    """
    return (
        *_assumed(problem, mounting),
        *_facing(problem, mounting),
        *_badly_held(problem, mounting),
        *_disagreeing(problem, mounting),
        *_spread(problem, mounting, told),
    )


def open_directions(mounting: Mounting, unit: int) -> tuple[str, ...]:
    """Which turns of a unit on its segment nothing shows, in words.

    Parameters
    ----------
    mounting : as found
    unit : index

    Returns
    -------
    tuple of text, one a direction whose standard deviation is above 30°
    """
    variance, turns = np.linalg.eigh(mounting.covariance[unit])
    wide = [i for i in range(3) if variance[i] > OPEN**2]
    if len(wide) == 3:
        return ("any turn",)
    return tuple(_named(turns[:, i]) for i in wide[::-1])


def _named(direction: np.ndarray) -> str:
    """A direction in a segment's frame by its nearest axis, or by its numbers where it is between."""
    nearest = int(np.argmax(np.abs(direction)))
    if abs(direction[nearest]) > np.cos(np.radians(25.0)):
        return f"the turn about {AXES[nearest]}"
    turned = direction * np.sign(direction[nearest])
    return f"the turn about ({turned[0]:.1f}, {turned[1]:.1f}, {turned[2]:.1f})"


def _assumed(problem: Problem, mounting: Mounting) -> list[Finding]:
    """Nobody said that the body was ever in a known pose."""
    rest = [
        u
        for u, source in enumerate(mounting.sources)
        if "assumed" in source and problem.given_mounting[u] is None and problem.measured[u]
    ]
    if not rest or mounting.pose is None:
        return []
    names = tuple(problem.signals.units[u] for u in rest)
    start, end = mounting.pose
    what = (
        f"no neutral pose declared: the body was taken to be neutral at {start:.2f} to {end:.2f} s "
        f"({', '.join(names)}); where nothing else shows how a unit sits, angles are only as good as that"
    )
    advice = 'Declare a [[calibration]] of kind "still", or give mountings'
    harm = float(np.degrees(np.median(mounting.sd[rest])))
    return [
        Finding(
            *("pose-assumed", "warning", what, advice, names),
            start=start,
            end=end,
            value=harm,
            measure="deg",
            source="no limit: told wherever no pose was declared; by the median of units",
            harm_deg=min(harm, 60),
        )
    ]


def _facing(problem: Problem, mounting: Mounting) -> list[Finding]:
    """The heading of the body in its pose, or the sense of all its axes."""
    names = tuple(n for n, there in zip(problem.signals.units, problem.measured, strict=True) if there)
    if mounting.facing == "unknown" and len(names) > 1:
        what = (
            "which way the body faced in the neutral pose is unknown, so flexion may show as adduction: "
            "every unit may be turned about the vertical by any angle, 90° included"
        )
        advice = (
            "Give one unit's mounting, or bend a knee or a hinge with a declared axis through a wider range"
        )
        return [_open("warning", what, advice, names, 60.0)]
    rival = None if mounting.fused is None else mounting.fused.rival
    if rival is None:
        return []
    turn = log(rival @ np.swapaxes(mounting.segment_from_unit, -1, -2))
    other = np.linalg.norm(turn, axis=-1) > SENSES
    if not (other & problem.measured).any():
        return []
    names = tuple(n for n, far in zip(problem.signals.units, other & problem.measured, strict=True) if far)
    what = (
        "the motion shows joint axes as lines, not their sense: it fits as well with some segments turned by "
        f"180° ({', '.join(names)}); the solution in which units sit least turned is taken"
    )
    advice = "Give one unit's mounting, a joint's range_deg or its centres, or hold a declared pose"
    return [_open("note", what, advice, names, 10.0)]


def _open(severity: str, what: str, advice: str, names: tuple[str, ...], harm: float) -> Finding:
    why = "no limit: nothing in the motion tells one from the other"
    return Finding("mounting-open", severity, what, advice, names, source=why, harm_deg=harm)


def _badly_held(problem: Problem, mounting: Mounting) -> list[Finding]:
    """Poses in which a unit moved, or stood otherwise than all else says."""
    out, fused = [], mounting.fused
    if fused is None:
        return out
    for index, pose in enumerate(mounting.held):
        if not pose.declared:
            continue
        of_it = [
            (e, float(s))
            for e, s in zip(fused.evidence, fused.surprise, strict=True)
            if isinstance(e, HeldPose | HeldLevel) and e.pose == index
        ]
        moved = {e.unit: float(np.sqrt(e.moved)) for e, _ in of_it if e.moved > MOVING**2}
        leant = {e.unit: float(np.linalg.norm(e.residual(fused.guess)[0])) for e, s in of_it if s > LEANING}
        shown = [e for e in fused.evidence if isinstance(e, ShownLength) and index == 0]
        askew = {e.unit: e.leant for e in shown if e.leant > ASKEW}
        given = {e.unit for e in fused.evidence if isinstance(e, GivenMounting)}
        out += [
            _given_against_pose(problem.signals.units[unit], pose, leant.pop(unit))
            for unit in sorted(given & set(leant))
            if leant[unit] > FAR_OFF
        ]
        out += _pose_finding(problem, pose, moved, "moved by", (MOVING, STILL), "the stretch counts for less")
        out += _pose_finding(problem, pose, leant, "stood off by", (None, NO_LIMIT), "there it hardly counts")
        out += _pose_finding(
            problem, pose, askew, "leant, as joints show, by", (ASKEW, USUALLY), "joints put it right"
        )
    return out


def _given_against_pose(unit: str, pose: Held, angle: float) -> Finding:
    """A given mounting that can't be right if the pose was anything like what it is called."""
    value = float(np.degrees(angle))
    return Finding(
        "mounting-disagrees",
        "serious",
        f"{unit}: the given mounting is {value:.0f}° from how the unit stood in the pose {pose.pose!r}",
        "Check the mounting, the segment, the axes and that the pose was held; leave out what is unsure",
        (unit,),
        start=pose.start,
        end=pose.end,
        value=value,
        threshold=float(np.degrees(FAR_OFF)),
        measure="deg",
        source="so far that the wrong axes must have been given; chosen; not tried",
        handled="the given mounting is used, the pose hardly counts",
        harm_deg=value,
    )


def _pose_finding(
    problem: Problem,
    pose: Held,
    off: dict[int, float],
    how: str,
    limit: tuple[float | None, str],
    handled: str,
) -> list[Finding]:
    """One pose, badly held by some units; a limit, rad, comes with its source."""
    if not off:
        return []
    worst = max(off, key=lambda u: off[u])
    names = tuple(problem.signals.units[u] for u in off)
    what = (
        f"the pose {pose.pose!r} at {pose.start:.2f} to {pose.end:.2f} s was not held: "
        f"{', '.join(names)} {how} up to {np.degrees(off[worst]):.0f}°"
    )
    advice = "Hold the pose still and as the model has it, or declare only the part that was"
    value = float(np.degrees(off[worst]))
    threshold, source = limit
    return [
        Finding(
            *("pose-badly-held", "warning", what, advice, names),
            start=pose.start,
            end=pose.end,
            value=value,
            threshold=None if threshold is None else float(np.degrees(threshold)),
            measure="deg",
            source=source,
            handled=handled,
            harm_deg=0.5 * value,
        )
    ]


def _disagreeing(problem: Problem, mounting: Mounting) -> list[Finding]:
    """Given mountings that the motion contradicts."""
    out, fused = [], mounting.fused
    for e in () if fused is None else fused.evidence:
        if not isinstance(e, GivenMounting) or not problem.measured[e.unit]:
            continue
        off = log(mounting.segment_from_unit[e.unit] @ e.matrix.T)
        angle = float(np.linalg.norm(off))
        if angle < DISAGREES or off @ np.linalg.solve(mounting.covariance[e.unit], off) < LIKELY**2:
            continue
        far = angle > FAR_OFF
        what = (
            f"{problem.signals.units[e.unit]}: the mounting that is given is {np.degrees(angle):.0f}° from "
            f"what {mounting.sources[e.unit].removeprefix('given, ') or 'the rest'} shows, about "
            f"({off[0] / angle:.1f}, {off[1] / angle:.1f}, {off[2] / angle:.1f}) of the segment"
        )
        advice = "Check the mounting, the segment and the axes of the unit; leave the mounting out if unsure"
        out.append(
            Finding(
                *("mounting-disagrees", "serious" if far else "warning", what, advice),
                units=(problem.signals.units[e.unit],),
                value=float(np.degrees(angle)),
                threshold=float(np.degrees(DISAGREES)),
                measure="deg",
                source="people state a mounting to about 5° (common practice)",
                handled="both were fused, each by how sure it is",
                harm_deg=float(np.degrees(angle)) * (0.5 if far else 0.25),
            )
        )
    return out


def _spread(problem: Problem, mounting: Mounting, told_before: Collection[int]) -> list[Finding]:
    """Units whose mounting nothing shows, wholly or in some direction."""
    out, groups = [], {}
    for u in map(int, np.flatnonzero(problem.measured)):
        sd = float(mounting.sd[u])
        if sd > UNCERTAIN and u not in told_before:
            kind = "mounting-open" if sd > OPEN else "mounting-uncertain"
            told = " and ".join(open_directions(mounting, u)) if sd > OPEN else "its least sure direction"
            groups.setdefault((kind, told), []).append(u)
    for (kind, told), units in groups.items():
        names = tuple(problem.signals.units[u] for u in units)
        worst = float(np.degrees(mounting.sd[units].max()))
        what = f"{', '.join(names)}: how they sit is not shown in {told} (standard deviation {worst:.0f}°)"
        if kind == "mounting-uncertain":
            what = f"{', '.join(names)}: how they sit is known to {worst:.0f}° (standard deviation)"
        out.append(
            Finding(
                *(kind, "warning" if kind == "mounting-open" else "note", what, _help(problem, units)),
                units=names,
                joints=_joints_at(problem, units),
                value=worst,
                threshold=float(np.degrees(OPEN if kind == "mounting-open" else UNCERTAIN)),
                measure="deg",
                source="a standard deviation by which angles are of little use: chosen; not tried",
                harm_deg=min(worst, 60.0) * 0.5,
            )
        )
    return out


def _joints_at(problem: Problem, units: list[int]) -> tuple[str, ...]:
    """Names of the joints that tie these units to others."""
    return tuple(t.joint.name for t in problem.ties if t.parent in units or t.child in units)


def _help(problem: Problem, units: list[int]) -> str:
    """Which movement, pose or number would show how these units sit."""
    here = [t.joint for t in problem.ties if t.parent in units or t.child in units]
    bends = [j.name for j in here if j.flexes_only or (j.type == "hinge" and j.axis is not None)]
    centres = [j.name for j in here if j.centre_in_parent is None]
    ways = []
    if not any(pose.declared for pose in problem.held):
        ways.append('hold a pose of the model and declare it ([[calibration]] kind = "still")')
    if bends:
        ways.append(f"bend {', '.join(bends)} alone through a wide range")
    if centres and not bends:
        ways.append(f"give the centres of {', '.join(centres)} and move lively")
    return "To close it: " + "; or ".join([*ways, "give the mounting"])
