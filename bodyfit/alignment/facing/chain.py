"""Pieces of one joint in a row: headings walk within a stretch and start anew after a gap."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from .grid import FINE, GRID, LEAST, blurred, finer, gathered, walked, wrapped
from .posture import Posture

# of a heading from one piece to the next of a stretch; tried: 1.5, 3, 6° on 15 captures (8030 to 8044 of
# tests/benchmarks/facing_in_pieces.py, stretches cut at 1 s): the same units known, none wrong while sure
DRIFT = np.radians(3.0)
# likelihood that posture leaves at least in one piece: no piece has a veto (common practice)
LEAST_SHARE = np.float32(np.exp(-12.0))
# deviations of wearers' own means that stand for all; by reasoning: closer together than pieces are spread.
# Of a single mean they go farther, with Student's tails, for a pose held askew tilts it too: tried on seeds
# 14000 to 14015 and 15200 to 15223 of tests/benchmarks/facing_in_pieces.py, doubled errors: 3 of 600 units
# wrong while sure instead of 4, skulls 0.75 deviations off instead of 0.84, thoraces 1.08 instead of 1.15
NODES, FAR_NODES = 0.9 * np.arange(-2, 3), 0.9 * np.arange(-5, 6)
TAILS = 4.0  # degrees of freedom; common practice
# of the log-likelihood of a piece in motion: such pieces repeat each other, for people move alike; the pose
# comes once. What is alike by habit or by tissue counts once besides. tried: on
# tests/benchmarks/facing_in_pieces.py, 0.5, 0.6, 0.75 on seeds 14000 to 14015 and 8000 to 8011: 77, 80, 82 %
# known, none wrong while sure, the pelvis 0.9, 0.9, 1.1 deviations off; doubled errors, 14000 to 14015: one
# of 240 wrong while sure each time, thorax 1.2, 1.3, 1.5 deviations off
TEMPER = 0.6


@dataclass(frozen=True, eq=False)
class Chain:
    """What each of S pieces says.

    Attributes
    ----------
    heading : (S, F) likelihood of the joint's heading on `FINE`, whichever way the units face
    postures : S of them, by heading and both facings
    continued : (S,) bool, no gap before that piece
    posed : (S,) bool, the declared pose
    constant : (M,) deviation of the wearer's own mean of what `Posture.means` holds
    turn : (S,) rad, the same of the third angle, in pieces of that kind
    soft : rad, by which tissue turns the joint's heading alike in all pieces
    plane : rad, by which the plane in which the joint bends is turned for good, see `usual.Usual`
    """

    heading: np.ndarray
    postures: Sequence[Posture]
    continued: np.ndarray
    posed: np.ndarray
    constant: np.ndarray
    turn: np.ndarray
    soft: float
    plane: float = 0.0

    def by_heading(self, piece: int, parent: int, child: int) -> np.ndarray:
        """(N,) likelihood of one piece at given facings, the wearer's own means left open."""
        posture, own = self.postures[piece].facing(parent), np.zeros((1, len(self.constant)))
        here = posture.of_any_wearer(self.constant).beside(own)[0, :, 0] * posture.turned()[:, 0, child]
        return gathered(self.heading[piece]) * (here + LEAST_SHARE)

    def stretches(self) -> list[np.ndarray]:
        """Pieces of each stretch without a gap, in a row."""
        return np.split(np.arange(len(self.postures)), np.flatnonzero(~self.continued)[1:])


