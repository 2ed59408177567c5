"""What a whole fit tells of itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from ..body.anatomy import ELEVATION_SIGN
from ..body.motion.joint_limits.report import StrictRanges
from ..core.cards import Card, Shown, counted, decimals
from ..recording.capture import CaptureFiles
from ..recording.trials import Trial
from .joints import JointFigures
from .kinds import Figure, Span
from .units import ClockFigures, SlipFigures, UnitFigures

FOLLOWED = "followed from the standing foot"
NOT_FOLLOWED = "kept at zero"
BY_BOTH_FEET = "followed from the paths of both feet"
NORTH = "magnetic north is +X"


@dataclass(frozen=True)
class FitOptions:
    """The call of a fit.

    Attributes
    ----------
    sensors : that were to be used; None: all that are there and trusted
    alone : each unit by itself
    leave_out : units treated as not worn
    strict_ranges : joint ranges hold exactly
    assign : "given" or "auto": where units are worn
    usual_postures : whether joints beside segments without a unit were believed to be where they usually are
    same_person : capture of the earlier fit that lent lengths and usual postures; None: none did
    """

    sensors: tuple[str, ...] | None
    alone: bool
    leave_out: tuple[str, ...]
    strict_ranges: bool
    assign: Literal["given", "auto"]
    usual_postures: bool
    same_person: str | None


@dataclass(frozen=True)
class TrialFigures:
    """One recording of several in a capture.

    Attributes
    ----------
    name : as in setup.toml
    start_s, end_s : first and last stamp, s of the capture's clock
    start_time : moment of the first stamp in ISO 8601; None where stamps are no dates
    """

    name: str
    start_s: float
    end_s: float
    start_time: str | None

    def __post_init__(self) -> None:
        if self.start_time is not None:
            datetime.fromisoformat(self.start_time)  # refuses what is no moment

    @classmethod
    def of(cls, trial: Trial) -> TrialFigures:
        """The figures of a trial."""
        moment = None if trial.start_time is None else trial.start_time.isoformat()
        return cls(trial.name, float(trial.start), float(trial.end), moment)

    @property
    def trial(self) -> Trial:
        """The trial."""
        moment = None if self.start_time is None else datetime.fromisoformat(self.start_time)
        return Trial(self.name, self.start_s, self.end_s, moment)


@dataclass(frozen=True)
class SamplingFigures:
    """The frames of a fit.

    Attributes
    ----------
    start_s, end_s : first and last frame, s of the capture's clock
    frequency_hz : frames a second
    frames : how many
    stretches_s : [start, end] of stretches that pauses of all units split the output into
    inferred_s : segment -> [start, end] in which its unit was not measured and only neighbours hold it
    keyframe_hz : instants a second at which the motion was solved
    start_time : moment from which time counts, ISO 8601; None: not known
    trials : recordings that the capture was joined from; empty: it is one
    """

    start_s: float
    end_s: float
    frequency_hz: float
    frames: int
    stretches_s: tuple[Span, ...]
    inferred_s: Mapping[str, tuple[Span, ...]]
    keyframe_hz: float
    start_time: str | None
    trials: tuple[TrialFigures, ...]


@dataclass(frozen=True)
class ModelFigures:
    """The body model that was used.

    Attributes
    ----------
    name : of the model
    segments, joints : how many
    segments_without_unit : names
    """

    name: str
    segments: int
    joints: int
    segments_without_unit: tuple[str, ...]


@dataclass(frozen=True)
class EarthFieldFigures:
    """The Earth's field at the capture's place.

    Attributes
    ----------
    norm_ut : strength, µT
    dip_deg : into the ground, degrees
    model : of the field, "WMM-2025"
    year : decimal year that it was evaluated at
    note : what was assumed about the date; None: nothing
    """

    norm_ut: float
    dip_deg: float
    model: str
    year: float
    note: str | None


@dataclass(frozen=True)
class HeadingFigures:
    """What +X of the world is.

    Attributes
    ----------
    reference : in words
    facing_from : where the heading of the calibration pose comes from
    declination_deg : of magnetic north from true north, positive to the east, degrees; None without a place
    earth_field : at the capture's place; None without one
    """

    reference: str
    facing_from: str
    declination_deg: float | None = None
    earth_field: EarthFieldFigures | None = None

    @property
    def to_north(self) -> bool:
        """Whether +X is magnetic north."""
        return self.reference == NORTH


@dataclass(frozen=True)
class SolverFigures:
    """How the solver ended.

    Attributes
    ----------
    iterations : steps taken
    converged : whether the last step was small, or no longer changed the cost
    cost : half the sum of squared weighted residuals
    last_step_deg : root mean square of the turns of the last step, degrees
    other_start_cost : where units may face two ways that are about as likely, the cost from the other one,
        which explains the recording less well; None: one way is the likeliest
    """

    iterations: int
    converged: bool
    cost: Figure
    last_step_deg: Figure
    other_start_cost: Figure | None = None


@dataclass(frozen=True)
class SegmentFigures:
    """How long a segment is.

    Attributes
    ----------
    length_m, length_sd_m : m
    length_source : "measured", "earlier fit", "stature", "model", "motion", or two of them
    """

    length_m: float
    length_sd_m: float
    length_source: str


@dataclass(frozen=True)
class RootPathFigures:
    """How sure the root's place is that was followed from both feet.

    Attributes
    ----------
    time_s : some instants, s of the capture's clock
    horizontal_sd_m, height_sd_m : standard deviation at each of them, of one horizontal axis and of height, m
    stride_length_sd_m : standard deviation of the length of a stride, median over those of the worn feet
    belt_speed_m_s : of a declared treadmill, whose belt's way is not in the path; None: over ground
    """

    time_s: tuple[float, ...]
    horizontal_sd_m: tuple[Figure, ...]
    height_sd_m: tuple[Figure, ...]
    stride_length_sd_m: Figure = None
    belt_speed_m_s: Figure = None


@dataclass(frozen=True, repr=False)
class Summary(Shown):
    """What a fit tells of itself; summary.json holds it under the same names.

    Attributes
    ----------
    bodyfit_version : that made the fit
    capture : its title, or where it was read from
    options : of the call
    sampling : frames
    model : of the body, in short
    heading : what +X of the world is
    root_position : what the root's place was followed from, or that it was kept at zero
    units : worn unit -> what was used and found
    joints : joint -> geometry, agreement, heading, angles
    segments : segment -> length; only those of which anything is known
    residuals : name -> root mean square, in the unit of each (rad, rad/s, m/s, m/s²)
    gyroscope_latency_s : by which gyroscopes are behind accelerometers, s
    clocks : unit -> what was taken off its time stamps, where anything was
    solver : how it ended
    wall_time_s : s
    slips : of units on their segments, that were taken off
    strict_ranges : what holding the joint ranges changed; None where they were not to hold
    root_path : how sure the root's place is; None where it was not followed from both feet
    recording : files that the capture was read from; None: it was not read from a folder of its own
    """

    bodyfit_version: str
    capture: str
    options: FitOptions
    sampling: SamplingFigures
    model: ModelFigures
    heading: HeadingFigures
    root_position: Literal[
        "followed from the standing foot", "followed from the paths of both feet", "kept at zero"
    ]
    units: Mapping[str, UnitFigures]
    joints: Mapping[str, JointFigures]
    segments: Mapping[str, SegmentFigures]
    residuals: Mapping[str, Figure]
    gyroscope_latency_s: float
    clocks: Mapping[str, ClockFigures]
    solver: SolverFigures
    wall_time_s: float
    slips: tuple[SlipFigures, ...]
    strict_ranges: StrictRanges | None = None
    root_path: RootPathFigures | None = None
    recording: CaptureFiles | None = None

    @property
    def inferred_joints(self) -> tuple[str, ...]:
        """Joints with no unit on one side: nothing measured them."""
        return tuple(name for name, joint in self.joints.items() if joint.inferred)

    @property
    def root_followed(self) -> bool:
        """Whether the path of the body was followed from its feet."""
        return self.root_position != NOT_FOLLOWED

    def _card(self) -> Card:
        taken, solver = self.sampling, self.solver
        steps = f"{solver.iterations} iterations, {decimals(self.wall_time_s, 1)} s"
        body = f"body {self.model.name}, {counted(self.model.segments, 'segment')}"
        span = f"{taken.start_s:.2f} to {taken.end_s:.2f} s"
        since = f" from {taken.start_time}" if taken.start_time else ""
        facts = (
            f"{body}; heading: {self.heading.reference}",
            f"{taken.frames} frames at {taken.frequency_hz:.1f} Hz, {span}{since}",
            f"solver {steps}{'' if solver.converged else '; NOT CONVERGED: bands are widened'}",
        )
        measured = {name: joint for name, joint in self.joints.items() if not joint.inferred}
        rows = tuple((name, _heading(joint), _spans(joint)) for name, joint in measured.items())
        title = f"Fit: {self.capture or 'no title'}"
        if any("elevation" in joint.angles for joint in measured.values()):
            facts = (*facts, ELEVATION_SIGN)
        return Card(title, facts, ("joint", ">heading ± °", "angles, from to °"), rows)


def _heading(joint: JointFigures) -> str:
    told = joint.heading
    return "unknown" if told and not told.determined else decimals(told and told.relative_heading_sd_deg, 1)


def _spans(joint: JointFigures) -> str:
    """The least and the most of every angle in one line."""
    spans = {name.replace("_", " "): (one.min_deg, one.max_deg) for name, one in joint.angles.items()}
    return ", ".join(
        f"{name} {decimals(low, 0)} to {decimals(high, 0)}" for name, (low, high) in spans.items()
    )
