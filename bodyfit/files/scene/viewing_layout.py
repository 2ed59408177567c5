"""Where to draw the joints of a body whose joint centres are unknown."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...body.chain import BodyModel
from ...body.parts import Joint
from ...body.person import Person
from ..model.model_file import read_model

TYPICAL_STATURE = 1.70  # m, an adult; for viewing only; by reasoning
# m, about a segment of the chains and limbs that people measure; for viewing only; chosen; not tried
SPACING = 0.25


def laid_out(model: BodyModel) -> tuple[BodyModel, str | None]:
    """The model with a place for every joint, and a sentence on what is assumed (None: nothing).

    Parameters
    ----------
    model : scaled; any joint centre may be unknown

    Returns
    -------
    model : joints of the human body as in an adult of 1.70 m; others 0.25 m below the parent's origin,
        those of the same parent side by side
    note : for the file, or None
    """
    unknown = [joint for joint in model.joints.values() if joint.centre_in_parent is None]
    if not unknown:
        return model, None
    person = read_model("whole_body").scaled(Person(stature_m=TYPICAL_STATURE))
    joints = dict(model.joints) | {joint.name: _placed(joint, unknown, person) for joint in unknown}
    segments = {
        name: replace(segment, length=segment.length or _length(name, person))
        for name, segment in model.segments.items()
    }
    return replace(model, joints=joints, segments=segments), _note([joint.name for joint in unknown])


def _placed(joint: Joint, unknown: list[Joint], person: BodyModel) -> Joint:
    typical = person.joints.get(joint.name)
    if typical is not None and (typical.parent, typical.child) == (joint.parent, joint.child):
        return replace(
            joint, centre_in_parent=typical.centre_in_parent, centre_in_child=typical.centre_in_child
        )
    siblings = [other.name for other in unknown if other.parent == joint.parent]
    aside = (siblings.index(joint.name) - (len(siblings) - 1) / 2) * SPACING
    in_child = np.zeros(3) if joint.centre_in_child is None else joint.centre_in_child
    return replace(joint, centre_in_parent=np.array([0.0, -SPACING, aside]), centre_in_child=in_child)


def _length(name: str, person: BodyModel) -> float | None:
    return person.segments[name].length if name in person.segments else None


def _note(names: list[str]) -> str:
    return (
        f"The centres of {', '.join(names)} are unknown. For viewing, joints of the human body are placed as "
        f"in an adult of {TYPICAL_STATURE:.2f} m and others {SPACING:.2f} m from the next; rotations are as "
        "estimated, positions mean nothing."
    )
