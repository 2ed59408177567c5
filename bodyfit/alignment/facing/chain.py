"""Pieces of one joint in a row: headings walk within a stretch and start anew after a gap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .grid import GRID, LEAST, blurred, walked
from .posture import Posture

# of a heading from one piece to the next of a stretch; tried: 1, 3, 5° on six captures of
# tests/benchmarks/facing_in_pieces.py: the same units known, none wrong
DRIFT = np.radians(3.0)
FLOOR = (
    12.0  # log-likelihood that posture takes off at most in one piece: no piece has a veto (common practice)
)
# pieces repeat each other, for people move alike; tried: 1 on captures of the same: none of 42 units and, on
# others, 3 of 140 were wrong while sure
TEMPER = 0.35


@dataclass(frozen=True, eq=False)
class Chain:
    """What each of S pieces says.

    Attributes
    ----------
    heading : (S, N) likelihood of the joint's heading, whichever way the units face
    postures : S of them, by heading and both facings
    continued : (S,) bool, no gap before that piece
    """

    heading: np.ndarray
    postures: Sequence[Posture]
    continued: np.ndarray

    def table(self, piece: int) -> np.ndarray:
        """(N, G, G) likelihood of one piece."""
        return self.heading[piece][:, None, None].astype(np.float32) * self.postures[piece].likelihood(FLOOR)


def joint_table(chain: Chain, constant: float) -> np.ndarray:
    """Log-likelihood of how parent's and child's units face, all pieces together.

    Parameters
    ----------
    chain : of one joint
    constant : rad, a person's own constant third angle, which looks like a turn of the child's unit

    Returns
    -------
    (G, G), parent's facing first; highest is zero

    Notes
    -----
    Forward recursion of a hidden Markov model whose state is ψ; sums over ψ at the end of every stretch.
    """
    total = np.zeros((len(GRID), len(GRID)))
    forward = None
    for piece, continued in enumerate(chain.continued):
        here = chain.table(piece)
        if forward is not None and not continued:
            total += np.log(np.maximum(forward.sum(0), LEAST))
            forward = None
        if forward is not None:
            size = np.maximum(forward.sum(0), LEAST)
            total += np.log(size)
            here = here * walked(forward / size, DRIFT)
        forward = here
    if forward is not None:
        total += np.log(np.maximum(forward.sum(0), LEAST))
    log = TEMPER * total
    return np.log(np.maximum(blurred(np.exp(log - log.max()), constant), LEAST))


def smoothed(chain: Chain, parent: int, child: int) -> np.ndarray:
    """Heading of the joint in every piece at given facings, by what comes before and after.

    Parameters
    ----------
    chain : of one joint
    parent, child : index of both facings on the grid

    Returns
    -------
    (S,) rad, circular mean (forward–backward recursion)
    """
    own = np.stack([chain.table(s)[:, parent, child] for s in range(len(chain.postures))]).astype(float)
    own /= own.sum(1, keepdims=True)
    forward, backward = own.copy(), np.ones_like(own)
    for s in range(1, len(own)):
        if chain.continued[s]:
            forward[s] *= walked(forward[s - 1], DRIFT)
            forward[s] /= max(forward[s].sum(), LEAST)
    for s in reversed(range(len(own) - 1)):
        if chain.continued[s + 1]:
            backward[s] = walked(own[s + 1] * backward[s + 1], DRIFT)
            backward[s] /= max(backward[s].sum(), LEAST)
    return np.angle((forward * backward) @ np.exp(1j * GRID))
