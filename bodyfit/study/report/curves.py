"""The report's curves: joint angles and their spread, thinned and packed for drawing."""

from __future__ import annotations

import base64
from typing import Any

import numpy as np

from ...body.anatomy import mirrored, spoken
from ...core.angles import is_known, unwrapped
from ...results.joints import AngleFigures
from ...results.kinds import Span
from ...results.summary import Summary
from .files import FitFiles
from .findings import joints_of
from .words import side_of, spaced

CURVES_PER_SECOND = 30.0  # about, at most; the tables use every frame
SLACK = 0.02  # a clock of 60.1 Hz counts as one of 60
FRAMES_PER_SPREAD = 5  # the spread changes slowly: the widest of five frames drawn
PER_DEGREE = 50.0  # whole numbers of 0.02°, up to ±655°; coarser where an angle turns on and on
MISSING = -32768


def curves(files: FitFiles) -> dict[str, Any]:
    """What the page's script draws, ready for JSON; arrays as base64 of little-endian numbers."""
    keep = _frames_kept(files.time)
    return {
        "time": _packed(files.time[keep].astype("<f4")),
        "framesPerSpread": FRAMES_PER_SPREAD,
        "joints": [_joint(files, joint, keep) for joint in files.angles],
        "findings": [
            {
                "severity": found.severity,
                "start": found.start,
                "end": found.end,
                "what": files.names.within(found.what),
                "joints": joints_of(found, files.summary),
            }
            for found in files.findings
        ],
        "stretches": [
            {"label": label, "spans": spans} for label, spans in _stretches(files.summary).items() if spans
        ],
    }


def _stretches(summary: Summary) -> dict[str, list[Span]]:
    """(start, end) s where any unit lacks samples, or doubts the field."""
    units = summary.units.values()
    return {
        "no samples": [span for unit in units for span in unit.gaps],
        "field doubted": [span for unit in units for span in unit.field_untrusted_s or ()],
    }


def curves_per_second(time: np.ndarray) -> float:
    """Frames a second that the curves keep.

    Parameters
    ----------
    time : (T,) s

    Returns
    -------
    Hz
    """
    kept = time[_frames_kept(time)]
    return float((len(kept) - 1) / (kept[-1] - kept[0])) if len(kept) > 1 else 0.0


def _frames_kept(time: np.ndarray) -> slice:
    step = float(np.median(np.diff(time))) if len(time) > 1 else 1.0
    return slice(None, None, max(1, int(np.ceil(1 / (CURVES_PER_SECOND * step) - SLACK))))


def _joint(files: FitFiles, joint: str, keep: slice) -> dict[str, Any]:
    told, twin = files.summary.joints[joint], mirrored(joint)
    spread = files.angle_sd[joint]
    return {
        "name": joint,
        "label": spoken(joint),
        "side": side_of(joint),
        "sequence": told.sequence,
        "twin": twin if twin in files.angles else None,
        "angles": [
            _angle(angle, values, spread.get(angle), keep, told.angles[angle])
            for angle, values in files.angles[joint].items()
        ],
    }


def _angle(
    name: str, values: np.ndarray, spread: np.ndarray | None, keep: slice, told: AngleFigures
) -> dict[str, Any]:
    degrees = np.degrees(unwrapped(np.where(is_known(spread, values), values, np.nan)))[keep]
    most = np.nanmax(np.abs(degrees), initial=0.0)
    per_degree = min(PER_DEGREE, -(MISSING + 1) / max(most, 1.0))
    return {
        "name": name,
        "label": spaced(name),
        "perDegree": per_degree,
        "values": _packed(_whole(degrees, per_degree)),
        "spread": None if spread is None else _packed(_whole(np.degrees(_widest(spread[keep])), PER_DEGREE)),
        "range": told.range_deg,
    }


def _widest(spread: np.ndarray) -> np.ndarray:
    """The largest of each few frames; unknown ones do not count."""
    rows = -(-len(spread) // FRAMES_PER_SPREAD)
    padded = np.full(rows * FRAMES_PER_SPREAD, -np.inf)
    padded[: len(spread)] = np.where(np.isfinite(spread), spread, -np.inf)
    return padded.reshape(rows, -1).max(axis=1)


def _whole(degrees: np.ndarray, per_degree: float) -> np.ndarray:
    """Degrees as whole parts of one; what is not finite as MISSING."""
    known = np.isfinite(degrees)
    scaled = np.round(per_degree * np.where(known, degrees, 0.0))
    return np.where(known, np.clip(scaled, MISSING + 1, -MISSING - 1), MISSING).astype("<i2")


def _packed(array: np.ndarray) -> str:
    return base64.b64encode(array.tobytes()).decode()
