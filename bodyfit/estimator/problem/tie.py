"""A joint between two units of the problem, and its angles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...body.motion.joint_angles import joint_angles
from ...body.parts import Joint


def angles_of(tie: Tie, segments: np.ndarray) -> np.ndarray:
    """Reported joint angles of one tie.

    Parameters
    ----------
    tie : joint and its two units
    segments : (k, U, 3, 3) world_from_segment

    Returns
    -------
    (k, 3) rad
    """
    relative = np.swapaxes(segments[:, tie.parent], -1, -2) @ segments[:, tie.child]
    named = joint_angles(tie.joint, relative)
    return np.stack([named[name] for name in tie.joint.angles], -1)


@dataclass(frozen=True, eq=False)
class Tie:
    """A joint between two units of the problem: the model's joint, and which unit is at either end."""

    joint: Joint
    parent: int
    child: int
