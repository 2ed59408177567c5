"""The one style sheet of all pages, its colours from the one list of colours."""

from __future__ import annotations

from importlib.resources import files as package_files

from ...core.colours import PAGE

_VARIABLES = " ".join(f"--{name}: {colour};" for name, colour in PAGE.items())
STYLE = f":root {{ {_VARIABLES} }}\n" + (package_files(__package__ or "") / "page.css").read_text(
    encoding="utf-8"
)
