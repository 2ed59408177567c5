"""What the command does with an error that nobody foresaw: a line, a file with the trace, exit code 70."""

from __future__ import annotations

import os
import platform
import tempfile
import traceback

from ..errors import BodyfitError
from ..version import __version__


class UnforeseenError(BodyfitError):
    """A fault of bodyfit itself; its exit code is EX_SOFTWARE of BSD's sysexits.h (from memory)."""

    exit_code = 70


def unforeseen(error: Exception) -> UnforeseenError:
    """The error to tell, its trace written to a file of its own.

    Parameters
    ----------
    error : caught last

    Returns
    -------
    UnforeseenError; names the trace file, or says that none could be written
    """
    told = f"{type(error).__name__}: {str(error)[:300]}".rstrip(": ")
    try:
        handle, path = tempfile.mkstemp(prefix="bodyfit-trace-", suffix=".txt")
        with os.fdopen(handle, "w", encoding="utf-8", errors="replace") as file:
            file.write(f"bodyfit {__version__}, Python {platform.python_version()}, {platform.platform()}\n")
            file.writelines(traceback.format_exception(error))
        kept = f"the full trace is in {path}; please report it with that file"
    except OSError as failed:
        kept = f"the trace could not be kept ({failed.strerror}); please report it"
    return UnforeseenError(f"an error that was not foreseen ({told}); {kept}")
