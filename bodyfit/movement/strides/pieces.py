"""Long recordings in pieces that overlap: memory that does not grow with their length."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...core.findings import Finding
from ...feet.samples import SHORTEST_S, foot_samples
from ...feet.smoother import foot_path
from ...recording.capture import Unit
from .findings import stride_findings
from .foot_motion import FootMotion, motion_of_path
from .result import Event, FootTrack, Stride
from .swings import swings
from .table import events_of, strides_of

WHOLE_S = 180.0  # s up to which a recording is one piece (by reasoning: one foot takes some 0.15 GB)
PIECE_S = 60.0  # s, of longer ones: some fifty strides tell the constants (by reasoning)
MARGIN_S = 8.0  # s by which pieces reach into their neighbours, so that ends are no ends (by reasoning)
OTHER = {"left": "right", "right": "left"}


@dataclass(frozen=True, eq=False)
class Told:
    """What one piece, or all of them, tell: no matter how long the signals were.

    Attributes
    ----------
    events, strides : in any order
    tracks : side -> (K,) s, (K, 3) m, (K, 3, 3) world_from_unit
    findings : (side, Finding)
    """

    events: list[Event]
    strides: list[Stride]
    tracks: dict[str, tuple[np.ndarray, np.ndarray, np.ndarray]]
    findings: list[tuple[str, Finding]]


def told_by(motions: Mapping[str, FootMotion], length_sd: float | None = None) -> Told:
    """Events, strides, tracks and findings of feet whose motion is known.

    Parameters
    ----------
    motions : side -> motion
    length_sd : m, of every stride's length, of a fitted body, where it is known
    """
    found = {side: swings(motion) for side, motion in motions.items()}
    out = Told([], [], {}, [])
    for side, motion in motions.items():
        out.events.extend(events_of(motion, found[side]))
        rows = strides_of(motion, found[side], found.get(OTHER.get(side, "")))
        out.strides.extend(row if length_sd is None else replace(row, length_sd=length_sd) for row in rows)
        out.tracks[side] = motion.time, motion.place, motion.R
        out.findings.extend((side, one) for one in stride_findings({side: motion}, found))
    return out


def told_by_units(units: Mapping[str, Unit], gravity: float) -> Told:
    """The same of units on feet, piece by piece where the recording is long.

    Parameters
    ----------
    units : side -> unit on that foot
    gravity : m/s²

    Returns
    -------
    Told; tracks of pieces are laid on each other where they meet
    """
    first = min(unit.time[0] for unit in units.values())
    last = max(unit.time[-1] for unit in units.values())
    if last - first <= WHOLE_S:
        return told_by(_motions(units, gravity))
    edges = np.linspace(first, last, int(np.ceil((last - first) / PIECE_S)) + 1)
    return _joined(_pieces(units, gravity, edges))


def _pieces(units: Mapping[str, Unit], gravity: float, edges: np.ndarray) -> Iterable[Told]:
    """What lies between two edges, from a piece that reaches beyond them; only one is held at a time."""
    for number, (start, end) in enumerate(itertools.pairwise(edges)):
        cut = {side: unit.between(start - MARGIN_S, end + MARGIN_S) for side, unit in units.items()}
        enough = {s: u for s, u in cut.items() if len(u.time) > 1 and u.time[-1] - u.time[0] > SHORTEST_S}
        inside = _inside(start if number else -np.inf, end if number < len(edges) - 2 else np.inf)
        piece = told_by(_motions(enough, gravity))
        yield dataclasses.replace(
            piece,
            events=[event for event in piece.events if inside(event.time)],
            strides=[stride for stride in piece.strides if inside(stride.start)],
        )


def _inside(start: float, end: float) -> Callable[[float], bool]:
    return lambda time: start <= time < end


def _motions(units: Mapping[str, Unit], gravity: float) -> dict[str, FootMotion]:
    return {
        side: motion_of_path(foot_path(foot_samples(unit, gravity)), side) for side, unit in units.items()
    }


def _joined(pieces: Iterable[Told]) -> Told:
    """All pieces as one: of findings the worst of each kind and foot."""
    out = Told([], [], {}, [])
    worst: dict[tuple[str, str], Finding] = {}
    tracks: dict[str, list[tuple[np.ndarray, np.ndarray, np.ndarray]]] = {}
    for piece in pieces:
        out.events.extend(piece.events)
        out.strides.extend(piece.strides)
        for side, track in piece.tracks.items():
            parts = tracks.setdefault(side, [])
            if not parts:
                parts.append(track)
            else:
                parts[-1], continued = _laid_on(parts[-1], track)
                parts.append(continued)
        for side, one in piece.findings:
            known = worst.get((side, one.kind))
            if known is None or abs(one.value or 0.0) > abs(known.value or 0.0):
                worst[side, one.kind] = one
    for side, parts in tracks.items():
        time, place, R = (np.concatenate(column) for column in zip(*parts, strict=True))
        out.tracks[side] = time, place, R
    out.findings.extend((side, _of_worst(one)) for (side, _), one in worst.items())
    return out


def _laid_on(before: Sequence[np.ndarray], after: Sequence[np.ndarray]) -> tuple[tuple, tuple]:
    """A track up to the middle of where two meet, and the next one from there on, turned and moved onto it.

    Turned about the vertical only, by how the unit lies in both at its slowest moment there.
    """
    lo, hi = max(before[0][0], after[0][0]), min(before[0][-1], after[0][-1])
    if hi <= lo:  # nothing between them: the later one goes on where the earlier one ended
        return tuple(before), (after[0], after[1] - after[1][0] + before[1][-1], after[2])
    middle = 0.5 * (lo + hi)
    near = np.flatnonzero(np.abs(before[0] - middle) < 0.4 * (hi - lo))
    a = near[int(np.argmin(np.linalg.norm(np.gradient(before[1][near], axis=0), axis=1)))]
    b = int(np.argmin(np.abs(after[0] - before[0][a])))
    Q = before[2][a] @ after[2][b].T
    yaw = np.arctan2(Q[0, 2] - Q[2, 0], Q[0, 0] + Q[2, 2])
    c, s = np.cos(yaw), np.sin(yaw)
    turn = np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])
    moved = (after[1][b:] - after[1][b]) @ turn.T + before[1][a]
    kept = tuple(column[:a] for column in before)
    return kept, (after[0][b:], moved, turn @ after[2][b:])


def _of_worst(one: Finding) -> Finding:
    return dataclasses.replace(one, what=f"{one.what}, in the worst {PIECE_S:.0f} s")


def tracks_of(told: Told) -> dict[str, FootTrack]:
    """Where each foot went.

    Parameters
    ----------
    told : by all pieces
    """
    return {side: FootTrack(side, time, place) for side, (time, place, _) in told.tracks.items()}
