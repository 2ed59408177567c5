"""Every exception that bodyfit raises on purpose; the command maps them to its exit codes."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

LONGEST = 4000  # letters of a message: fifty lines of a terminal (by reasoning)


class BodyfitError(Exception):
    """Anything that bodyfit refuses, with `exit_code` for the command; long quotations are cut."""

    exit_code = 2

    def __init__(self, message: str = "") -> None:
        if len(message) > LONGEST:
            message = f"{message[: LONGEST // 2]} … {message[-LONGEST // 2 :]}"
        super().__init__(message)


class InputError(BodyfitError, ValueError):
    """A call or a file is wrong: names where, what was found, what was expected, what to do."""

    exit_code = 2


class OutputError(BodyfitError, OSError):
    """A result could not be written; nothing half-written stays behind."""

    exit_code = 2


class CannotReconstructError(BodyfitError):
    """The capture is well-formed, yet it does not hold what a reconstruction needs."""

    exit_code = 1


def suggest(word: str, allowed: Iterable[str]) -> str:
    """Sentence listing the allowed words, the nearest one first when one is near.

    Parameters
    ----------
    word : what was found
    allowed : what would have been accepted

    Returns
    -------
    sentence : "expected one of a, b, c" and, when a name is near, "; did you mean 'b'?"
    """
    names = [str(name) for name in allowed]
    near = difflib.get_close_matches(str(word), names, n=1, cutoff=0.55)
    hint = f"; did you mean {near[0]!r}?" if near else ""
    return f"expected one of {', '.join(names)}{hint}"
