"""What people's joints usually do, as far as it tells which way units face: small turns beside the bending.

Deviations are of a person's own constant, of the mean over one piece of motion, and within a piece. They are
set wide of what skin-mounted and optical studies report for daily movement (from memory where not named); a
joint that is not here says nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

HANGING = 0.5  # cosine from the vertical from which a limb hangs; by reasoning: not near the level


@dataclass(frozen=True)
class Spread:
    """Of one angle, degrees: usual mean, and deviation of the constant, of a piece's mean, within a piece."""

    usual: float
    constant: float
    piece: float
    within: float


@dataclass(frozen=True)
class Limb:
    """Where a limb points, forward and outward parts of a unit vector: one-sided limits, and usual means.

    Attributes
    ----------
    backward, inward : it seldom points farther
    soft : how softly that holds
    usual, constant, piece : (forward, outward) mean, deviation of a person's own, of a piece's about that
    """

    backward: float
    inward: float
    soft: float
    usual: tuple[float, float]
    constant: tuple[float, float]
    piece: tuple[float, float]


@dataclass(frozen=True)
class Bend:
    """A joint that bends alike to all sides as far as anyone knows; degrees, at most, and how softly."""

    most: float
    soft: float


@dataclass(frozen=True)
class Usual:
    """Of one joint kind.

    Attributes
    ----------
    soft : degrees, how far beyond its range the first angle is seen, frames of bones differing
    beside : of the second angle, degrees; else where a limb points, or how far a joint bends to any side
    third : degrees, as the joint reports it (signs taken off); else the twist about the child's length
    hanging : the same where the child hangs down; None: no other
    plane : degrees, how far the plane in which a person bends the joint is turned about the length, deviation
    """

    soft: float
    beside: Spread | Limb | Bend
    third: Spread
    hanging: Spread | None = None
    plane: float = 0.0

    def third_at(self, upright: float) -> Spread:
        """The third angle where the child's length is that upright, a cosine, 1 hanging down."""
        return self.third if self.hanging is None or upright < HANGING else self.hanging

    @property
    def cardan(self) -> bool:
        """Whether it is told by three Cardan angles."""
        return isinstance(self.beside, Spread)

    @property
    def constant(self) -> np.ndarray:
        """(M,) deviation of a person's own means: of the second angle, rad, or of where the limb points."""
        return self._of_means("constant")

    @property
    def piece(self) -> np.ndarray:
        """(M,) the same of a piece's mean about the person's own."""
        return self._of_means("piece")

    def _of_means(self, which: str) -> np.ndarray:
        if isinstance(self.beside, Bend):
            return np.zeros(0)
        value = getattr(self.beside, which)
        return np.radians([value]) if self.cardan else np.array(value)


# Upper arm: extension and adduction up to AAOS 1965's limits (from memory: 60°, 50°), the girdle moves too;
# hanging, swinging or working it points down and a little forward and out
UPPER_ARM = Limb(
    np.sin(np.radians(60.0)), np.sin(np.radians(45.0)), 0.15, (0.3, 0.25), (0.25, 0.2), (0.3, 0.3)
)
# Hip, knee, ankle, trunk: abduction and rotation over daily movement stay within about ±15° of their mean,
# those of a knee within ±8°, between people ±6 to 12°; means of 158 recorded motions of 18 people ± 9° in an
# ankle's rotation, ± 7° in its inversion. Neck: those turn by ± 16°, of 39 motions of six others ± 13°,
# people by ± 11°. Elbow: carrying angle 5 to 15° and constant, but in a still pose elbows hang bent by 10 to
# 30°, which tilts the forearm's unit for good. Pronation (ISB zero: palm forward): 119° in the 158 motions,
# ± 11° between them; 113 ± 14° in the 39, people and sides ± 13°, seconds of one of them ± 11° where the
# forearm hangs, ± 15 to 26° where it is raised; taken wider. Who types or pushes all along is 50° from it,
# so that habits with raised forearms are ± 30°. Wrist: its bend says nothing of how a forearm faces (in the
# 39 motions each person has an own mean, ± 26° in deviation); a hand turns little about it (there ± 10°).
# Plane in which a joint bends, turned so that the second angle varies least: hips of the six others outward
# by 11 ± 13° (root mean square 17°; by the covariance within the 158 motions 12°), ankles by 8 ± 8° (11°),
# the lumbar joint of the four who bend it 9°; the neck of four 8°, of 19 single motions 17°; knees of these
# motions are hinges, what real ones do is in their second angle. Shoulder: epicondyles sideways to 20°
# inwards; a motion's mean ± 18° in the 158, ± 21° in the 39. Motions: mocap.cs.cmu.edu; from memory where no
# other source is named.
USUAL = {
    "hip": Usual(8, Spread(0, 6, 9, 6), Spread(0, 8, 10, 7), plane=17),
    "knee": Usual(8, Spread(0, 5, 5, 4), Spread(0, 6, 7, 6)),
    "talocrural": Usual(10, Spread(0, 8, 8, 8), Spread(0, 10, 8, 8), plane=11),
    "vl5": Usual(10, Spread(0, 5, 9, 6), Spread(0, 6, 10, 8), plane=10),
    "skullbase": Usual(10, Spread(0, 6, 12, 8), Spread(0, 10, 14, 15), plane=14),
    "elbow": Usual(10, Spread(8, 15, 8, 8), Spread(116, 30, 40, 30), Spread(116, 14, 15, 20)),
    "radiocarpal": Usual(0, Bend(90, 15), Spread(0, 10, 12, 8)),
    "shoulder": Usual(0, UPPER_ARM, Spread(10, 25, 30, 30)),
}


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
