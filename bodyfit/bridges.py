"""Bridges: segments without a unit between two units that feel, and the arms along which they reach."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import block_diag

from .rotations import skew

if TYPE_CHECKING:
    from .mounting import Mounting
    from .problem import Problem, Tie


@dataclass(frozen=True)
class Bridge:
    """A way through the body from one measured unit to the next, across segments without one.

    Attributes
    ----------
    units : near end, segments without a unit, far end
    joints : ties crossed, one fewer
    """

    units: tuple[int, ...]
    joints: tuple[int, ...]

    @property
    def arms(self) -> list[tuple[int, tuple[int, ...]]]:
        """What each unit of the way contributes: the unit, and the joints, one or two, of its arm.

        From the near unit to its joint, from joint to joint, from the far unit to its joint.
        """
        pairs = zip(self.joints, self.joints[1:], strict=False)
        ways = [self.joints[:1], *pairs, self.joints[-1:]]
        return list(zip(self.units, ways, strict=True))


def bridges_of(ties: Sequence[Tie], measured: np.ndarray, felt: np.ndarray) -> tuple[Bridge, ...]:
    """All bridges of a body: from each group of segments without a unit to every unit around it.

    Parameters
    ----------
    ties : joints between units
    measured : (U,) bool, units that carry any sensor
    felt : (U,) bool, units whose motion can be integrated: they turn and feel

    Returns
    -------
    bridges, each from the first such unit around a group to one of the others
    """
    beside: dict[int, list[tuple[int, int]]] = {}
    for i, tie in enumerate(ties):
        beside.setdefault(tie.parent, []).append((i, tie.child))
        beside.setdefault(tie.child, []).append((i, tie.parent))
    seen: set[int] = set()
    out: list[Bridge] = []
    for number, tie in enumerate(ties):
        for first, into in ((tie.parent, tie.child), (tie.child, tie.parent)):
            if not felt[first] or measured[into] or into in seen:
                continue
            ways: list[tuple[tuple[int, ...], tuple[int, ...]]] = [((first, into), (number,))]
            while ways:
                units, joints = ways.pop(0)
                seen.add(units[-1])
                for i, other in beside[units[-1]]:
                    if other in units:
                        continue
                    way = (*units, other), (*joints, i)
                    if not measured[other]:
                        ways.append(way)
                    elif felt[other]:
                        out.append(Bridge(*way))
    return tuple(out)


@dataclass(frozen=True, eq=False)
class Arms:
    """What is known beforehand of the arms of all bridges.

    Attributes
    ----------
    keys : (unit, joints) of each arm
    mean : (A, 3) m, in the unit's frame
    precision : (3A, 3A) 1/m²
    """

    keys: tuple[tuple[int, tuple[int, ...]], ...]
    mean: np.ndarray
    precision: np.ndarray


def prior_of_arms(problem: Problem, mounting: Mounting) -> Arms:
    """Arms that the body's dimensions and the units' places suggest.

    Parameters
    ----------
    problem : what is given
    mounting : as far as it is known

    Returns
    -------
    Arms
    """
    keys = tuple(dict.fromkeys(arm for bridge in problem.bridges for arm in bridge.arms))
    mean, precision = np.zeros((len(keys), 3)), np.zeros((3 * len(keys), 3 * len(keys)))
    for a, (unit, joints) in enumerate(keys):
        mean[a], covariance = _arm(problem, mounting, unit, joints)
        precision[3 * a : 3 * a + 3, 3 * a : 3 * a + 3] = np.linalg.inv(covariance)
    return Arms(keys, mean, precision)


def expected(problem: Problem, mounting: Mounting) -> tuple[np.ndarray, np.ndarray]:
    """What is expected of the constants beside segments without a unit: postures, then arms.

    Parameters
    ----------
    problem : what is given
    mounting : as far as it is known

    Returns
    -------
    mean : (L + A, 3) rad and m
    precision : (3(L + A), 3(L + A))
    """
    arms, sd = prior_of_arms(problem, mounting), problem.postures.offset_sd
    mean = np.concatenate([np.zeros(sd.shape), arms.mean])
    return mean, np.asarray(block_diag(np.diag(sd.ravel() ** -2.0), arms.precision))


def _arm(
    problem: Problem, mounting: Mounting, unit: int, joints: tuple[int, ...]
) -> tuple[np.ndarray, np.ndarray]:
    """Mean (3,) and covariance (3, 3) of one arm, m and m²."""
    unknown = np.zeros(3), problem.weights.lever**2 * np.eye(3)
    centres = [_centre(problem.ties[i], unit) for i in joints]
    if any(centre is None for centre in centres):
        return unknown
    sd = problem.centre_sd[unit]
    if len(joints) == 2:
        return np.asarray(centres[1]) - np.asarray(centres[0]), sd**2 * np.eye(3)
    place = problem.places[unit]
    if place is None or not mounting.tilt_known[unit]:
        return unknown
    from_segment, out = mounting.segment_from_unit[unit].T, np.asarray(centres[0]) - place[0]
    turned = skew(out) @ mounting.covariance[unit] @ skew(out).T
    covariance = place[1] + turned + sd**2 * np.eye(3)
    return from_segment @ out, from_segment @ covariance @ from_segment.T


def _centre(tie: Tie, unit: int) -> np.ndarray | None:
    """A joint's centre in the segment frame of one of its ends."""
    return tie.joint.centre_in_parent if tie.parent == unit else tie.joint.centre_in_child
