"""Where on a body units may sit: the tree of segments and how its joints bend."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...body.anatomy import LEFT, mirrored
from ...body.chain import BodyModel
from ...body.parts import Joint
from ...body.person import Person
from ...core.rotations import UP

USUAL_STATURE_M = 1.70  # as TYPICAL_STATURE of the viewing layout
KNEE_SD, ELBOW_SD, MOUNTED_SD = np.radians(25.0), np.radians(45.0), np.radians(20.0)  # chosen; not tried


@dataclass(frozen=True, eq=False)
class Bends:
    """A joint that bends one way only: segments, far joints, and the side to which its axis points.

    Attributes
    ----------
    joint : its index
    sense : +1 when bending turns the child about Z to the right (an elbow), −1 to the left (a knee)
    sd : rad, of its axis against the right of the trunk
    """

    joint: int
    sense: int
    sd: float


@dataclass(frozen=True, eq=False)
class Tree:
    """A body model by index: what placement needs of it.

    Attributes
    ----------
    segments, joints : in the model's order, the root first
    ends : (J, 2) segment indices, parent first
    centres : (J, 2, 3) m, in the parent's and the child's frame; NaN where unknown
    lengths : (S,) m, NaN where unknown
    sized : whether lengths are this person's own
    mirrored : joints (left, right) that hang on one parent
    bends : joints that bend one way only
    """

    segments: tuple[str, ...]
    joints: tuple[Joint, ...]
    ends: np.ndarray
    centres: np.ndarray
    lengths: np.ndarray
    sized: bool
    mirrored: tuple[tuple[int, int], ...]
    bends: tuple[Bends, ...]

    def at(self, segment: int) -> list[tuple[int, int]]:
        """(joint, side) of all joints that a segment takes part in."""
        return [(j, side) for j, side in zip(*np.nonzero(self.ends == segment), strict=True)]


def tree_of(model: BodyModel, person: Person | None) -> Tree:
    """A model by index, scaled to the person, or to a usual stature where none is known.

    Parameters
    ----------
    model, person : as in a capture

    Returns
    -------
    Tree
    """
    scaled = model.scaled(person)
    usual = scaled.scaled(Person(stature_m=USUAL_STATURE_M))
    sized = all(j.centre_in_parent is not None for j in scaled.joints.values())
    joints = tuple(usual.joints.values())
    segments = (model.root, *(joint.child for joint in joints))
    at = {segment: index for index, segment in enumerate(segments)}
    ends = np.array([[at[j.parent], at[j.child]] for j in joints], int).reshape(-1, 2)
    unknown = np.full(3, np.nan)
    centres = np.array(
        [
            [unknown if c is None else np.asarray(c, float) for c in (j.centre_in_parent, j.centre_in_child)]
            for j in joints
        ]
    ).reshape(-1, 2, 3)
    twins = [
        (a, b)
        for a, left in enumerate(joints)
        for b, right in enumerate(joints)
        if left.child.startswith(LEFT) and right.child == mirrored(left.child) and left.parent == right.parent
    ]
    bends = [b for index, joint in enumerate(joints) if (b := _bends(index, joint))]
    lengths = np.array([usual.segments[s].length or np.nan for s in segments])
    return Tree(segments, joints, ends, centres, lengths, sized, tuple(twins), tuple(bends))


def _bends(index: int, joint: Joint) -> Bends | None:
    """A joint that bends about Z to one side at least ten times as far as to the other."""
    low, high = joint.range.get(joint.angles[0], (0.0, 0.0))
    if joint.sequence[0] != "Z" or not abs(low + high) > 9 / 11 * (high - low):
        return None
    side = joint.signs[0] * (1 if low + high > 0 else -1)
    return Bends(index, side, KNEE_SD if side < 0 else ELBOW_SD)


def joint_ends(tree: Tree, segment: int) -> np.ndarray:
    """(n, 3) m, joint centres of a segment, and its far end where it carries nothing: units sit between."""
    ends = [tree.centres[j, s] for j, s in tree.at(segment)]
    reaching = [end for end in ends if not np.allclose(end, 0.0)]
    far = [] if reaching else [tree.lengths[segment] * (UP if _upwards(tree, segment) else -UP)]
    return np.array([*ends, np.zeros(3), *far])


def _upwards(tree: Tree, segment: int) -> bool:
    """Whether a segment at the end of the tree reaches up: what hangs on its parent's head end."""
    (j, _), *_ = tree.at(segment)
    centre = tree.centres[j, 0]
    return bool(np.isfinite(centre).all() and centre[1] > 0 and mirrored(tree.joints[j].child) is None)
