"""Repetitions of movements in a fit or a capture: from examples to a count, times, curves and findings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ...core.findings import worst_first
from ...errors import InputError
from ...fitting.result import Fit
from ...recording.capture import Capture
from ..cycles.curves import Cycles, at_shares, cycles_of, measured_angles
from .choice import Match
from .counting import count_without_example
from .examples import Like, in_stream, named_spans
from .likeness import alignments, amplitudes, probabilities, standing_out
from .result import Repetition, Repetitions
from .search import Movement, candidates, found_in, templates_of
from .stream import Stream, look_of, stream_of
from .telling import findings_of
from .turned import adapted

RIVALS = 1.0  # distance up to which other movements are weighed against a match (1: no better than rest)


def repetitions(
    recording: Fit | Capture,
    like: Like | None = None,
    examples: Fit | Capture | None = None,
    worn_otherwise: bool = False,
) -> Repetitions:
    """Every repetition of movements of which one to three examples are given, or of whatever repeats.

    Parameters
    ----------
    recording : a fit (its joints are compared, curves are made) or a capture (its units are)
    like : (start, end) in s of an example, several, or movement -> one or several; None: counts what repeats
        most, without an example
    examples : the recording that `like` is about, of the same kind; None: the same one
    worn_otherwise : the units sat otherwise, or on another person, in `examples`: how each is turned is
        solved for and the movement learnt anew. Movements that differ only in direction then look alike

    Returns
    -------
    Repetitions

    Raises
    ------
    InputError
        An example is outside its recording or too short; the recordings hold different units or joints.
    CannotReconstructError
        No unit measures motion.

    Notes
    -----
    Examples become templates, with copies at other tempos; `warping` gives the elastic distance of each to
    every stretch; `choice` takes the set of stretches that explains most; templates become the mean of what
    they found; again, three times. docs/movement.md tells what was measured.
    """
    stream = stream_of(recording)
    if like is None:
        return _counted(recording, stream, examples)
    spans = named_spans(like)
    source = stream if examples is None else _same_kind(stream, stream_of(examples))
    movements = [_movement(stream, source, its) for its in in_stream(source, spans).values()]
    names = list(spans)
    if worn_otherwise:
        units = _units(stream, examples)
        found, movements = adapted(movements, units)
    else:
        found, movements = found_in(movements)
    found = [match for match in found if _measured(stream, match)]
    return _result(recording, stream, names, movements, found, (examples is not None, worn_otherwise))


def _movement(stream: Stream, source: Stream, pieces: Sequence[tuple[int, int]]) -> Movement:
    look = look_of(source, pieces)
    there = look.channels(source)
    channels = there if source is stream else look.channels(stream)
    return Movement(channels, templates_of([there[first:last] for first, last in pieces]))


def _same_kind(stream: Stream, source: Stream) -> Stream:
    """The source, refused unless it holds the same vectors."""
    found, expected = ([(b.kind, b.names) for b in one.blocks] for one in (source, stream))
    if found != expected:
        held = [", ".join(sorted({name for _, names in of for name in names})) for of in (found, expected)]
        raise InputError(
            f"examples: found {held[0]} with {', '.join(kind for kind, _ in found)}; expected the units or "
            f"joints of the recording that is searched, {held[1]} with "
            f"{', '.join(kind for kind, _ in expected)}. Leave out what only one of them has"
        )
    return source


def _units(stream: Stream, examples: Fit | Capture | None) -> list[str]:
    """Unit of every vector; refused where nothing can be turned."""
    if examples is None or any(block.kind == "joints" for block in stream.blocks):
        raise InputError(
            "worn otherwise: expected the examples in another capture than the one searched; found "
            + (
                "no other recording"
                if examples is None
                else "a fit, whose joints do not depend on how units sit"
            )
        )
    return [name for block in stream.blocks for name in block.names]


def _measured(stream: Stream, match: Match) -> bool:
    """Whether half of a stretch was measured at least, and no pause lies in it."""
    inside = slice(match.first, match.last)
    length = stream.time[match.last - 1] - stream.time[match.first]
    return bool(stream.known[inside].mean() >= 0.5 and length <= 2.0 * match.length * stream.step)


def _result(
    recording: Fit | Capture,
    stream: Stream,
    names: Sequence[str],
    movements: Sequence[Movement],
    found: Sequence[Match],
    told: tuple[bool, bool],
) -> Repetitions:
    """Matches as a user reads them."""
    sure = probabilities(found, candidates(movements, RIVALS) if len(movements) > 1 else [])
    out: list[Repetition] = []
    curves: dict[str, Cycles] = {}
    explained: dict[str, float] = {}
    for number, (name, movement) in enumerate(zip(names, movements, strict=True)):
        own = [i for i, match in enumerate(found) if match.movement == number]
        matches = [found[i] for i in own]
        explained[name] = share_explained(movement.channels, matches)
        if not own:
            continue
        position = alignments(movement, np.array([(m.first, m.last) for m in matches]))
        listed = _repetitions(stream, name, matches, sure[own], amplitudes(movement, position))
        out += listed
        if isinstance(recording, Fit):
            usual = np.array(["distance" not in one.odd for one in listed])
            at = np.interp(at_shares(position[usual]), np.arange(len(stream.time)), stream.time)
            curves[name] = cycles_of(name, recording.time, measured_angles(recording), at)
    counted = {name: sum(one.movement == name for one in out) for name in names}
    out.sort(key=lambda one: one.start)
    findings = findings_of(out, counted, *told)
    return Repetitions(tuple(out), counted, explained, curves, worst_first(findings))


def share_explained(channels: np.ndarray, found: Sequence[Match]) -> float:
    """Share of what moves in a stream that matches account for, each by how near it is.

    Parameters
    ----------
    channels : (n, c)
    found : matches that do not overlap

    Returns
    -------
    float, 0 to 1
    """
    energy = np.concatenate([[0.0], np.cumsum((channels**2).sum(1))])
    told = sum((1 - m.score) * (energy[m.last] - energy[m.first]) for m in found)
    return float(np.clip(told / max(energy[-1], 1e-12), 0.0, 1.0))


def _repetitions(
    stream: Stream, name: str, matches: Sequence[Match], sure: np.ndarray, size: np.ndarray
) -> list[Repetition]:
    """Matches of one movement with their ratios, and by what each stands out."""
    last = len(stream.time) - 1
    start = np.array([stream.time[m.first] for m in matches])
    end = np.array([stream.time[min(m.last, last)] for m in matches])
    score = np.array([m.score for m in matches])
    ratios = {"distance": score, "duration": (end - start) / np.median(end - start)}
    ratios["amplitude"] = size / (np.median(size) if np.median(size) > 0 else 1.0)
    odd = {kind: standing_out(values, kind) for kind, values in ratios.items()}
    return [
        Repetition(
            float(start[i]),
            float(end[i]),
            name,
            float(score[i]),
            float(sure[i]),
            float(ratios["duration"][i]),
            float(ratios["amplitude"][i]),
            tuple(kind for kind, stands in odd.items() if stands[i]),
        )
        for i in range(len(matches))
    ]


def _counted(recording: Fit | Capture, stream: Stream, examples: Fit | Capture | None) -> Repetitions:
    """What repeats most, without an example."""
    if examples is not None:
        raise InputError(
            "examples: found another recording and no start and end in it; give both, as like=(start, end)"
        )
    told = count_without_example(stream)
    name = "repeated"
    movements = [Movement(told.channels, told.templates)] if told.templates else []
    result = _result(recording, stream, [name] * len(movements), movements, told.found, (False, False))
    about_examples = ("repetitions-none", "repetition-unsure")  # how sure the count is tells `told`
    findings = worst_first([*told.findings, *(f for f in result.findings if f.kind not in about_examples)])
    return replace(result, counted={name: told.count}, explained={name: told.explained}, findings=findings)
