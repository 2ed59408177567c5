"""Units of which nobody can tell which way they face, and what would tell."""

from __future__ import annotations

import numpy as np

from ..alignment.facing.known import NEAR, UNIFORM, Facing
from ..core.findings import Finding
from ..estimator.problem.problem import Problem

TELLS = {  # joint kind -> movement that makes it tell, as told to a wearer
    "knee": "bend {} by 60° or more",
    "hip": "lift the thigh at {} forward and back a few times",
    "talocrural": "walk, or lift the heel, for {}",
    "vl5": "bend the trunk forward and turn it, for {}",
    "skullbase": "nod, for {}",
    "shoulder": "lift the arm at {} forward, then sideways",
    "elbow": "bend {} by 60° or more",
    "radiocarpal": "bend {} both ways",
}


def facing_findings(problem: Problem, facing: Facing | None) -> tuple[Finding, ...]:
    """One finding for each unit of which it is not known which way it faces.

    Parameters
    ----------
    problem : what was given
    facing : what was found, or None: the pose hangs together with the motion

    Returns
    -------
    tuple of Finding, kind "mounting-open"
    """
    if facing is None:
        return ()
    return tuple(_finding(problem, facing, int(u)) for u in np.flatnonzero(facing.doubtful))


def _finding(problem: Problem, facing: Facing, unit: int) -> Finding:
    """Of one unit."""
    name = problem.signals.units[unit]
    here = [tie.joint for tie in problem.ties if unit in (tie.parent, tie.child)]
    at = [problem.ties[i].joint.name for i in facing.ties if unit in _ends(problem, i)]
    share, sd = float(facing.probability[unit]), min(float(facing.sd[unit]), UNIFORM)
    best = f" to better than {np.degrees(sd):.0f}°" if sd < NEAR else ""
    why = f"the likeliest way has a probability of {share:.2f}" if at else "no unit beside it tells"
    ways = [TELLS[joint.split("_")[-1]].format(joint) for joint in at]
    advice = "; or ".join(
        [
            "Record the still pose and some seconds of movement without a pause between",
            *ways,
            "give its mounting",
        ]
    )
    return Finding(
        "mounting-open",
        "warning",
        f"cannot tell{best} which way {name} faces: its pose is parted from the motion by a pause, and {why}",
        advice,
        units=(name,),
        joints=tuple(joint.name for joint in here),
        value=float(np.degrees(sd)),
        threshold=30.0,
        measure="deg",
        source="a standard deviation above which a direction counts as open: chosen; not tried",
        handled="its turn about the vertical of the pose counts as known no better; angles beside it say so",
        harm_deg=min(60.0, float(np.degrees(sd))),
    )


def _ends(problem: Problem, tie: int) -> tuple[int, int]:
    """Units of a tie."""
    return problem.ties[tie].parent, problem.ties[tie].child
