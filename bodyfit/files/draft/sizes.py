"""Units guessed from the size of the numbers: gravity, the Earth's field, and gravity seen to turn."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import uniform_filter1d

from ...core.robust import SD_BY_MEDIAN, huber
from ..capture.sensor_samples import SENSOR_UNITS, STANDARD_GRAVITY

NEAR = 1.35  # factor by which a median length may be off gravity; walking stays within 1.1 (tried: on demos)
# between 980.665 cm/s² and 1000 mg; a scale off by over 1 % is taken for the other; by reasoning
CENTIMETRES_BELOW = 990.0
# T, the Earth's field of 22 to 67 µT (World Magnetic Model, WMM), disturbed by a third
FIELD_T = (15e-6, 80e-6)
# s, over which signals are averaged; tried: 0.1, 0.25, 0.5 on 19 tables of known unit, 0.5 tells most of them
SMOOTHED_S = 0.5
QUIET = 0.1  # share of gravity by which a force may differ and still count as gravity; chosen; not tried
# correlation from which gravity is seen to turn; tried: on those 19 it tells nine, none wrongly
ALIKE = 0.4
TURN_NEAR = 3.0  # factor by which turning may be off; tried: 0.7 to 2.7 on these nine
ROUNDS = 10  # of reweighting; chosen; not tried
# of a 99th percentile: as rad/s over 6 turns a second, which limbs do not reach; by reasoning
DEGREES_FROM = 40.0
RADIANS_BELOW = 4.0  # as deg/s it is slower than any movement of a limb (by reasoning)


def acceleration_unit(values: np.ndarray) -> tuple[str | None, str]:
    """Unit of specific forces, by the median length, which is about gravity.

    Parameters
    ----------
    values : (N, 3), NaN where missing

    Returns
    -------
    unit, or None where no unit brings it near gravity; and what was seen
    """
    middle = _middle(values)
    seen = f"median length {middle:.4g}"
    if np.isclose(middle, 1000.0, rtol=NEAR - 1):
        return ("mg" if middle > CENTIMETRES_BELOW else "cm/s^2"), seen
    for unit, factor in SENSOR_UNITS["accelerometer"].items():
        if 1 / NEAR < middle * factor / STANDARD_GRAVITY < NEAR:
            return unit, seen
    return None, f"{seen}, which is gravity in none of them; raw counts have to be turned into one first"


def field_unit(values: np.ndarray) -> tuple[str, str]:
    """Unit of a magnetic field, by the median length; "arbitrary" where it is no Earth's field.

    Parameters
    ----------
    values : (N, 3), NaN where missing

    Returns
    -------
    unit, and what was seen
    """
    middle = _middle(values)
    fits = [u for u, f in SENSOR_UNITS["magnetometer"].items() if u != "arbitrary"]
    fits = [u for u in fits if FIELD_T[0] < middle * SENSOR_UNITS["magnetometer"][u] < FIELD_T[1]]
    seen = f"median length {middle:.4g}"
    if fits == ["G"]:
        seen += ', or "arbitrary" where it was made about one'
    return (fits[0] if fits else "arbitrary"), seen


def turning_unit(rate: np.ndarray, force: np.ndarray | None, step: float | None) -> tuple[str | None, str]:
    """Unit of angular rates: in which one gravity turns as the gyroscope says, else by size.

    Parameters
    ----------
    rate : (N, 3), NaN where missing
    force : (N, 3) of the accelerometer in any unit, or None
    step : s between rows, or None

    Returns
    -------
    unit, or None where nothing tells; and what was seen

    Notes
    -----
    Gravity, fixed in the world, changes in the unit's frame by −ω × f. The factor on ω that fits best in
    least squares, with Huber's weights and where the force is about as long as gravity, is compared with 1,
    π/180 and π/180000.
    """
    if force is not None and step is not None and len(rate) == len(force):
        factor, alike = _gravity_turn(rate, force, step)
        for unit, one in SENSOR_UNITS["gyroscope"].items():
            if alike > ALIKE and 1 / TURN_NEAR < factor / one < TURN_NEAR:
                return unit, f"gravity turns {factor / one:.2f} times as fast"
    with np.errstate(invalid="ignore"):
        size = float(np.nanpercentile(np.abs(rate), 99)) if np.isfinite(rate).any() else np.nan
    if size > 1000 * RADIANS_BELOW:
        return "mdeg/s", f"99 % are below {size:.4g}"
    if size > DEGREES_FROM:
        return "deg/s", f"99 % are below {size:.4g}"
    return None, f"99 % are below {size:.4g}, which rad/s and deg/s both can be"


def _gravity_turn(rate: np.ndarray, force: np.ndarray, step: float) -> tuple[float, float]:
    """Factor on the rate with which it turns the measured force best, and their correlation."""
    good = np.isfinite(rate).all(1) & np.isfinite(force).all(1)
    width = max(1, round(SMOOTHED_S / step))
    if good.sum() < 4 * width:
        return 0.0, 0.0
    f, w = (uniform_filter1d(x[good], width, axis=0) for x in (force, rate))
    change, turned = np.gradient(f, step, axis=0), np.cross(f, w)
    length = np.linalg.norm(f, axis=1)
    quiet = np.exp(-0.5 * ((length / np.median(length) - 1) / QUIET) ** 2)
    weight, factor, alike = quiet, 0.0, 0.0
    for _ in range(ROUNDS):
        power, both, size = (
            float(weight @ np.einsum("ni,ni->n", a, b))
            for a, b in ((turned, turned), (change, turned), (change, change))
        )
        if not power or not both:
            return 0.0, 0.0
        factor, alike = both / power, both / np.sqrt(power * size)
        off = change - factor * turned
        weight = quiet * huber(off, SD_BY_MEDIAN * float(np.median(np.abs(off))) or 1.0)
    return factor, alike


def _middle(values: np.ndarray) -> float:
    length = np.linalg.norm(values, axis=1)
    return float(np.nanmedian(length)) if np.isfinite(length).any() else np.nan
