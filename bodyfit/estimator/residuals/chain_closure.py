"""Bridge: no dislocation, so two units stay as far apart as the segments between them reach."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...core.robust import huber
from ...core.rotations import apply, skew
from .base import Linearised


def bridge(
    R: np.ndarray,
    arms: np.ndarray,
    places: tuple[np.ndarray, np.ndarray],
    units: Sequence[int],
    which: Sequence[int],
    slots: tuple[int, int],
    sd: float,
    correlated: float,
) -> Linearised:
    """Gap that is left between two units' positions when one goes from one to the other along the body.

    Parameters
    ----------
    R : (K + 1, n, 3, 3) world_from_unit of the near unit, the segments between, the far unit
    arms : (n, 3) m, in the frames of these: from the near unit to its joint, from joint to joint, from the
        far unit to its joint
    places : (K + 1, 3) m each, positions of the near and the far unit, world frame
    units : (n,) slots of the rotations
    which : (n,) numbers of the arms among all arms
    slots : of the two positions
    sd : m, how far joints give, and units shift on soft tissue
    correlated : number of keyframes over which that is alike

    Returns
    -------
    Linearised, E = 1, m = 3, m, world frame; constants are the arms

    Notes
    -----
    r = x_far + R_far a_far − x_near − R_near a_near − Σ R_i a_i: the acceleration that a segment without a
    unit carries from joint to joint, integrated twice.
    """
    signs = np.array([-1.0] * (len(units) - 1) + [1.0])
    reached = apply(R, arms) * signs[:, None]
    value = places[1] - places[0] + reached.sum(1)
    eye = np.broadcast_to(np.eye(3), (len(R), 1, 3, 3))
    turned = [(np.array([unit]), 0, -skew(reached[:, [i]])) for i, unit in enumerate(units)]
    jacobians = (*turned, (np.array([slots[0]]), 0, -eye), (np.array([slots[1]]), 0, eye))
    share = huber(value, sd)
    weight = share / (correlated * sd**2)
    at = (3 * np.asarray(which)[:, None] + np.arange(3)).reshape(1, -1)
    by_arm = np.concatenate([R[:, i] * signs[i] for i in range(len(units))], -1)[:, None]
    return Linearised(
        "bridge",
        value[:, None],
        jacobians,
        np.repeat(weight[:, None, None], 3, -1),
        (at, by_arm),
        share[:, None],
    )
