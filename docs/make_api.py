"""Writes docs/api.md: every public name with its signature and what it is.

python docs/make_api.py
"""

from __future__ import annotations

import dataclasses
import inspect
import re
from pathlib import Path

import bodyfit

PAGE = Path(__file__).with_name("api.md")
HEAD = """# Public names

Written by `docs/make_api.py`; do not edit by hand. All of these are reached as `bodyfit.NAME`;
what is not listed here may change without notice.
`help(bodyfit.NAME)` tells shapes, units, frames and errors.
"""


def page() -> str:
    """The whole page."""
    names = [name for name in bodyfit.__all__ if name not in ("__version__", "errors")]
    functions = [name for name in names if inspect.isfunction(getattr(bodyfit, name))]
    classes = [name for name in names if name not in functions]
    parts = [HEAD, "## Functions\n", *map(_entry, functions), "## Classes\n", *map(_entry, classes)]
    errors = [e for e in vars(bodyfit.errors).values() if inspect.isclass(e)]
    rows = [f"- `{e.__name__}`: {_first_line(e)}" for e in errors if issubclass(e, Exception)]
    return "\n".join([*parts, "## Errors\n\nAll in `bodyfit.errors`.\n", *rows]) + "\n"


def _entry(name: str) -> str:
    """A heading, the signature, the first line of the docstring, and a class's own methods."""
    thing = getattr(bodyfit, name)
    lines = [f"### {name}\n", "```python", f"{name}{_signature(thing)}", "```\n", f"{_first_line(thing)}\n"]
    if inspect.isclass(thing):
        fields = {f.name for f in dataclasses.fields(thing)} if dataclasses.is_dataclass(thing) else set()
        for key, value in inspect.getmembers(thing):
            if key.startswith("_") or key in fields:
                continue
            if inspect.isfunction(value) or inspect.ismethod(value):
                lines.append(f"- `{key}{_signature(value)}`: {_first_line(value)}")
            elif isinstance(value, property) or hasattr(value, "func"):
                lines.append(f"- `{key}`: {_first_line(value)}")
        lines.append("")
    return "\n".join(lines)


def _signature(thing: object) -> str:
    """The parameters, one a line where they are many."""
    signature = inspect.signature(thing)  # type: ignore[arg-type]
    if len(text := _plain(str(signature))) < 90:
        return text
    lines = []
    for parameter in signature.parameters.values():
        if parameter.kind is inspect.Parameter.KEYWORD_ONLY and "    *," not in lines:
            lines.append("    *,")
        lines.append(f"    {_plain(str(parameter))},")
    end = text[text.rindex(")") :] if ")" in text else ")"
    return "(\n" + "\n".join(lines) + f"\n{end}"


def _plain(text: str) -> str:
    """A signature without the quotes around its annotations."""
    return re.sub(r"(: |-> )'([^']*)'", r"\1\2", text)


def _first_line(thing: object) -> str:
    return (inspect.getdoc(thing) or "").split("\n")[0]


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
