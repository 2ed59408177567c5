"""Libraries that only exchange needs: imported when a file of that kind is asked for."""

from __future__ import annotations

import importlib
from typing import Any

from ...errors import OutputError


def optional(module: str, kind: str) -> Any:
    """The library, or a refusal that says how to install it.

    Parameters
    ----------
    module : name to import
    kind : of the file that it is needed for, e.g. ".c3d"

    Raises
    ------
    OutputError
        It is not installed.
    """
    try:
        return importlib.import_module(module)
    except ImportError as error:
        raise OutputError(
            f"{kind}: needs the Python package {module!r}, which is not installed ({error}); install it "
            "with: pip install 'bodyfit[exchange]'"
        ) from error
