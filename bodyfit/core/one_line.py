"""Text of files and errors on its way to a screen: one line, bounded, without codes a terminal would obey."""

from __future__ import annotations

from ..errors import LONGEST


def one_line(text: str, longest: int = LONGEST) -> str:
    """Text fit for a terminal: one line of bounded length, without codes that a terminal would obey.

    Parameters
    ----------
    text : anything
    longest : characters of the result, some more

    Returns
    -------
    text; what can't be printed is U+FFFD
    """
    line = " ".join(text[: 4 * longest].split())
    line = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in line)
    return line if len(line) <= longest else f"{line[: longest // 2]} … {line[-longest // 4 :]}"
