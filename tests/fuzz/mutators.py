"""Files changed as accidents and enemies change them: bytes, lines, cells, values; by a seeded draw."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from random import Random
from typing import Any

CHANGES = (1, 1, 1, 1, 2, 2, 3, 4)  # of one input: most are to be read, not refused at once
LONGEST = 200_000  # bytes
NUMBERS = (
    *("nan", "inf", "-inf", "1e308", "-1e308", "1e-308", "0", "-0.0", "-1", "0.5", "1e18"),
    *("9007199254740993", "1772359200000000000", "9" * 400, "1e400", "0x10", "1_000", "007", "1,5", "١٢"),
    "2026-03-01T10:00:00Z",
)  # fmt: skip
VALUES = (
    *NUMBERS,
    *('""', '"x"', '"\\u0000"', '"\\u001b[31m"', '"a\\nb"', '"../../etc"', '"' + "a" * 300 + '"', "true"),
    *("[]", "{}", "[[]]", "[" * 300 + "]" * 300, "[1, 2]", "[nan, 0, 1]", "[0, 0, 0]", "[0, 0, 0, 0]"),
    "[1e308, 0, 0]",
    *("{ a = 1 }", "[{}]", '["ax", "ax", "ax"]', '{ columns = ["ax"], unit = "g" }', "'''", '"deg/s"'),
    '"hinge"',
)  # fmt: skip
CELLS = (*NUMBERS, "", " ", "NA", "null", "x", '"', '"1', "1;2", "1\t2", "\x00", "\ufeff", "1e", "--", "3 %")
NUMBER = re.compile(rb"(?<![\w.])-?\d+(?:\.\d+)?(?![\w.])")
BYTES = (b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b"\r", b"\r\n", b"\n\n", b",", b";", b'"', b"#", b"[", b"]",
         b"=", b"{", b"\xc3\x28", b"\xed\xa0\x80", b"\x1b[2J", b"\t", b"e", b"-", b".")  # fmt: skip


def mutated(content: bytes, draw: Random, others: tuple[bytes, ...]) -> bytes:
    """The file with one to a few changes.

    Parameters
    ----------
    content : of a sound file
    draw : decides
    others : contents of sound files of the same format, pieces of which may be put in
    """
    own = OF_JSON if content[:1] == b"{" else OF_TABLE if b"=" not in content else OF_TOML
    for _ in range(draw.choice(CHANGES)):
        change = draw.choice(draw.choice((OF_BYTES, own, own, (_other_number,))))
        content = change(content, draw, others) if content else draw.choice(others)
    return content[:LONGEST]


Change = Callable[[bytes, Random, tuple[bytes, ...]], bytes]

# ---- bytes ----


def _span(content: bytes, draw: Random, longest: int = 40) -> slice:
    start = draw.randrange(len(content))
    return slice(start, start + draw.randint(1, longest))


def _flipped(content: bytes, draw: Random, _: Any) -> bytes:
    at = draw.randrange(len(content))
    return content[:at] + bytes([content[at] ^ (1 << draw.randrange(8))]) + content[at + 1 :]


def _without(content: bytes, draw: Random, _: Any) -> bytes:
    span = _span(content, draw)
    return content[: span.start] + content[span.stop :]


def _twice(content: bytes, draw: Random, _: Any) -> bytes:
    span = _span(content, draw, 400)
    piece = content[span] * draw.choice((1, 1, 2, 50))
    return content[: span.stop] + piece + content[span.stop :]


def _with_bytes(content: bytes, draw: Random, _: Any) -> bytes:
    at = draw.randrange(len(content))
    return content[:at] + draw.choice(BYTES) * draw.choice((1, 1, 1, 3, 1000)) + content[at:]


def _cut_off(content: bytes, draw: Random, _: Any) -> bytes:
    return content[: draw.randrange(len(content))]


def _spliced(content: bytes, draw: Random, others: tuple[bytes, ...]) -> bytes:
    other = draw.choice(others)
    at, piece = draw.randrange(len(content)), other[_span(other, draw, 300)]
    return content[:at] + piece + content[at:]


def _other_number(content: bytes, draw: Random, _: Any) -> bytes:
    """A number near enough to the one that stood there to be read."""
    found = list(NUMBER.finditer(content))
    if not found:
        return content
    one = draw.choice(found)
    other = float(one[0]) * draw.choice((0, -1, 1.01, 0.5, 2, 10, 1e-3, 1e3)) + draw.choice((0, 0, 1, -0.1))
    return content[: one.start()] + f"{other:.6g}".encode() + content[one.end() :]


OF_BYTES: tuple[Change, ...] = (_flipped, _without, _twice, _with_bytes, _cut_off, _spliced)

# ---- lines ----


def _lines(change: Callable[[list[bytes], int, Random, tuple[bytes, ...]], None]) -> Change:
    def changed(content: bytes, draw: Random, others: tuple[bytes, ...]) -> bytes:
        lines = content.splitlines(keepends=True)
        change(lines, draw.randrange(len(lines)), draw, others)
        return b"".join(lines)

    return changed


def _drop(lines: list[bytes], at: int, *_: Any) -> None:
    del lines[at]


def _repeat(lines: list[bytes], at: int, draw: Random, _: Any) -> None:
    lines[at:at] = [lines[at]] * draw.choice((1, 1, 20, 300))


def _move(lines: list[bytes], at: int, draw: Random, _: Any) -> None:
    line = lines.pop(at)
    lines.insert(draw.randint(0, len(lines)), line)


def _borrow(lines: list[bytes], at: int, draw: Random, others: tuple[bytes, ...]) -> None:
    theirs = draw.choice(others).splitlines(keepends=True)
    first = draw.randrange(len(theirs))
    lines[at:at] = theirs[first : first + draw.choice((1, 1, 5))]


LINES = tuple(map(_lines, (_drop, _repeat, _move, _borrow)))


def _toml_value(lines: list[bytes], at: int, draw: Random, _: Any) -> None:
    name, equals, _value = lines[at].partition(b"=")
    if equals:
        lines[at] = name + b"= " + draw.choice(VALUES).encode() + b"\n"
    else:
        lines[at] = lines[at].replace(b"]", draw.choice((b".x]", b"", b"]]", b'."a b"]', b".x.y]")))


def _toml_inner_number(lines: list[bytes], at: int, draw: Random, _: Any) -> None:
    head, equals, value = lines[at].partition(b"=")
    words = value.split(b" ")
    words[draw.randrange(len(words))] = draw.choice(VALUES).encode()
    lines[at] = head + equals + b" ".join(words)


OF_TOML: tuple[Change, ...] = (*LINES, *map(_lines, (_toml_value, _toml_value, _toml_inner_number)))


def _cell(lines: list[bytes], at: int, draw: Random, _: Any) -> None:
    cells = lines[at].rstrip(b"\n").split(b",")
    cells[draw.randrange(len(cells))] = draw.choice(CELLS).encode()
    lines[at] = b",".join(cells) + b"\n"


def _column(lines: list[bytes], at: int, draw: Random, _: Any) -> None:
    """From a row on, the same cell in every row, or every second."""
    wide, word = max(1, lines[0].count(b",") + 1), draw.choice(CELLS).encode()
    place, step = draw.randrange(wide), draw.choice((1, 2, 7))
    for k in range(max(at, 1), len(lines), step):
        cells = lines[k].rstrip(b"\n").split(b",")
        if place < len(cells):
            cells[place] = word
            lines[k] = b",".join(cells) + b"\n"


def _separator(lines: list[bytes], _at: int, draw: Random, _: Any) -> None:
    other = draw.choice((b";", b"\t", b"  ", b"|"))
    lines[:] = [line.replace(b",", other) for line in lines]


OF_TABLE: tuple[Change, ...] = (*LINES, *map(_lines, (_cell, _cell, _column, _column, _separator)))

# ---- JSON ----


def _json_value(content: bytes, draw: Random, _: Any) -> bytes:
    """One value of the tree replaced or gone; bytes where it is no JSON any more."""
    try:
        whole = json.loads(content)
    except (ValueError, RecursionError):
        return content
    inner, found = whole, None
    while isinstance(inner, dict | list) and inner:
        key = draw.choice(list(inner)) if isinstance(inner, dict) else draw.randrange(len(inner))
        found, inner = (inner, key), inner[key]
        if draw.random() < 0.15:
            break
    if found is not None:
        holder, key = found
        if draw.random() < 0.2:
            del holder[key]
        else:
            holder[key] = draw.choice((None, "x", -1, [], {}, 1e308, [["a"]], True, float("nan"), 0,
                                       "\x1b[0m", 10**400, "1", [1, 2, 3], {"a": None}, whole))  # fmt: skip
    try:
        return json.dumps(whole).encode()
    except ValueError:  # the tree inside itself
        return content


OF_JSON: tuple[Change, ...] = (_json_value, _json_value, _json_value, _json_value)
