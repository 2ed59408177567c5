"""What an earlier fit of the same person lends to a capture: lengths, and where joints usually are."""

from __future__ import annotations

import dataclasses

import numpy as np

from ..body.chain import BodyModel
from ..body.person import LENGTHS_M, Person
from ..body.usual_postures import UsualPosture
from ..core.cards import counted
from ..core.findings import Finding
from ..errors import InputError
from ..recording.capture import Capture
from ..weights import Weights
from .result import Fit

# correlation of the mean postures of two motions of one person, about those of all people; tried: on 39
# motions of five people: knee 0.3, hip and shoulder 0.5, ankle and elbow 0.7
SHARE = 0.5
SURE_M = 0.02  # m, standard deviation of a length that is lent; by reasoning: below what stature leaves open


def with_earlier(capture: Capture, earlier: Fit, weights: Weights) -> tuple[Capture, tuple[Finding, ...]]:
    """The capture with what an earlier fit of its wearer knows.

    Parameters
    ----------
    capture : not yet scaled to its wearer
    earlier : fit of another capture of the same person
    weights : standard deviations

    Returns
    -------
    capture : its own measured lengths stay
    findings : what was lent

    Raises
    ------
    InputError
        The two have no segment in common.
    """
    model = capture.model
    if not set(model.segments) & set(earlier.poses.model.segments):
        raise InputError(
            f"same person: the earlier fit is of {earlier.summary.model.name!r}, which has no segment of "
            f"{model.name!r}; expected a fit of a body that shares some"
        )
    lengths = _lengths(capture, earlier)
    postures = _postures(model, earlier, weights)
    person = capture.person or Person()
    known = dict(person.lengths_m) | {name: value for name, (value, _) in lengths.items()}
    spread = dict(person.lengths_sd_m) | {name: sd for name, (_, sd) in lengths.items()}
    person = dataclasses.replace(person, lengths_m=known, lengths_sd_m=spread)
    model = dataclasses.replace(model, usual_postures={**model.usual_postures, **postures})
    told = Finding(
        "same-person",
        "note",
        f"an earlier fit of the same person lends {counted(len(lengths), 'length')} and "
        f"the usual posture of {counted(len(postures), 'joint')}",
        "postures count only beside segments without a unit; if that fit is of someone else, leave it out",
        joints=tuple(postures),
        source="no limit: told whenever an earlier fit is given",
    )
    return dataclasses.replace(capture, person=person, model=model), (told,)


def _lengths(capture: Capture, earlier: Fit) -> dict[str, tuple[float, float]]:
    """Segment -> length and its standard deviation, m, that a tape or the earlier motion showed."""
    own = capture.person.lengths_m if capture.person else {}
    low, high = LENGTHS_M
    return {
        name: (float(told.length_m), float(told.length_sd_m))
        for name, told in earlier.summary.segments.items()
        if name in capture.model.segments
        and name not in own
        and ("motion" in told.length_source or "measured" in told.length_source)
        and told.length_m is not None
        and told.length_sd_m is not None
        and told.length_sd_m < SURE_M
        and low <= told.length_m <= high
    }


def _postures(model: BodyModel, earlier: Fit, weights: Weights) -> dict[str, UsualPosture]:
    """Joint -> its usual posture, nearer to where the earlier motion had it, if that was measured."""
    out = {}
    for name, usual in model.usual_postures.items():
        joint, sd = earlier.poses.model.joints.get(name), (earlier.joint_angle_sd or {}).get(name)
        if joint is None or not sd or name in earlier.inferred_joints:
            continue
        R = earlier.rotations
        mean = usual.deviation((R[joint.parent].inv() * R[joint.child]).as_matrix())
        variance = float(np.mean([np.mean(np.minimum(one, np.pi) ** 2) for one in sd.values()]))
        out[name] = usual.learned(mean, variance, SHARE, weights.usual_person)
    return out
