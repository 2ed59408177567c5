"""What people's joints usually do, as far as it tells which way units face: small turns beside the bending.

Deviations are of a person's own constant, of the mean over one piece of motion, and within a piece. They are
set wide of what skin-mounted and optical studies report for daily movement (from memory where not named); a
joint that is not here says nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Spread:
    """Of one angle, degrees: usual mean, and deviation of the constant, of a piece's mean, within a piece."""

    usual: float
    constant: float
    piece: float
    within: float


@dataclass(frozen=True)
class Usual:
    """Of one joint kind.

    Attributes
    ----------
    soft : degrees, how far beyond its range the first angle is seen, frames of bones differing
    second, third : the other two angles as the joint reports them (signs taken off)
    by_direction : the child is a limb whose direction is limited, not three Cardan angles: the shoulder
    """

    soft: float
    second: Spread
    third: Spread
    by_direction: bool = False


# Hip, knee, ankle, trunk: abduction and rotation over daily movement stay within about ±15° of their mean,
# those of a knee within ±8°, between people ±6 to 12°. Neck: turning is free. Elbow: carrying angle 5 to 15°
# and constant; pronation about mid-way and over most of its range (ISB zero: palm forward): from memory 85°,
# in 39 recorded motions of six people 113 ± 14°, pieces ± 15°. Wrist: bends both ways alike in what people
# do (24° of deviation, 9° of flexion there), so it hardly tells how the forearm faces; it does not turn about
# the forearm. Shoulder: a hanging or working arm has its epicondyles mostly sideways. From memory where no
# other source is named.
USUAL = {
    "hip": Usual(8, Spread(0, 6, 9, 6), Spread(0, 8, 10, 7)),
    "knee": Usual(8, Spread(0, 5, 5, 4), Spread(0, 6, 7, 6)),
    "talocrural": Usual(10, Spread(0, 10, 10, 8), Spread(0, 12, 10, 8)),
    "vl5": Usual(10, Spread(0, 5, 9, 6), Spread(0, 6, 10, 8)),
    "skullbase": Usual(10, Spread(0, 6, 12, 8), Spread(0, 8, 25, 20)),
    "elbow": Usual(10, Spread(8, 6, 6, 6), Spread(100, 30, 40, 30)),
    "radiocarpal": Usual(20, Spread(5, 15, 25, 20), Spread(0, 10, 20, 15)),
    "shoulder": Usual(0, Spread(0, 0, 0, 0), Spread(20, 25, 40, 30), by_direction=True),
}
# extension and adduction of an upper arm: limits of AAOS 1965 (from memory: 60° and 50°)
BACKWARD, INWARD = np.sin(np.radians(60.0)), np.sin(np.radians(45.0))
SOFT_DIRECTION = 0.15  # of a unit vector, how softly those limits hold; the girdle moves too (from memory)
# forward, outward: mean over a piece of an arm that hangs, swings or works in front (from memory)
USUAL_DIRECTION, USUAL_DIRECTION_SD = (0.3, 0.25), (0.4, 0.35)


def usual_of(joint_name: str) -> Usual | None:
    """What is usual of a joint, by its ISO name; None where nothing is known.

    Parameters
    ----------
    joint_name : e.g. "l_hip"

    Returns
    -------
    Usual or None
    """
    return USUAL.get(joint_name.split("_")[-1])
