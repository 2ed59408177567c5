"""Words of BIDS-Motion: channel types, units, labels, and how tracked points are called.

BIDS 1.10, "Motion": bids-specification.readthedocs.io, modality-specific files.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from ....recording.stamp_rate import usual_step

BIDS_VERSION = "1.10.0"
CHANNEL_TYPES = {"accelerometer": "ACCEL", "gyroscope": "GYRO", "magnetometer": "MAGN", "orientation": "ORNT"}
WRITTEN_UNITS = {"accelerometer": "m/s^2", "gyroscope": "rad/s", "magnetometer": "T", "orientation": "n/a"}
COUNTED = ("ACCEL", "ANGACCEL", "GYRO", "JNTANG", "LATENCY", "MAGN", "MISC", "ORNT", "POS", "VEL")
UNTOLD = (  # recommended words of a sidecar that neither a capture nor a fit knows
    *("Instructions", "Manufacturer", "ManufacturersModelName", "DeviceSerialNumber"),
    *("InstitutionName", "InstitutionAddress", "InstitutionalDepartmentName", "SubjectArtefactDescription"),
)
QUATERNION = ("quat_x", "quat_y", "quat_z", "quat_w")
AXES = ("x", "y", "z")
SIDES = {"left": "l_", "right": "r_"}
# free words for where a unit is worn -> segment; only those that mean one segment (from memory)
PLACES = {
    "foot": "hindfoot",
    "hindfoot": "hindfoot",
    "shank": "calf",
    "calf": "calf",
    "lowerleg": "calf",
    "thigh": "thigh",
    "upperleg": "thigh",
    "hand": "hand",
    "wrist": "forearm",
    "forearm": "forearm",
    "lowerarm": "forearm",
    "upperarm": "upperarm",
}
MIDDLE = {
    "pelvis": "pelvis",
    "sacrum": "pelvis",
    "thorax": "thorax",
    "sternum": "thorax",
    "chest": "thorax",
    "head": "skull",
    "skull": "skull",
}


def components(sensor: str) -> tuple[str, ...]:
    """The components of a sensor's channels, in the order of its columns."""
    return QUATERNION if sensor == "orientation" else AXES


def recording_words(title: str, system: str, time: np.ndarray, kinds: Sequence[str]) -> dict[str, Any]:
    """What a motion.json says of a recording: task, rate, length, channels; n/a for what isn't known.

    Parameters
    ----------
    title : of the task, in words
    system : name of the tracking system
    time : (T,) s
    kinds : type of each channel

    Returns
    -------
    key of motion.json -> value
    """
    length = float(time[-1] - time[0])
    return {
        "TaskName": title,
        "TaskDescription": title,
        "TrackingSystemName": system,
        "SamplingFrequency": round(1 / usual_step(time), 6),
        "SamplingFrequencyEffective": (len(time) - 1) / length,
        "RecordingDuration": length,
        "RecordingType": "continuous",
        "MissingValues": "n/a",
        "MotionChannelCount": len(kinds),
        **{f"{kind}ChannelCount": kinds.count(kind) for kind in COUNTED},
        **{word: "n/a" for word in UNTOLD},
    }


def label(text: str, taken: Iterable[str] = (), otherwise: str = "movement") -> str:
    """A BIDS label, letters and digits only, unlike those that are taken.

    Parameters
    ----------
    text : any words, e.g. "Right arm, bowing"; they become "rightArmBowing"
    taken : labels that are used already
    otherwise : where no letter or digit is left
    """
    words = re.findall(r"[A-Za-z0-9]+", text)
    joined = "".join([words[0], *(word[0].upper() + word[1:] for word in words[1:])]) if words else otherwise
    used, number, made = set(taken), 1, joined
    while made in used:
        number += 1
        made = f"{joined}{number}"
    return made


def segment_of(point: str, segments: Iterable[str]) -> str | None:
    """The segment that a tracked point means, or None: it isn't plain.

    Parameters
    ----------
    point : e.g. "l_calf", "LeftFoot", "Right Wrist"
    segments : names of all segments that there are
    """
    known = set(segments)
    if point in known:
        return point
    word = re.sub(r"[^a-z]", "", point.lower())
    for side, start in SIDES.items():
        if side in word:
            part = PLACES.get(word.replace(side, "", 1))
            return f"{start}{part}" if part and f"{start}{part}" in known else None
    middle = MIDDLE.get(word)
    return middle if middle in known else None
