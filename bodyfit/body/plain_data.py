"""A body model as plain data, with the keys of a model file."""

from __future__ import annotations

from typing import Any

import numpy as np

from .chain import BodyModel
from .parts import Joint, Segment

# Keys that hold shares of stature, mass or length -> how many numbers
# how many numbers each has; by definition
SEGMENT_SHARES = {"length_of_stature": 1, "mass_of_body": 1, "com_of_length": 3, "gyration_of_length": 3}
JOINT_SHARES = {"centre_in_parent_of_stature": 3, "centre_in_child_of_stature": 3}  # likewise; by definition


def segment_data(segment: Segment) -> dict[str, Any]:
    """A segment by the keys of a model file, without its mesh; what is unknown is None.

    Parameters
    ----------
    segment : metres, kilograms

    Returns
    -------
    key -> number, array, text or None
    """
    return {
        "length_m": segment.length,
        "mass_kg": segment.mass,
        "com_m": segment.com,
        "inertia_kgm2": segment.inertia,
        **{key: getattr(segment, key) for key in SEGMENT_SHARES},
        "source": segment.source,
    }


def joint_data(joint: Joint) -> dict[str, Any]:
    """A joint by the keys of a model file; what is unknown is None.

    Parameters
    ----------
    joint : metres, radians

    Returns
    -------
    key -> number, array, text, dict or None; ranges and stiffness in degrees
    """
    return {
        **{key: getattr(joint, key) for key in ("parent", "child", "type", "axis")},
        "centre_in_parent_m": joint.centre_in_parent,
        "centre_in_child_m": joint.centre_in_child,
        **{key: getattr(joint, key) for key in (*JOINT_SHARES, "sequence", "angles", "signs")},
        "range_deg": {name: degrees(pair) for name, pair in joint.range.items()},
        "range_source": joint.range_source,
        "stiffness": {name: degrees(value) for name, value in joint.stiffness.items()},
        "source": joint.source,
    }


def body_data(model: BodyModel) -> dict[str, Any]:
    """A whole body model as JSON-ready data; `formats.model_file.model_from_data` reads it back.

    Parameters
    ----------
    model : any; meshes are left out

    Returns
    -------
    {"name", "source", "segments", "joints"}, without keys whose value is unknown
    """
    return {
        "name": model.name,
        **({"source": model.source} if model.source else {}),
        "segments": {name: _json_ready(segment_data(s)) for name, s in model.segments.items()},
        "joints": {name: _json_ready(joint_data(j)) for name, j in model.joints.items()},
    }


def _json_ready(value: Any) -> Any:
    """Lists for arrays and tuples; unknown and empty values gone."""
    if isinstance(value, dict):
        return {
            k: _json_ready(v)
            for k, v in value.items()
            if v is not None and not (isinstance(v, str) and not v)
        }
    if isinstance(value, np.ndarray | np.generic):
        return value.tolist()
    return [_json_ready(v) for v in value] if isinstance(value, tuple | list) else value


def degrees(value: Any) -> Any:
    """Degrees without the last digits that the way through radians leaves: 150, not 150.00000000000003."""
    return np.round(np.rad2deg(value), 12)
