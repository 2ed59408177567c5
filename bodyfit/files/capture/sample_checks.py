"""Whether samples can be what setup.toml says they are; each check raises InputError, or is silent."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.spatial.transform import Rotation

from ...core.gravity import STANDARD_GRAVITY
from .sensor_samples import SENSOR_UNITS, Samples

# Limits. Those without a source are set where no recording of a moving body comes near.
QUATERNION_TOLERANCE = 1e-2  # by reasoning: two decimals in a table
# room for calibration, which may push a reading past the nominal full scale; chosen; not tried
BEYOND_FULL_SCALE = 1.2
# times gravity: less for half of the time is a fall, or gravity was removed; by reasoning
LEAST_GRAVITY = 0.5
FASTEST_MEDIAN_RATE = 20.0  # rad/s: three turns a second for half of the time; by reasoning
EARTH_FIELD = (20e-6, 70e-6)  # T: 22 to 67 µT on the ground (World Magnetic Model, WMM)
FIELD = (2e-6, 1e-3)  # T: the Earth's field, weakened or strengthened by iron near by; chosen; not tried
FARTHEST_READ = 2e4  # m/s²; as LARGEST of calibration/sensors/impossible.py, by reasoning
# cosine of 60°: gravity outweighs the mean acceleration of anything that stays around; by reasoning
LEAST_UP = 0.5


def check_not_empty(samples: Samples) -> None:
    """A sensor has at least one sample."""
    if np.isnan(samples.values).all():
        columns = ", ".join(samples.keys.values["columns"])
        samples.refuse(
            f"every row has an empty cell in {columns}; expected numbers: name the right columns, or remove "
            "this sensor"
        )


def check_scale(samples: Samples) -> None:
    """Sizes fit the declared unit and full scale."""
    sizes = {"accelerometer": _check_gravity, "gyroscope": _check_rate, "magnetometer": _check_field}
    sizes[samples.sensor](samples)
    _check_full_scale(samples)


def _check_gravity(samples: Samples) -> None:
    """Half of all samples lie near gravity, as specific force of anything that does not fall does."""
    in_g = samples.median_length * samples.factor / STANDARD_GRAVITY
    found = f"found a median length of {samples.median_length:.4g} {samples.unit}, {in_g:.3g} times gravity"
    other = _unit_within(samples, 0.7 * STANDARD_GRAVITY, 1.5 * STANDARD_GRAVITY)
    if other and not 0.7 <= in_g <= 1.5:  # mg and cm/s^2 are nearly alike
        samples.refuse(f'{found}; expected about 1; these numbers fit unit = "{other}"')
    if in_g < LEAST_GRAVITY:
        samples.refuse(
            f"{found}; expected about 1: an accelerometer at rest reads gravity upward. Give specific force, "
            "from which gravity has not been removed, in the declared unit"
        )


def _check_rate(samples: Samples) -> None:
    """Nothing worn turns three times a second for half of a recording, unless a full scale says it may."""
    if samples.full_scale is not None or samples.median_length * samples.factor <= FASTEST_MEDIAN_RATE:
        return
    other = _unit_within(samples, 0.0, FASTEST_MEDIAN_RATE)
    fits = f'these numbers fit unit = "{other}"' if other else "check the unit"
    samples.refuse(
        f"found a median length of {samples.median_length:.4g} {samples.unit}; expected at most "
        f"{FASTEST_MEDIAN_RATE / samples.factor:.4g}; {fits}; if they are right, declare full_scale"
    )


def _check_field(samples: Samples) -> None:
    """The field is within a factor of ten or so of the Earth's."""
    if samples.unit == "arbitrary" or FIELD[0] <= samples.median_length * samples.factor <= FIELD[1]:
        return
    other = _unit_within(samples, *EARTH_FIELD) or "arbitrary"
    samples.refuse(
        f"found a median length of {samples.median_length:.4g} {samples.unit}; expected "
        f"{FIELD[0] / samples.factor:.4g} to {FIELD[1] / samples.factor:.4g} (the Earth's field is "
        f'{EARTH_FIELD[0] * 1e6:.0f} to {EARTH_FIELD[1] * 1e6:.0f} uT); try unit = "{other}"'
    )


