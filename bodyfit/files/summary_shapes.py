"""What kind of value stands where in summary.json, so that a changed file is refused by name of the key."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from ..errors import InputError

LARGEST = 1e12  # size of a number; as in setup files, nothing that a fit tells comes near (by reasoning)
SHOWN = 60  # characters of a wrong value in a message, common practice
Check = Callable[[str, Any], None]


class Wrong(Exception):
    """A value of another kind: dotted key, what was found, what was expected."""


def check_summary(path: Path, summary: Mapping[str, Any], again: str) -> None:
    """Refuses a summary whose values are of other kinds than a fit writes; keys may be missing.

    Parameters
    ----------
    path : of the file, for the message
    summary : its content
    again : what to do, for the message

    Raises
    ------
    InputError
        Names the key, what was found and what was expected.
    """
    try:
        SUMMARY("", dict(summary))
    except Wrong as wrong:
        key, value, expected = wrong.args
        shown = repr(value) if not isinstance(value, dict | list) else f"a {type(value).__name__}"
        raise InputError(f"{path}: {key}: found {shown[:SHOWN]}, expected {expected}; {again}") from None


def _is_number(value: Any) -> bool:
    sized = isinstance(value, int | float) and not isinstance(value, bool)
    return sized and math.isfinite(value) and abs(value) <= LARGEST


def number(key: str, value: Any) -> None:
    """A number of usable size, or null."""
    if value is not None and not _is_number(value):
        raise Wrong(key, value, "a number or null")


def count(key: str, value: Any) -> None:
    """A number of usable size."""
    if not _is_number(value):
        raise Wrong(key, value, "a number")


def text(key: str, value: Any) -> None:
    """Text, or null."""
    if value is not None and not isinstance(value, str):
        raise Wrong(key, value, "text or null")


def word(key: str, value: Any) -> None:
    """Text."""
    if not isinstance(value, str):
        raise Wrong(key, value, "text")


def truth(key: str, value: Any) -> None:
    """true, false or null."""
    if value is not None and not isinstance(value, bool):
        raise Wrong(key, value, "true, false or null")


def each(check: Check, length: int | None = None, null: bool = True) -> Check:
    """A list of such values, of that length where one is given; or null where that may stand."""

    def checked(key: str, value: Any) -> None:
        if value is None and null:
            return
        if not isinstance(value, list) or length not in (None, len(value)):
            raise Wrong(key, value, "a list" + (f" of {length}" if length else ""))
        for k, item in enumerate(value):
            check(f"{key}[{k}]", item)

    return checked


def named(check: Check) -> Check:
    """An object whose every value is such."""

    def checked(key: str, value: Any) -> None:
        if not isinstance(value, dict):
            raise Wrong(key, value, "an object")
        for name, item in value.items():
            check(f"{key}.{name}".lstrip("."), item)

    return checked


def record(**checks: Check) -> Check:
    """An object with these keys as far as they are there, and others."""

    def checked(key: str, value: Any) -> None:
        if not isinstance(value, dict):
            raise Wrong(key, value, "an object")
        for name, check in checks.items():
            if name in value:
                check(f"{key}.{name}".lstrip("."), value[name])

    return checked


NAMES = each(word, null=False)
# vectors of three, spans of start and end: by definition
VECTOR, SPANS = each(count, 3), each(each(count, 2, null=False))
FINDING = record(
    kind=word, severity=word, what=word, advice=word, measure=word, source=word, handled=word,
    units=NAMES, segments=NAMES, joints=NAMES, stretches_s=SPANS, harm_deg=count,
    start_s=number, end_s=number, value=number, threshold=number,
)  # fmt: skip
# quaternions of four, vectors and covariances of three: by definition
UNIT = record(
    segment=text, sensors=each(word), gaps=SPANS, field_untrusted_s=SPANS, mounting_open=each(word),
    gyroscope_bias_deg_per_s=VECTOR, mounting_sd_deg=each(number, 3),
    mounting_quat_xyzw=each(count, 4, null=False),
    mounting_covariance_rad2=each(each(number, 3, null=False), 3),
    elastic_deg_per_g=each(each(count, 3, null=False), 3),
    heading_drift_removed_deg=number, magnetometer_heading_sd_deg=number, magnetometer_trusted_share=number,
    mounting_source=text, accelerometer_scale=number,
)  # fmt: skip
# ranges from low to high: by definition
ANGLE = record(min_deg=number, max_deg=number, range_deg=each(count, 2))
JOINT = record(
    angles=named(ANGLE), parent=word, child=word, type=text, note=text, determined=truth, range_source=text,
    lever_arm_parent_m=VECTOR, lever_arm_child_m=VECTOR, lever_arm_sd_m=each(number), lever_arm_source=text,
    hinge_axis_parent=VECTOR, relative_heading_sd_deg=number, residual_m_s2=number,
)  # fmt: skip
SUMMARY = record(
    body=record(),
    bodyfit_version=text,
    capture=text,
    clocks=named(named(number)),
    findings=each(FINDING),
    gyroscope_latency_s=number,
    heading=record(reference=text, facing_from=text, declination_deg=number, earth_field=record()),
    joints=named(JOINT),
    model=record(name=text, segments=number, joints=number, segments_without_unit=each(word)),
    options=record(
        sensors=each(word), leave_out=each(word), alone=truth, strict_ranges=truth, assign=text,
        usual_postures=truth,
    ),
    residuals=named(number),
    sampling=record(
        frames=number, frequency_hz=number, keyframe_hz=number, start_s=number, end_s=number,
        stretches_s=SPANS, inferred_s=named(SPANS),
    ),
    segments=named(record(length_m=number, length_sd_m=number, length_source=text)),
    slips=each(record(unit=word, time_s=count, angle_deg=number)),
    solver=record(converged=truth, cost=number, iterations=number, last_step_deg=number),
    units=named(UNIT),
    wall_time_s=number,
    warnings=each(text),
)  # fmt: skip
"""Pattern of summary.json as far as commands read it."""
