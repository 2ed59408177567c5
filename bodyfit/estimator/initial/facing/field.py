"""What two magnetometers say of a joint's heading in each piece, each as far as its norm and dip allow."""

from __future__ import annotations

import numpy as np

from ....alignment.facing.grid import FINE, wrapped
from ....alignment.facing.pieces import Pieces
from ....core.rotations import as_complex
from ....recording.keyframe_averages import Averages
from ...problem.tie import Tie

STRAY = 0.1  # share of pieces in which the field says nothing right (common practice)


def field_likelihood(average: Averages, tie: Tie, pieces: Pieces, level: np.ndarray) -> np.ndarray:
    """Likelihood of the joint's heading by the headings of both fields.

    Parameters
    ----------
    average : with start rotations, whose headings are arbitrary in every piece
    tie, pieces : the joint and its pieces
    level : (U,) rad, how far each unit's field may be off in heading; NaN without one

    Returns
    -------
    (S, F) on `FINE`, sums to one; even where a field is missing
    """
    even = np.full((len(pieces.first), len(FINE)), 1 / len(FINE))
    sd = float(np.hypot(level[tie.parent], level[tie.child]))
    if not np.isfinite(sd):
        return even
    m = as_complex(average.field[pieces.at][:, [tie.parent, tie.child]])
    known = average.field_known[pieces.at][:, [tie.parent, tie.child]].all(1)
    pull = pieces.sums(known * m[:, 0] * m[:, 1].conj())
    p = np.exp(-0.5 * (wrapped(FINE - np.angle(pull)[:, None]) / sd) ** 2)
    p = (1 - STRAY) * p / p.sum(1, keepdims=True) + STRAY / len(FINE)
    return np.where((pieces.sums(known.astype(float)) > 0)[:, None], p, even)