def _unit_within(samples: Samples, low: float, high: float) -> str | None:
    """Another unit, if any, that brings the median length into [low, high], SI; the largest such.

    Of mg and cm/s^2, which differ by 2 %, the one that brings it nearer to gravity.
    """
    units = sorted(SENSOR_UNITS[samples.sensor].items(), key=lambda item: -item[1])
    if samples.sensor == "accelerometer":
        units.sort(key=lambda item: abs(np.log(samples.median_length * item[1] / STANDARD_GRAVITY)))
    others = [(unit, factor) for unit, factor in units if unit not in (samples.unit, "arbitrary")]
    return next((unit for unit, factor in others if low <= samples.median_length * factor <= high), None)


def _check_full_scale(samples: Samples) -> None:
    """No sample lies well beyond the declared full scale."""
    if samples.full_scale is None:
        return
    size = np.nan_to_num(np.max(np.abs(samples.values), axis=1))
    k, most = int(np.argmax(size)), samples.full_scale / samples.factor
    if size[k] > BEYOND_FULL_SCALE * most:
        samples.refuse(
            f"{samples.at(k)}: found {size[k]:.5g} {samples.unit}, beyond full_scale = {most:.5g}; expected "
            "less: full_scale is in the same unit as the samples; correct it or the unit"
        )


def check_quaternions(samples: Samples) -> None:
    """Quaternions have length one, within what rounding does."""
    length = np.linalg.norm(samples.values, axis=1)
    wrong = np.abs(np.nan_to_num(length, nan=1.0) - 1) > QUATERNION_TOLERANCE
    if wrong.any():
        k = int(np.argmax(wrong))
        samples.refuse(
            f"{samples.at(k)}: found a quaternion of length {length[k]:.4g} ({wrong.sum()} such rows); "
            f"expected 1 within {QUATERNION_TOLERANCE:g}: name the columns x, y, z, w in this order, and "
            "leave a missing one empty"
        )


def check_up(samples: Mapping[str, Samples], arrays: Mapping[str, np.ndarray]) -> None:
    """Specific force turned into the world by the orientation points up on average.

    Parameters
    ----------
    samples : sensor name -> where its samples were read
    arrays : sensor name -> (N, 3) or (N, 4) array

    Raises
    ------
    InputError
        It points elsewhere; the message says what to try.
    """
    if not {"accelerometer", "orientation"} <= set(arrays):
        return
    force, quat = arrays["accelerometer"], arrays["orientation"]
    both = (np.abs(force) < FARTHEST_READ).all(axis=1) & np.isfinite(quat[:, 0])
    if not both.any():
        return
    mean = Rotation.from_quat(quat[both]).apply(force[both]).mean(axis=0)
    direction = mean / np.linalg.norm(mean)
    if direction[1] < LEAST_UP:
        samples["orientation"].refuse(_not_up(direction, samples["orientation"].keys.text("up")))


def _not_up(direction: np.ndarray, up: str | None) -> str:
    """What to say of specific force that points elsewhere on average, and what the cause may be."""
    tilt = np.degrees(np.arccos(np.clip(direction[1], -1, 1)))
    if direction[1] < -LEAST_UP:
        fix = "if the accelerometer reads gravity downward, change the sign of its columns; else give"
    elif up != "z" and direction[2] > LEAST_UP:
        fix = 'if the world of the quaternions has Z up, add up = "z"; else give'
    elif up == "z" and direction[2] < -LEAST_UP:
        fix = 'if the world of the quaternions has Y up, set up = "y"; else give'
    else:
        fix = "give"
    return (
        f"turned by it, the accelerometer points {tilt:.0f}° off up on average; expected near 0°; {fix} "
        "world_from_unit (not its inverse), columns in the order x, y, z, w"
    )
