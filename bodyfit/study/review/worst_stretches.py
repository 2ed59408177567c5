"""Stretches of time in which something holds: near ones joined, very short ones left out."""

from __future__ import annotations

import numpy as np

from ...core.intervals import Stretch

MOST = 3  # stretches of one kind and place that are told one by one; by reasoning: as many as somebody reads


def worst_of(found: list[Stretch], size: np.ndarray) -> list[tuple[Stretch, str]]:
    """The stretches with the largest values, and what the worst one's sentence says about the others.

    Parameters
    ----------
    found : any number
    size : (T,) what makes one worse than another

    Returns
    -------
    list of at most `MOST` pairs, the worst first: stretch, and text that is empty but for the first
    """
    by_size = sorted(found, key=lambda s: -float(np.max(size[s.frames])))
    left_out = len(found) - MOST
    more = f"; {left_out} more such stretches, smaller ones" if left_out > 0 else ""
    return [(stretch, "" if k else more) for k, stretch in enumerate(by_size[:MOST])]
