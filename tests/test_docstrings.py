"""Every public module, class and function says what it is; those that take arrays say of what shape."""

from __future__ import annotations

import ast
import re
from functools import cache

from package_sources import SOURCES, trees

SENTENCE_ENDS = (".", "!", "?", "…")


def public(tree: ast.Module) -> list[tuple[str, ast.FunctionDef | ast.ClassDef]]:
    """Public classes and functions, methods of public classes too; properties and methods by dotted name."""
    found: list[tuple[str, ast.FunctionDef | ast.ClassDef]] = []
    for node in tree.body:
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)) and not node.name.startswith("_"):
            found.append((node.name, node))
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            methods = [m for m in node.body if isinstance(m, ast.FunctionDef) and not m.name.startswith("_")]
            found += [(f"{node.name}.{method.name}", method) for method in methods]
    return found


@cache
def everything() -> dict[str, ast.FunctionDef | ast.ClassDef]:
    """Place -> public class, function or method."""
    return {f"{path}:{name}": node for path, tree in trees().items() for name, node in public(tree)}


def first_line_is_wrong(docstring: str | None) -> str:
    """What is wrong with a docstring's first line, or nothing."""
    if not docstring:
        return "it has no docstring"
    first = docstring.strip().splitlines()[0]
    return "" if first.endswith(SENTENCE_ENDS) else f"its first line does not end a sentence: {first!r}"


def takes_arrays(node: ast.FunctionDef) -> bool:
    arguments = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    return any(a.annotation and "ndarray" in ast.unparse(a.annotation) for a in arguments)


def returns_something(node: ast.FunctionDef) -> bool:
    return node.returns is not None and ast.unparse(node.returns) not in ("None", "NoReturn")


def sections_missing(node: ast.FunctionDef) -> list[str]:
    """Numpydoc sections that a function with array arguments lacks."""
    docstring = ast.get_docstring(node) or ""
    wanted = ["Parameters", *(["Returns"] if returns_something(node) else [])]
    return [section for section in wanted if f"{section}\n{'-' * len(section)}" not in docstring]


def test_every_module_says_what_it_is():
    there = [path for path, source in SOURCES.items() if source.strip()]
    said = {path: first_line_is_wrong(ast.get_docstring(trees()[path])) for path in there}
    assert {path: wrong for path, wrong in said.items() if wrong} == {}


def test_every_public_name_says_what_it_is():
    said = {name: first_line_is_wrong(ast.get_docstring(node)) for name, node in everything().items()}
    assert {name: wrong for name, wrong in said.items() if wrong} == {}


def test_functions_of_arrays_say_what_goes_in_and_out():
    lacking = {
        name: sections_missing(node)
        for name, node in everything().items()
        if isinstance(node, ast.FunctionDef) and "." not in name.split(":")[1] and takes_arrays(node)
    }  # methods may lean on what their class says of its attributes
    assert {name: sections for name, sections in lacking.items() if sections} == {}


SHAPE = re.compile(r"\([^()\n]*,[^()\n]*\)")  # (T,), (K + 1, U, 3)


def test_array_attributes_are_described():
    """By name in the class's docstring, or by as many shapes as there are arrays."""
    lacking = []
    for name, node in everything().items():
        if not isinstance(node, ast.ClassDef):
            continue
        fields = [f for f in node.body if isinstance(f, ast.AnnAssign) and isinstance(f.target, ast.Name)]
        arrays = [ast.unparse(f.target) for f in fields if "ndarray" in ast.unparse(f.annotation)]
        docstring = ast.get_docstring(node) or ""
        named = all(re.search(rf"\b{field}\b", docstring) for field in arrays)
        if not named and len(SHAPE.findall(docstring)) < len(arrays):
            lacking.append(name)
    assert not lacking


def test_these_checks_see_what_they_look_for():
    bad = ast.parse('def f(x: np.ndarray) -> float:\n    """Half a sentence"""\n')
    ((_, node),) = public(bad)
    assert isinstance(node, ast.FunctionDef)
    assert first_line_is_wrong(ast.get_docstring(node)) and first_line_is_wrong(None)
    assert sections_missing(node) == ["Parameters", "Returns"] and takes_arrays(node)
    assert (
        public(ast.parse("class A:\n    def b(self): ...\n    def _c(self): ...\ndef _d(): ...\n"))[1][0]
        == "A.b"
    )
