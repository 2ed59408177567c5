"""Bridges: segments without a unit between two units that feel, and the arms along which they reach."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from .tie import Tie


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
