"""Direction of up in the frame of one unit, and what is wrong with its gyroscope by that measure."""

from __future__ import annotations

import numpy as np
from scipy.signal import butter, sosfiltfilt
from scipy.spatial.transform import Rotation

from .samples import FREQUENCY

CARRIED_CUTOFF = 0.12  # Hz; tried: on activity_waist_phone, in the frame that the gyroscope carries
ALONE_CUTOFF = 0.4  # Hz; tried: on the same, accelerometer alone
RIDGE = 0.003  # share of a sample that speaks for no bias at all; tried: on activity_pocket_phone


def low_passed(values: np.ndarray, cutoff: float) -> np.ndarray:
    """Signals without what lies above `cutoff`: Butterworth, order 2, both ways, also when they are short.

    Parameters
    ----------
    values : (N, ...) array at `FREQUENCY`
    cutoff : Hz

    Returns
    -------
    (N, ...) array
    """
    pad = min(len(values) - 1, int(3 * FREQUENCY / cutoff))
    return sosfiltfilt(butter(2, cutoff, fs=FREQUENCY, output="sos"), values, axis=0, padlen=pad)


def directions(v: np.ndarray) -> np.ndarray:
    """Vectors at length one.

    Parameters
    ----------
    v : (..., 3) array

    Returns
    -------
    (..., 3) array
    """
    return v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-9)


def carried(rate: np.ndarray) -> Rotation:
    """Rotations from the unit's frame to one that the gyroscope carries along, the unit's first one.

    Parameters
    ----------
    rate : (N, 3) rad/s

    Returns
    -------
    Rotation of length N

    Notes
    -----
    Products of all turns so far by doubling: log₂ N passes over the whole array.
    """
    turns = Rotation.from_rotvec(rate / FREQUENCY).as_quat()
    quat = np.concatenate([[[0.0, 0.0, 0.0, 1.0]], turns[:-1]])
    reach = 1
    while reach < len(quat):
        quat[reach:] = _product(quat[:-reach], quat[reach:])
        reach *= 2
    return Rotation.from_quat(quat)


def _product(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Quaternions a b, xyzw."""
    va, vb, wa, wb = a[:, :3], b[:, :3], a[:, 3:], b[:, 3:]
    return np.concatenate(
        [wa * vb + wb * va + np.cross(va, vb), wa * wb - np.sum(va * vb, 1, keepdims=True)], 1
    )


def up_of(force: np.ndarray, rate: np.ndarray | None) -> np.ndarray:
    """Up in the unit's frame.

    Parameters
    ----------
    force : (N, 3) m/s²
    rate : (N, 3) rad/s, or None

    Returns
    -------
    (N, 3) array, length one

    Notes
    -----
    Gravity is what stays of the specific force: its low-pass in the frame that the gyroscope carries, turned
    back; without a gyroscope, in the unit's own frame.
    """
    if rate is None:
        return directions(low_passed(force, ALONE_CUTOFF))
    to_carried = carried(rate)
    return directions(to_carried.inv().apply(low_passed(to_carried.apply(force), CARRIED_CUTOFF)))


def without_bias(force: np.ndarray, rate: np.ndarray) -> np.ndarray:
    """Angular rates less the constant that makes gravity turn in the frame that they carry.

    Parameters
    ----------
    force : (N, 3) m/s²
    rate : (N, 3) rad/s

    Returns
    -------
    (N, 3) rad/s

    Notes
    -----
    A bias b turns gravity g in the carried frame by dg/dt = (R b) × g; least squares for b.
    """
    R = carried(rate)
    up = directions(low_passed(R.apply(force), CARRIED_CUTOFF))
    axes = low_passed(R.as_matrix().reshape(-1, 9), CARRIED_CUTOFF).reshape(-1, 3, 3)
    turning = np.cross(axes.transpose(0, 2, 1), up[:, None]).transpose(0, 2, 1)
    square = np.einsum("nij,nik->jk", turning, turning) + RIDGE * len(rate) * np.eye(3)
    return rate - np.linalg.solve(
        square, np.einsum("nij,ni->j", turning, np.gradient(up, axis=0) * FREQUENCY)
    )
