"""Examples of movements as a user gives them: names, starts and ends, checked against the recording."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ...errors import InputError
from .stream import Stream

UNNAMED = "movement"
SHORTEST_S = 0.3  # s; an example of fewer samples has no shape (by reasoning: eight samples)
Span = tuple[float, float]
Like = Mapping[str, Sequence[Span] | Span] | Sequence[Span] | Span


def named_spans(like: Like) -> dict[str, list[Span]]:
    """Movement -> start and end (s) of its examples.

    Parameters
    ----------
    like : one (start, end), several, or movement -> one or several

    Raises
    ------
    InputError
        It holds no example, or one that is not two numbers.
    """
    given = like if isinstance(like, Mapping) else {UNNAMED: like}
    out = {str(name): _spans(str(name), spans) for name, spans in given.items()}
    empty = [name for name, spans in out.items() if not spans]
    if empty or not out:
        raise InputError(
            f"like: found no example{f' of {empty[0]!r}' if empty else ''}; expected the start and end in "
            "seconds of one to three repetitions of each movement"
        )
    return out


def in_stream(stream: Stream, examples: Mapping[str, Sequence[Span]]) -> dict[str, list[tuple[int, int]]]:
    """Movement -> first sample of each example, and the one after its last.

    Parameters
    ----------
    stream : that holds them
    examples : movement -> start and end, s

    Raises
    ------
    InputError
        An example ends before it starts, is too short, or lies outside the recording.
    """
    first, last = float(stream.time[0]), float(stream.time[-1])
    out: dict[str, list[tuple[int, int]]] = {}
    for name, spans in examples.items():
        for start, end in spans:
            where = f"like: {name!r} from {start:g} to {end:g} s"
            if not end - start >= SHORTEST_S:
                raise InputError(
                    f"{where}: found {end - start:.2f} s, expected at least {SHORTEST_S} s from start to "
                    "end; give where one whole repetition starts and where it ends"
                )
            if start < first - stream.step or end > last + stream.step:
                raise InputError(
                    f"{where}: expected it within the recording, {first:.2f} to {last:.2f} s; give times of "
                    "this recording, or the recording that holds the example"
                )
            out.setdefault(name, []).append(stream.samples(start, end))
    return out


def _spans(name: str, spans: Sequence[Span] | Span) -> list[Span]:
    try:
        listed = list(spans)
        if len(listed) == 2 and not any(hasattr(item, "__len__") for item in listed):
            listed = [listed]
        return [(float(start), float(end)) for start, end in listed]  # type: ignore[misc]
    except (TypeError, ValueError):
        raise InputError(
            f"like: {name!r}: found {spans!r:.80}; expected (start, end) in seconds, or a list of them"
        ) from None
