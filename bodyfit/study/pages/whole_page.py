"""A page as one file that runs and loads nothing but what it was written with.

Names from files are escaped wherever a page shows them. So that this is not the only guard, a page also
tells the browser by checksum which styles and scripts are its own (W3C, Content Security Policy Level 3,
section 6.7.2.3, hash sources); what else has got into it does not run. A style attribute has no
checksum, so that places of labels and lengths of bars are classes, which carry their value in their name.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterable
from html import escape
from importlib.resources import files as package_files

from ...version import __version__
from .style import STYLE

PLACED = re.compile(r'(?<=[ "])(left|top|width|height)-(-?\d+(?:_\d+)?)(pc|px)(?=[ "])')
SHARED = (package_files(__package__ or "") / "tables.js").read_text(encoding="utf-8")
UNITS = {"pc": "%", "px": "px"}


def whole_page(title: str, body: str, scripts: Iterable[str] = ()) -> str:
    """The page as text.

    Parameters
    ----------
    title : shown by the browser; escaped here
    body : HTML, names in it escaped
    scripts : sources that run once the body is there, in this order

    Returns
    -------
    HTML that loads nothing, without scripts besides these and the one that all pages share
    """
    rules, scripts = f"{STYLE}{_placing_rules(body)}", (SHARED, *scripts)
    return (
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"{policy([rules], scripts)}\n"
        f'<link rel="icon" href="data:,"><meta name="generator" content="bodyfit {__version__}">\n'
        f"<title>{escape(title)}</title><style>{rules}</style></head><body>\n{body}\n"
        f"{''.join(f'<script>{script}</script>' for script in scripts)}</body></html>\n"
    )


def policy(styles: Iterable[str], scripts: Iterable[str] = ()) -> str:
    """What the browser may use, as an element of the page's head.

    Parameters
    ----------
    styles, scripts : texts of the page's own elements, exactly as they stand between their tags
    """
    rules = ["default-src 'none'", "base-uri 'none'", "form-action 'none'", "img-src data:"]
    for name, texts in (("style-src", styles), ("script-src", scripts)):
        if sums := " ".join(_checksum(text) for text in texts):
            rules.append(f"{name} {sums}")
    return f'<meta http-equiv="Content-Security-Policy" content="{"; ".join(rules)}">'


def placed(unit: str, **where: float) -> str:
    """Names of classes that place an element, such as top-12_5px.

    Parameters
    ----------
    unit : pc, percent of the element around it, or px
    where : left, top, width, height
    """
    return " ".join(f"{name}-{_short(value).replace('.', '_')}{unit}" for name, value in where.items())


def _short(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _placing_rules(body: str) -> str:
    """A rule for each class of `placed` that the body uses; nothing else can come of it."""
    found = dict.fromkeys(PLACED.findall(body))
    return "".join(
        f".{name}-{value}{unit}{{{name}:{value.replace('_', '.')}{UNITS[unit]}}}\n"
        for name, value, unit in found
    )


def _checksum(text: str) -> str:
    """As the browser sums the element up: its text in UTF-8, line ends as the parser of HTML leaves them."""
    as_parsed = text.replace("\r\n", "\n").replace("\r", "\n")
    digest = hashlib.sha256(as_parsed.encode()).digest()
    return f"'sha256-{base64.b64encode(digest).decode()}'"
