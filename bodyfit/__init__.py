"""bodyfit: the motion of a jointed body from the signals of a few worn inertial units.

The names below are loaded when first asked for, so that `import bodyfit` itself stays quick.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from .version import __version__

if TYPE_CHECKING:
    from . import errors as errors
    from .body.chain import BodyModel as BodyModel
    from .body.motion.joint_limits.report import ExceededRange as ExceededRange
    from .body.motion.joint_limits.report import StrictRanges as StrictRanges
    from .body.motion.poses import PoseSequence as PoseSequence
    from .body.parts import Joint as Joint
    from .body.parts import Segment as Segment
    from .body.person import Person as Person
    from .body.usual_postures import UsualPosture as UsualPosture
    from .core.findings import Finding as Finding
    from .core.findings import Findings as Findings
    from .estimator.uncertainty.segments import SegmentSureness as SegmentSureness
    from .files.capture.folder import read_capture as read_capture
    from .files.exchange.export import Exported as Exported
    from .files.exchange.export import export as export
    from .files.model.model_file import read_model as read_model
    from .files.motion.motion_file import read_motion as read_motion
    from .fitting.fit import fit as fit
    from .fitting.result import Fit as Fit
    from .fitting.result import read_fit as read_fit
    from .movement.activities.chain.timeline import ActivityStretch as ActivityStretch
    from .movement.activities.chain.timeline import Share as Share
    from .movement.activities.result import Activities as Activities
    from .movement.activities.tell import activities as activities
    from .movement.cycles.curves import Cycles as Cycles
    from .movement.cycles.left_right import LeftRight as LeftRight
    from .movement.cycles.of_strides import StrideCycles as StrideCycles
    from .movement.cycles.of_strides import cycles_of_strides as cycles_of_strides
    from .movement.cycles.plots import plot_cycles as plot_cycles
    from .movement.cycles.sides import Symmetry as Symmetry
    from .movement.cycles.sides import stride_cycles as stride_cycles
    from .movement.cycles.sides import symmetries as symmetries
    from .movement.repetitions.convolutions import Convolutions as Convolutions
    from .movement.repetitions.find import repetitions as repetitions
    from .movement.repetitions.naming import KnownMovements as KnownMovements
    from .movement.repetitions.naming import known_movements as known_movements
    from .movement.repetitions.result import Repetition as Repetition
    from .movement.repetitions.result import Repetitions as Repetitions
    from .movement.strides.path_plot import plot_path as plot_path
    from .movement.strides.result import Event as Event
    from .movement.strides.result import FootTrack as FootTrack
    from .movement.strides.result import Stride as Stride
    from .movement.strides.result import Strides as Strides
    from .movement.strides.strides import strides as strides
    from .recording.capture import Calibration as Calibration
    from .recording.capture import Capture as Capture
    from .recording.capture import CaptureFiles as CaptureFiles
    from .recording.capture import Place as Place
    from .recording.capture import Unit as Unit
    from .recording.trials import Trial as Trial
    from .results.fit_like import FitLike as FitLike
    from .results.fit_like import SegmentSd as SegmentSd
    from .results.joints import AngleFigures as AngleFigures
    from .results.joints import HingeFigures as HingeFigures
    from .results.joints import JointCentreFigures as JointCentreFigures
    from .results.joints import JointFigures as JointFigures
    from .results.joints import JointHeadingFigures as JointHeadingFigures
    from .results.summary import EarthFieldFigures as EarthFieldFigures
    from .results.summary import FitOptions as FitOptions
    from .results.summary import HeadingFigures as HeadingFigures
    from .results.summary import ModelFigures as ModelFigures
    from .results.summary import RootPathFigures as RootPathFigures
    from .results.summary import SamplingFigures as SamplingFigures
    from .results.summary import SegmentFigures as SegmentFigures
    from .results.summary import SolverFigures as SolverFigures
    from .results.summary import Summary as Summary
    from .results.summary import TrialFigures as TrialFigures
    from .results.units import ClockFigures as ClockFigures
    from .results.units import MagnetometerFigures as MagnetometerFigures
    from .results.units import SlipFigures as SlipFigures
    from .results.units import UnitFigures as UnitFigures
    from .simulation.grades import read_grade as read_grade
    from .simulation.room_field import Dipole as Dipole
    from .simulation.room_field import MagneticField as MagneticField
    from .simulation.sensor_errors import SensorError as SensorError
    from .simulation.settings import SimulationSettings as SimulationSettings
    from .simulation.simulate import Simulated as Simulated
    from .simulation.simulate import UnitTruth as UnitTruth
    from .simulation.simulate import simulate as simulate
    from .simulation.unit_path import WornUnit as WornUnit
    from .study.accuracy.recording_conditions import Circumstances as Circumstances
    from .study.accuracy.reference import Reference as Reference
    from .study.accuracy.reference_file import read_reference as read_reference
    from .study.accuracy.scores import Score as Score
    from .study.comparison.cases import Case as Case
    from .study.comparison.compare import Comparison as Comparison
    from .study.comparison.compare import compare as compare
    from .study.comparison.result import CaseResult as CaseResult
    from .study.planning.answer import Plan as Plan
    from .study.planning.plan import plan as plan
    from .study.planning.question import Question as Question
    from .study.planning.question import WornSet as WornSet
    from .study.planning.set_result import SetResult as SetResult
    from .study.review.review import review as review
    from .weights import Weights as Weights

_HOMES = {
    "Activities": ".movement.activities.result",
    "ActivityStretch": ".movement.activities.chain.timeline",
    "AngleFigures": ".results.joints",
    "BodyModel": ".body.chain",
    "Calibration": ".recording.capture",
    "Capture": ".recording.capture",
    "CaptureFiles": ".recording.capture",
    "Case": ".study.comparison.cases",
    "CaseResult": ".study.comparison.result",
    "Circumstances": ".study.accuracy.recording_conditions",
    "ClockFigures": ".results.units",
    "Comparison": ".study.comparison.compare",
    "Convolutions": ".movement.repetitions.convolutions",
    "Cycles": ".movement.cycles.curves",
    "Dipole": ".simulation.room_field",
    "EarthFieldFigures": ".results.summary",
    "Event": ".movement.strides.result",
    "ExceededRange": ".body.motion.joint_limits.report",
    "Exported": ".files.exchange.export",
    "Finding": ".core.findings",
    "Findings": ".core.findings",
    "Fit": ".fitting.result",
    "FitLike": ".results.fit_like",
    "FitOptions": ".results.summary",
    "FootTrack": ".movement.strides.result",
    "HeadingFigures": ".results.summary",
    "HingeFigures": ".results.joints",
    "Joint": ".body.parts",
    "JointCentreFigures": ".results.joints",
    "JointFigures": ".results.joints",
    "JointHeadingFigures": ".results.joints",
    "KnownMovements": ".movement.repetitions.naming",
    "LeftRight": ".movement.cycles.left_right",
    "MagneticField": ".simulation.room_field",
    "MagnetometerFigures": ".results.units",
    "ModelFigures": ".results.summary",
    "Person": ".body.person",
    "Place": ".recording.capture",
    "Plan": ".study.planning.answer",
    "PoseSequence": ".body.motion.poses",
    "Question": ".study.planning.question",
    "Reference": ".study.accuracy.reference",
    "Repetition": ".movement.repetitions.result",
    "Repetitions": ".movement.repetitions.result",
    "RootPathFigures": ".results.summary",
    "SamplingFigures": ".results.summary",
    "Score": ".study.accuracy.scores",
    "Segment": ".body.parts",
    "SegmentFigures": ".results.summary",
    "SegmentSd": ".results.fit_like",
    "SegmentSureness": ".estimator.uncertainty.segments",
    "SensorError": ".simulation.sensor_errors",
    "SetResult": ".study.planning.set_result",
    "Share": ".movement.activities.chain.timeline",
    "Simulated": ".simulation.simulate",
    "SimulationSettings": ".simulation.settings",
    "SlipFigures": ".results.units",
    "SolverFigures": ".results.summary",
    "StrictRanges": ".body.motion.joint_limits.report",
    "Stride": ".movement.strides.result",
    "StrideCycles": ".movement.cycles.of_strides",
    "Strides": ".movement.strides.result",
    "Summary": ".results.summary",
    "Symmetry": ".movement.cycles.sides",
    "Trial": ".recording.trials",
    "TrialFigures": ".results.summary",
    "Unit": ".recording.capture",
    "UnitFigures": ".results.units",
    "UnitTruth": ".simulation.simulate",
    "UsualPosture": ".body.usual_postures",
    "Weights": ".weights",
    "WornSet": ".study.planning.question",
    "WornUnit": ".simulation.unit_path",
    "activities": ".movement.activities.tell",
    "compare": ".study.comparison.compare",
    "cycles_of_strides": ".movement.cycles.of_strides",
    "export": ".files.exchange.export",
    "fit": ".fitting.fit",
    "known_movements": ".movement.repetitions.naming",
    "plan": ".study.planning.plan",
    "plot_cycles": ".movement.cycles.plots",
    "plot_path": ".movement.strides.path_plot",
    "read_capture": ".files.capture.folder",
    "read_fit": ".fitting.result",
    "read_grade": ".simulation.grades",
    "read_model": ".files.model.model_file",
    "read_motion": ".files.motion.motion_file",
    "read_reference": ".study.accuracy.reference_file",
    "repetitions": ".movement.repetitions.find",
    "review": ".study.review.review",
    "simulate": ".simulation.simulate",
    "stride_cycles": ".movement.cycles.sides",
    "strides": ".movement.strides.strides",
    "symmetries": ".movement.cycles.sides",
}

__all__ = [
    "Activities",
    "ActivityStretch",
    "AngleFigures",
    "BodyModel",
    "Calibration",
    "Capture",
    "CaptureFiles",
    "Case",
    "CaseResult",
    "Circumstances",
    "ClockFigures",
    "Comparison",
    "Convolutions",
    "Cycles",
    "Dipole",
    "EarthFieldFigures",
    "Event",
    "ExceededRange",
    "Exported",
    "Finding",
    "Findings",
    "Fit",
    "FitLike",
    "FitOptions",
    "FootTrack",
    "HeadingFigures",
    "HingeFigures",
    "Joint",
    "JointCentreFigures",
    "JointFigures",
    "JointHeadingFigures",
    "KnownMovements",
    "LeftRight",
    "MagneticField",
    "MagnetometerFigures",
    "ModelFigures",
    "Person",
    "Place",
    "Plan",
    "PoseSequence",
    "Question",
    "Reference",
    "Repetition",
    "Repetitions",
    "RootPathFigures",
    "SamplingFigures",
    "Score",
    "Segment",
    "SegmentFigures",
    "SegmentSd",
    "SegmentSureness",
    "SensorError",
    "SetResult",
    "Share",
    "Simulated",
    "SimulationSettings",
    "SlipFigures",
    "SolverFigures",
    "StrictRanges",
    "Stride",
    "StrideCycles",
    "Strides",
    "Summary",
    "Symmetry",
    "Trial",
    "TrialFigures",
    "Unit",
    "UnitFigures",
    "UnitTruth",
    "UsualPosture",
    "Weights",
    "WornSet",
    "WornUnit",
    "__version__",
    "activities",
    "compare",
    "cycles_of_strides",
    "errors",
    "export",
    "fit",
    "known_movements",
    "plan",
    "plot_cycles",
    "plot_path",
    "read_capture",
    "read_fit",
    "read_grade",
    "read_model",
    "read_motion",
    "read_reference",
    "repetitions",
    "review",
    "simulate",
    "stride_cycles",
    "strides",
    "symmetries",
]


def __getattr__(name: str) -> Any:
    """The public object of that name, imported now and kept."""
    if name == "errors":
        return importlib.import_module(".errors", __name__)
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(importlib.import_module(_HOMES[name], __name__), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
