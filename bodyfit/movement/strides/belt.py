"""Feet on a treadmill as they would go over ground: the belt's way, which a standing foot shows, put back."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

import numpy as np

from ...core.rotations import apply
from .foot_motion import FootMotion


def against_belt(motions: Mapping[str, FootMotion]) -> dict[str, FootMotion]:
    """The same feet seen from the belt that they stand on.

    Parameters
    ----------
    motions : side -> motion as seen from the room, in which a standing foot goes with the belt

    Returns
    -------
    side -> motion; horizontal velocities and places against the belt

    Notes
    -----
    The belt's velocity is that of the ball at the calmest moment of each stance of either foot, on straight
    lines between these.
    """
    times, velocities = [np.zeros(0)], [np.zeros((0, 3))]
    for motion in motions.values():
        calm = motion.stances[:, 1]
        rate = np.stack([np.interp(motion.time[calm], motion.rate_time, w) for w in motion.rate.T], 1)
        ball = motion.velocity[calm] + apply(motion.R[calm], np.cross(rate, motion.ball))
        times.append(motion.time[calm])
        velocities.append(ball * [1.0, 0.0, 1.0])
    time, velocity = np.concatenate(times), np.concatenate(velocities)
    order = np.argsort(time)
    if not len(order):
        return dict(motions)
    out = {}
    for side, motion in motions.items():
        belt = np.stack([np.interp(motion.time, time[order], v) for v in velocity[order].T], 1)
        way = np.zeros_like(belt)
        np.cumsum(0.5 * (belt[1:] + belt[:-1]) * np.diff(motion.time)[:, None], axis=0, out=way[1:])
        out[side] = dataclasses.replace(motion, velocity=motion.velocity - belt, place=motion.place - way)
    return out
