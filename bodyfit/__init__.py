"""bodyfit: the motion of a jointed body from the signals of a few worn inertial units.

The names below are loaded when first asked for, so that `import bodyfit` itself stays quick.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from . import errors as errors
    from .body import BodyModel as BodyModel
    from .capture import Capture as Capture
    from .capture import Unit as Unit
    from .comparing import Comparison as Comparison
    from .comparing_jobs import compare as compare
    from .finding import Finding as Finding
    from .fitting import Fit as Fit
    from .fitting import fit as fit
    from .formats.capture_folder import read_capture as read_capture
    from .formats.fit_folder import read_fit as read_fit
    from .formats.model_file import read_model as read_model
    from .formats.motion import read_motion as read_motion
    from .formats.plan import read_grade as read_grade
    from .formats.reference_file import read_reference as read_reference
    from .planning import Question as Question
    from .planning_jobs import plan as plan
    from .planning_search import Plan as Plan
    from .poses import PoseSequence as PoseSequence
    from .reference import Reference as Reference
    from .reviewing.review import review as review
    from .simulation import simulate as simulate

__version__ = "0.1.0"

_HOMES = {
    "BodyModel": ".body",
    "Capture": ".capture",
    "Comparison": ".comparing",
    "Finding": ".finding",
    "Fit": ".fitting",
    "Plan": ".planning_search",
    "PoseSequence": ".poses",
    "Question": ".planning",
    "Reference": ".reference",
    "Unit": ".capture",
    "compare": ".comparing_jobs",
    "fit": ".fitting",
    "plan": ".planning_jobs",
    "read_capture": ".formats.capture_folder",
    "read_fit": ".formats.fit_folder",
    "read_grade": ".formats.plan",
    "read_model": ".formats.model_file",
    "read_motion": ".formats.motion",
    "read_reference": ".formats.reference_file",
    "review": ".reviewing.review",
    "simulate": ".simulation",
}

__all__ = [
    "BodyModel",
    "Capture",
    "Comparison",
    "Finding",
    "Fit",
    "Plan",
    "PoseSequence",
    "Question",
    "Reference",
    "Unit",
    "__version__",
    "compare",
    "errors",
    "fit",
    "plan",
    "read_capture",
    "read_fit",
    "read_grade",
    "read_model",
    "read_motion",
    "read_reference",
    "review",
    "simulate",
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
