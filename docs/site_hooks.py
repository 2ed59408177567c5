"""What mkdocs changes on the way: equations become MathML, links out of docs/ become names of files.

Pages are written for code hosts, which show $…$ as equations; browsers show MathML without a script.
"""

from __future__ import annotations

import re
from typing import Any

from latex2mathml.converter import convert

CODE = re.compile(r"(```.*?```|`[^`\n]+`)", re.S)
BLOCK = re.compile(r"\$\$(.+?)\$\$", re.S)
INLINE = re.compile(r"(?<![\\$\w])\$(?!\s)([^$\n]+(?:\n[^$\n]+)?)(?<!\s)\$(?!\d)")
OUTSIDE = re.compile(r"\[([^\]]+)\]\(\.\./[^)]*\)")
NAMED = ("arg",)  # functions that latex2mathml has no name for


def on_page_markdown(markdown: str, **_: Any) -> str:
    """The page with equations as MathML and without links that leave the site."""
    parts = CODE.split(markdown)
    return "".join(part if index % 2 else _changed(part) for index, part in enumerate(parts))


def _changed(text: str) -> str:
    text = OUTSIDE.sub(r"\1", text)
    text = BLOCK.sub(lambda found: _mathml(found[1], "block"), text)
    return INLINE.sub(lambda found: _mathml(found[1], "inline"), text)


def _mathml(latex: str, display: str) -> str:
    for word in NAMED:
        latex = re.sub(rf"\\{word}\b", rf"\\operatorname{{{word}}}", latex)
    return convert(latex.strip().replace("\n", " "), display=display)
