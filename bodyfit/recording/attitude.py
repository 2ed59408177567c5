"""Where the smoother starts: each unit by itself, then one heading per unit from its neighbours."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.spatial.transform import Rotation, Slerp

from ..core.arrays.scratch import give_back, let_go, room, rows_at_once
from ..core.rotations import UP, apply, heading_matrix, products, smallest_rotation
from .preintegration import Turns
from .signals import Signals

Z_UP_TO_Y_UP = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])
INCLINATION_S = 1.0  # window over which an accelerometer's mean is taken for gravity


def start_rotations(signals: Signals, turns: Turns, north: np.ndarray) -> np.ndarray:
    """World-from-unit of each unit at the keyframes from its own sensors; headings are arbitrary.

    Parameters
    ----------
    signals, turns : of U units
    north : (3,) unit vector, the Earth's field in the world frame

    Returns
    -------
    (K + 1, U, 3, 3) array
    """
    out = room((signals.intervals + 1, len(signals.units), 3, 3))
    for unit in range(len(signals.units)):
        out[:, unit] = _start(signals.of_unit(unit), turns, unit, north)
        let_go(out)
    return out


def _start(own: Signals, turns: Turns, unit: int, north: np.ndarray) -> np.ndarray:
    """(K + 1, 3, 3) of one unit, by what it carries."""
    has = {sensor: bool(there[0]) for sensor, there in own.has.items()}
    if has["orientation"]:
        assert own.attitude is not None
        return own.attitude[:: own.per_key, 0]
    if has["gyroscope"] and has["accelerometer"]:
        return filtered(own)[:: own.per_key]
    if has["gyroscope"]:
        R = products(turns.whole[:, unit])
        return _turned_to(R, own.field[:: own.per_key, 0], north) if has["magnetometer"] else R
    return _from_vectors(own, has, north)


def filtered(own: Signals) -> np.ndarray:
    """Rotations by the offline six-axis filter of Laidig & Seel 2023 (package vqf).

    Parameters
    ----------
    own : signals of one unit with gyroscope and accelerometer

    Returns
    -------
    (N, 3, 3) array, world_from_unit at every sample; the heading is arbitrary and drifts

    References
    ----------
    Laidig & Seel 2023, doi:10.1016/j.inffus.2022.10.014.
    """
    from vqf import offlineVQF

    step, lost = own.step * own.stride, own.lost[:, 0]
    part = stretches(lost)[:-1]
    rate, force = own.rate[:, 0], own.specific_force[:, 0]
    R = room((len(rate), 3, 3))
    give_back()  # the filter takes several times as much as what goes in
    for number in range(part[-1] + 1):  # starts anew after a gap, in which nothing is filtered
        k, end = np.searchsorted(part, [number, number + 1])
        a, b = k * own.per_key, end * own.per_key if end < len(part) else len(rate)
        seen = k + np.flatnonzero(~lost[k:end])
        if not len(seen):
            R[a:b] = Z_UP_TO_Y_UP
            continue
        first, last = seen[0] * own.per_key, min((seen[-1] + 1) * own.per_key, b - 1)
        turn, push = (np.ascontiguousarray(signal[first : last + 1]) for signal in (rate, force))
        quat = offlineVQF(turn, push, None, step)["quat6D"]
        for rows in rows_at_once(len(quat)):
            turned = Rotation.from_quat(quat[rows], scalar_first=True).as_matrix()
            R[first + rows.start : first + rows.stop] = Z_UP_TO_Y_UP @ turned
            let_go(R)
        R[last + 1 : b] = R[last]
    return R


def stretches(lost: np.ndarray) -> np.ndarray:
    """Number of the stretch without a long gap that each keyframe belongs to.

    Parameters
    ----------
    lost : (K,) bool, intervals whose turn is lost

    Returns
    -------
    (K + 1,) int, from zero; a keyframe inside a gap counts with the stretch before it
    """
    return np.cumsum(np.r_[False, lost[:-1] & ~lost[1:], False])


def through_gaps(R: np.ndarray, lost: np.ndarray) -> np.ndarray:
    """Rotations of one unit with those inside long gaps put evenly between both ends.

    Parameters
    ----------
    R : (K + 1, 3, 3)
    lost : (K,) bool, intervals whose turn is lost

    Returns
    -------
    (K + 1, 3, 3)
    """
    seen = np.r_[True, ~lost] & np.r_[~lost, True]
    seen |= np.r_[False, lost] & np.r_[~lost, True] | np.r_[True, ~lost] & np.r_[lost, False]
    at = np.flatnonzero(seen)
    if len(at) == len(R):
        return R
    if len(at) < 2:
        return np.broadcast_to(R[at[0]] if len(at) else np.eye(3), R.shape)
    inside = np.clip(np.arange(len(R)), at[0], at[-1])
    return Slerp(at, Rotation.from_matrix(R[at]))(inside).as_matrix()


def _turned_to(R: np.ndarray, measured: np.ndarray, target: np.ndarray) -> np.ndarray:
    """R turned as a whole so that a measured vector points, on average, where it should.

    The turn about the target itself stays open; without a gyroscope's help nothing shows it.
    """
    mean = apply(R, measured).mean(0)
    return smallest_rotation(mean[None], target)[0] @ R


def _from_vectors(own: Signals, has: dict[str, bool], north: np.ndarray) -> np.ndarray:
    """Without a gyroscope: gravity from the accelerometer's mean, heading from the magnetometer."""
    q = own.per_key
    window = max(1, round(INCLINATION_S / (own.step * own.stride)))
    if has["accelerometer"]:
        up = uniform_filter1d(own.specific_force[:, 0], window, axis=0, mode="nearest")[::q]
        R = smallest_rotation(up, UP)
        if has["magnetometer"]:
            m = apply(R, own.field[::q, 0])
            R = heading_matrix(np.arctan2(m[:, 2], m[:, 0])) @ R
        return R
    if has["magnetometer"]:
        return smallest_rotation(own.field[::q, 0], north)
    return np.broadcast_to(np.eye(3), (own.intervals + 1, 3, 3))
