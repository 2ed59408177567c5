"""Every number at the top of a module says where it comes from, in a small fixed vocabulary.

The words stand in a comment on its line, in the comment lines right above, or in the text of a `Limit(...)`.
Sizes of drawings (letters, colours, pixels, rows of pages) are exempt, by folder.
"""

from __future__ import annotations

import ast
import io
import re
import tokenize
from collections import Counter
from functools import cache

from package_sources import SOURCES

DRAWINGS = re.compile(
    r"study/pages/|study/report/|commands/terminal/|(^|[/_])(page|plots|moving_figure)\.py$"
)
STANDARD = r"ISO|IEC|IEEE|ISB|CGPM|CODATA|IERS|WGS ?84|WMM|TR8350|RFC|FIPS|BIDS|ANSUR|glTF|W3C|POSIX|C3D"
AUTHOR_YEAR = r"[A-Z][\w’'-]+( and [A-Z]\w+| et al\.)? \(?(1[6-9]|20)\d\d\b"
KINDS = {  # the first that fits counts
    "not tried": r"\bchosen; not tried\b|\bchosen, not tried\b",
    "tried": r"\btried: as `?[A-Za-z_.]*[A-Z_]{3}|\btried: (?:.*\W)?on \w",
    "source": rf"doi:|PMC\d|\b({STANDARD})\b|{AUTHOR_YEAR}|data sheet",
    "by definition": r"\bby definition\b",
    "from memory": r"\bfrom memory\b",
    "common practice": r"\bcommon practice\b",
    "by reasoning": r"\bby reasoning\b",
    "as another": r"\bas `?[A-Za-z_.]*[A-Z_]{3}",
}


def kind_of(said: str) -> str | None:
    """The kind of origin that a text tells, or None."""
    return next((kind for kind, pattern in KINDS.items() if re.search(pattern, said)), None)


def is_number(node: ast.AST) -> bool:
    """A number other than 0 and 1, of which directions and identities are made."""
    plain = isinstance(node, ast.Constant) and isinstance(node.value, (int, float, complex))
    return plain and not isinstance(node.value, bool) and node.value not in (0, 1)  # type: ignore[union-attr]


def constants(source: str) -> list[tuple[str, int, str]]:
    """Name, line and what is said beside it, of each assignment of numbers at the top of a module."""
    comments = {
        token.start[0]: (token.string, token.line.strip().startswith("#"))
        for token in tokenize.generate_tokens(io.StringIO(source).readline)
        if token.type == tokenize.COMMENT
    }
    out = []
    for node in ast.parse(source).body:
        if not isinstance(node, (ast.Assign, ast.AnnAssign)) or node.value is None:
            continue
        if not any(is_number(part) for part in ast.walk(node.value)):
            continue
        lines = list(range(node.lineno, (node.end_lineno or node.lineno) + 1))
        above = node.lineno - 1
        while above in comments and comments[above][1]:
            lines.append(above)
            above -= 1
        said = [comments[line][0].lstrip("# ") for line in sorted(lines) if line in comments]
        for part in ast.walk(node.value):
            if isinstance(part, ast.Call) and ast.unparse(part.func) == "Limit":
                said += [str(text.value) for text in ast.walk(part) if isinstance(text, ast.Constant)]
        target = node.targets[0] if isinstance(node, ast.Assign) else node.target
        out.append((ast.unparse(target), node.lineno, " ".join(said)))
    return out


@cache
def found() -> dict[str, list[tuple[str, int, str]]]:
    """Module -> its numbers."""
    return {name: constants(source) for name, source in SOURCES.items() if not DRAWINGS.search(name)}


def test_numbers_say_where_they_come_from():
    numbers = [(f"{module}:{line} {name}", said) for module, of in found().items() for name, line, said in of]
    assert [where for where, said in numbers if kind_of(said) is None] == []


def test_kinds_of_origin(capsys):
    count = Counter(kind_of(said) for of in found().values() for _, _, said in of)
    with capsys.disabled():
        print("\norigins of numbers: " + ", ".join(f"{kind} {n}" for kind, n in count.most_common()))
    assert sum(count.values()) > 200


def test_these_checks_see_what_they_look_for():
    source = (
        "A = 2.0\nB = 3.0  # m, from memory\n# Winter 2009\nC = (4, 5)\nD = 0.0\nE = [[1, 0], [0, 1]]\n"
        'F = Limit(6.0, "mm", "tried: 3 to 12, on three demos")\nG = 2 * A\nH = True\n\ndef f():\n    x = 7\n'
    )
    assert [(name, kind_of(said)) for name, _, said in constants(source)] == [
        ("A", None),
        ("B", "from memory"),
        ("C", "source"),
        ("F", "tried"),
        ("G", None),
    ]
    assert kind_of("m/s², usual") is None
    assert kind_of("m/s², tried: 3 to 12") is None, "on what?"
    assert (
        kind_of("tried: as CUTOFF_HZ") == "tried" and kind_of("chosen; not tried: on nobody") == "not tried"
    )
    assert kind_of("as KEYFRAME_HZ of the smoother") == "as another"
