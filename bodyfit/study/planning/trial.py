"""One simulated recording of a set of worn units, solved, and its errors."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from functools import lru_cache

import numpy as np
from scipy.spatial.transform import Rotation

from ...body.motion.joint_angles import wrap
from ...body.motion.poses import PoseSequence
from ...errors import BodyfitError
from ...fitting.fit import motion_alone
from ...recording.capture import Capture
from ...simulation.simulate import Simulated, simulate
from ...weights import Weights
from .information_bound import angle_bound, clear_of_lock
from .question import Question, WornSet

UNKNOWN = math.pi  # rad, error of an angle that no solution gives
LEAST_MOUNTING = math.radians(0.01)  # rad, by reasoning: as good as none
# simulated recordings held in memory: that of the bounds, and the first of every set; as ROUND of search.py
KEPT = 13
BOUND_SEED = 0  # bounds hardly depend on the draw; one for all keeps the order of sets the same


# ---- one recording simulated ----


def drawn(question: Question, worn: WornSet, seed: int) -> tuple[Simulated, Capture]:
    """A recording of these units, mountings stated as badly as asked; a unit's errors go by its segment."""
    made = _everywhere(question, seed)
    units = {}
    for segment, sensors in worn.worn:
        name = f"{segment}_unit"
        rng = np.random.default_rng([seed, *b"stated mounting", *name.encode()])
        off = Rotation.from_rotvec(question.mounting_sd * rng.standard_normal(3))
        stated = (off * made.units[name].mounting).as_quat()
        units[name] = dataclasses.replace(made.capture.units[name], mounting=stated).only(frozenset(sensors))
    return made, dataclasses.replace(made.capture, units=units)


@lru_cache(KEPT)
def _everywhere(question: Question, seed: int) -> Simulated:
    """A recording with a unit on every segment that may carry one: sets of units differ only in which."""
    return simulate(question.motion, question.segments, question.settings, seed)


def bound(question: Question, worn: WornSet) -> dict[str, float]:
    """Information bound of every angle under tolerance, "joint.angle" -> rad."""
    made, capture = drawn(question, worn, BOUND_SEED)
    return _asked(question, angle_bound(made, capture, question.mounting_sd))


def trial(question: Question, worn: WornSet, number: int) -> dict[str, float]:
    """Error of every angle under tolerance in one simulated recording, root mean square over time.

    Parameters
    ----------
    question, worn : what is asked, and the set that is tried
    number : of the recording, from 0; the same number draws the same errors for every set

    Returns
    -------
    "joint.angle" -> rad; π where there is no solution; "slips" -> slips that were found, though none happened
    """
    made, capture = drawn(question, worn, 1000 * question.seed + number + 1)
    weights = dataclasses.replace(Weights(), mounting=max(question.mounting_sd, LEAST_MOUNTING))
    try:
        found, slips = motion_alone(capture, weights)
    except BodyfitError:
        return {f"{joint}.{angle}": UNKNOWN for joint, angle in question.tolerance} | {"slips": 0.0}
    return _asked(question, angle_errors(found, made.truth)) | {"slips": float(len(slips))}


def angle_errors(found: PoseSequence, truth: PoseSequence) -> dict[str, dict[str, float]]:
    """Joint -> angle -> rad, root mean square error; NaN where it is next to gimbal lock throughout."""
    out = {}
    inside = (found.time >= truth.time[0]) & (found.time <= truth.time[-1])
    nearest = np.searchsorted(truth.time, found.time[inside] - 1e-6).clip(0, len(truth.time) - 1)
    for name, joint in truth.model.joints.items():
        true = {a: np.unwrap(v) for a, v in truth.joint_angles[name].items()}
        clear = clear_of_lock(joint, true)[nearest]
        out[name] = {}
        for a, values in true.items():
            off = wrap(
                found.joint_angles[name][a][inside] - np.interp(found.time[inside], truth.time, values)
            )
            out[name][a] = float(np.sqrt(np.mean(off[clear] ** 2))) if clear.any() else math.nan
    return out


def _asked(question: Question, angles: Mapping[str, Mapping[str, float]]) -> dict[str, float]:
    """Those under tolerance that mean something."""
    named = {f"{joint}.{angle}": angles[joint][angle] for joint, angle in question.tolerance}
    return {name: value for name, value in named.items() if math.isfinite(value)}