def joint_table(chain: Chain) -> np.ndarray:
    """Log-likelihood of how parent's and child's units face, all pieces together.

    Parameters
    ----------
    chain : of one joint

    Returns
    -------
    (F, F) on `FINE`, parent's facing first; highest is zero

    Notes
    -----
    Forward recursion of a hidden Markov model whose state is ψ; sums over ψ at the end of every stretch. What
    a wearer's own means are is the same in all pieces: each is a small grid, summed over in the end. Else a
    joint held 20° off by habit would count as news in every piece. A constant third angle looks like a turn
    of the child's unit, along which all pieces are blurred by the wearer's own, and those of a kind by more.
    Bending in a plane that is turned outwards looks like a turn of both units.
    In the declared pose no habit counts: what its stretch says, the wearer's own means left open, is
    multiplied on. Headings that tissue turns alike in all pieces look like a turn of the parent's unit, as
    far as the parent is upright.
    """
    own, weight = wearers(chain.constant)
    moving: dict[float, np.ndarray] = {}
    posed = np.zeros((len(FINE), len(FINE)))
    for pieces in chain.stretches():
        turn = float(chain.turn[pieces].max())
        if chain.posed[pieces].any():
            of_any = [chain.postures[s].of_any_wearer(chain.constant, turn) for s in pieces]
            posed += finer(_stretch(chain, pieces, of_any, np.zeros((1, len(chain.constant))))[0])
        else:
            told = _stretch(chain, pieces, [chain.postures[s] for s in pieces], own)
            moving[turn] = moving.get(turn, 0.0) + told
    own_turn = min(moving, default=0.0)
    log = np.log(weight)[:, None, None]
    for turn, told in moving.items():
        log = log + _blurred(finer(told), np.sqrt(turn**2 - own_turn**2))
    of_all = np.asarray(logsumexp(log + np.zeros_like(posed), 0))
    log = _turned_together(_blurred(of_all, own_turn), chain.plane) + posed
    return _blurred(log.T, chain.soft).T


def _turned_together(log: np.ndarray, sd: float) -> np.ndarray:
    """Logarithm of what is blurred by a turn of both units, alike; the highest of all is zero."""
    p, weight = np.exp(log - log.max()), np.exp(-0.5 * (wrapped(FINE) / max(sd, LEAST)) ** 2)
    p = sum(share * np.roll(p, (k, k), (0, 1)) for k, share in enumerate(weight / weight.sum()))
    return np.log(np.maximum(p / p.max(), LEAST))


def _blurred(log: np.ndarray, sd: float) -> np.ndarray:
    """Logarithm of what is blurred along the last axis; the highest of all is zero."""
    p = np.exp(log - log.max())
    p = blurred(p, sd) if sd > 0 else p
    return np.log(np.maximum(p / p.max(), LEAST))


def _stretch(chain: Chain, pieces: np.ndarray, postures: Sequence[Posture], own: np.ndarray) -> np.ndarray:
    """(K, G, G) log-likelihood of one stretch, for K wearers whose own means are (K, M)."""
    total = np.zeros((len(own), len(GRID), len(GRID)))
    forward = None
    for s, posture in zip(pieces, postures, strict=True):
        temper = 1.0 if chain.posed[s] else TEMPER
        posture, heading = posture.tempered(temper), gathered(chain.heading[s] ** temper).astype(np.float32)
        beside, turned = heading[None, :, None] * posture.beside(own), posture.turned()
        floor = LEAST_SHARE**temper * heading
        if len(pieces) == 1:
            seen = np.moveaxis(np.moveaxis(beside, 2, 0) @ np.moveaxis(turned, 1, 0), 0, 1) + floor.sum()
            return np.log(np.maximum(seen, LEAST))
        here = beside[..., None] * turned + floor[:, None, None]
        if forward is not None:
            here *= forward
        size = np.maximum(here.sum(1), LEAST)
        total += np.log(size)
        forward = np.stack([walked(one, DRIFT) for one in here / size[:, None]])
    return total


def wearers(constant: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Wearers whose own means stand for all: a grid of a normal distribution, of one mean of Student's.

    Parameters
    ----------
    constant : (M,) standard deviations; Student's scale

    Returns
    -------
    own : (K, M)
    weight : (K,), sums to one
    """
    if len(constant) == 1:
        weight = (1 + FAR_NODES**2 / TAILS) ** (-(TAILS + 1) / 2)
        return FAR_NODES[:, None] * constant, weight / weight.sum()
    nodes = np.array(list(itertools.product(NODES, repeat=len(constant))))
    weight = np.exp(-0.5 * np.sum(nodes**2, -1))
    return nodes * constant, weight / weight.sum()


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
    own = np.stack([chain.by_heading(s, parent, child) for s in range(len(chain.postures))])
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
