"""What two units say about the joint between them when all is solved: agreement, or a contradiction.

The weights promise that two units feel nearly the same acceleration where their segments meet. The smoother
widens that promise to what it finds, so that nothing looks unlikely in the end; but units of which one is
late, turned, mislabelled or on another segment feel what has little to do with each other, however the rest
is fitted.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..alignment.joint_centre import joint_forces
from ..core.findings import Finding
from ..core.rotations import UP, vector_norm

if TYPE_CHECKING:
    from .track import Track

# median disagreement over the median acceleration of both; unrelated units: about 1; tried: at most 0.26 on
# three demos and six recordings, 0.49 to 1.04 with a unit half a second late or a gyroscope 11 °/s off
CONTRADICTS = 0.4
# m/s², less says nothing; tried: 0.15 and 0.25, on robot_arm_triangle_200, which jerks and reaches 0.15
NOTICED = 0.25
FITS = 0.3  # below it, a joint speaks for both of its units; tried: as CONTRADICTS
NOTHING_KNOWN = np.pi / np.sqrt(3)  # rad, standard deviation of an angle that may be any; by definition


@dataclass(frozen=True)
class Contradiction:
    """Two units that feel different accelerations at the joint between them.

    Attributes
    ----------
    joint : name
    units : names of those to suspect: the two, or the one that contradicts more and no joint speaks for
    off : m/s², median disagreement
    share : of the median acceleration of both, root of the sum of squares
    """

    joint: str
    units: tuple[str, ...]
    off: float
    share: float


def contradictions(track: Track) -> list[Contradiction]:
    """Joints at which units contradict each other.

    Parameters
    ----------
    track : units that were solved together; others say nothing about each other

    Returns
    -------
    list of Contradiction
    """
    ends, units = track.found.body.ends, track.problem.signals.units
    off, share = _disagreements(track)
    pairs = np.column_stack([ends.parents, ends.children])
    apart = share > CONTRADICTS
    fits = np.isin(np.arange(len(units)), pairs[share < FITS])  # another joint speaks for these
    bad = apart & (off > NOTICED)
    # quieter joints count beside a loud one of the same unit
    bad |= apart & (np.isin(pairs, pairs[bad]) & ~fits[pairs]).any(1)
    counts = np.bincount(pairs[bad].ravel(), minlength=len(fits)) * ~fits
    names = _joints(track)
    return [
        Contradiction(
            names[j],
            tuple(units[u] for u in pairs[j] if counts[u] == counts[pairs[j]].max()),
            float(off[j]),
            float(share[j]),
        )
        for j in np.flatnonzero(bad).tolist()
    ]


def not_vouched_for(track: Track) -> set[str]:
    """Names of joints of which nothing is known: units contradict each other, and these do not fit either.

    Where something is wrong with a unit that can't be put right, what its neighbours' joints show is bent to
    it; one whose units agree well speaks for itself.
    """
    if not contradictions(track):
        return set()
    _, share = _disagreements(track)
    return {name for name, part in zip(_joints(track), share, strict=True) if part > FITS}


def _joints(track: Track) -> list[str]:
    """Names of the joints whose centres were solved for."""
    return [track.problem.ties[int(j)].joint.name for j in track.found.body.joints]


def _disagreements(track: Track) -> tuple[np.ndarray, np.ndarray]:
    """(J,) m/s², median disagreement at each joint, and its share of what both units feel there."""
    found, problem = track.found, track.problem
    ends, levers = found.body.ends, found.body.levers
    off, share = np.zeros((2, len(levers)))
    if not len(levers):
        return off, share
    both = joint_forces(found.average, ends, levers)
    known = found.average.known[:, ends.parents] & found.average.known[:, ends.children]
    for j, at in enumerate(known.T):
        if at.any():
            parent, child = (force[at, j] for force in both)
            off[j] = _median(parent - child)
            felt = [_median(force - problem.g * UP) for force in (parent, child)]
            share[j] = off[j] / max(float(np.linalg.norm(felt)), 1e-9)
    return off, share


def _median(vectors: np.ndarray) -> float:
    return float(np.median(vector_norm(vectors)))


def contradiction_findings(track: Track) -> Iterator[Finding]:
    """What to say of them, one finding a joint."""
    for one in contradictions(track):
        who = " and ".join(one.units)
        yield Finding(
            "units-contradict",
            "serious",
            f"{one.joint}: its two units feel accelerations there that have little to do with each other; "
            f"something is wrong with {who}",
            f"Check of {who}: stamps, axes, units of measure, segment; leave out what can't be put right",
            units=one.units,
            joints=(one.joint,),
            value=100 * one.share,
            threshold=100 * CONTRADICTS,
            measure="% of their acceleration",
            source="of units on one body at most 26 % (three demos, six recordings); of unrelated ones 100 %",
            handled="its angles, and those of joints that disagree by over 30 %, are marked as not known",
            harm_deg=60.0,
        )
