"""What a fit found of each joint."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from .kinds import BESIDE, Figure, Range, Vector


@dataclass(frozen=True)
class AngleFigures:
    """One joint angle over the whole capture.

    Attributes
    ----------
    min_deg, max_deg : least and most while it is known, degrees, without jumps of a turn; None: never known
    range_deg : [low, high] of the body model, degrees; None where it gives none
    """

    min_deg: Figure
    max_deg: Figure
    range_deg: Range | None = None


@dataclass(frozen=True)
class JointCentreFigures:
    """Where a joint's centre lies, seen from the two units beside it.

    Attributes
    ----------
    lever_arm_parent_m : (3,) from the origin of the parent's unit to the joint, frame of that unit, m
    lever_arm_child_m : (3,) from the origin of the child's unit to the joint, frame of that unit, m
    lever_arm_sd_m : (6,) standard deviations of the two, the parent's first, m
    lever_arm_source : what they rest on: "motion", or "motion and body size"
    residual_m_s2 : root mean square by which the two units disagree about the centre's acceleration, m/s²
    """

    lever_arm_parent_m: Vector
    lever_arm_child_m: Vector
    lever_arm_sd_m: tuple[Figure, Figure, Figure, Figure, Figure, Figure]
    lever_arm_source: str
    residual_m_s2: Figure


@dataclass(frozen=True)
class HingeFigures:
    """The axis of a hinge.

    Attributes
    ----------
    hinge_axis_parent, hinge_axis_child : (3,) direction of length one, frame of the parent and of the child
    hinge_axis_sd_deg : standard deviation of the direction, degrees
    hinge_play_deg : how far the joint turns about other axes, standard deviation, degrees
    """

    hinge_axis_parent: Vector
    hinge_axis_child: Vector
    hinge_axis_sd_deg: Figure
    hinge_play_deg: Figure


@dataclass(frozen=True)
class JointHeadingFigures:
    """How well the child's heading is known against its parent's.

    Attributes
    ----------
    relative_heading_sd_deg : standard deviation, degrees; None: nothing shows it
    determined : whether it is known, and both segments carry a unit
    note : what is not determined, and what to do; None: nothing to say
    """

    relative_heading_sd_deg: Figure
    determined: bool
    note: str | None


@dataclass(frozen=True)
class JointFigures:
    """One joint.

    Attributes
    ----------
    type : hinge, universal, ball or fixed
    parent, child : segments
    angles : angle name -> least, most and range
    range_source : where the ranges come from; None: there are none, or the model does not say
    inferred : no unit is on one side of it, so that nothing measured it
    sequence : intrinsic axes of its angles, parent to child, e.g. "ZXY"; empty in files of earlier versions
    centre : where it lies; None where it was not solved for
    hinge : its axis; None where it has none, or the motion does not show it
    heading : of the child against the parent; None where each unit was solved by itself
    """

    type: Literal["hinge", "universal", "ball", "fixed"]
    parent: str
    child: str
    angles: Mapping[str, AngleFigures]
    range_source: str | None
    inferred: bool
    sequence: str = ""
    centre: JointCentreFigures | None = field(default=None, metadata=BESIDE)
    hinge: HingeFigures | None = field(default=None, metadata=BESIDE)
    heading: JointHeadingFigures | None = field(default=None, metadata=BESIDE)
