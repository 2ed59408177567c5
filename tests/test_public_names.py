"""Public names: each is there, and each class that a public signature, field or method names is one."""

from __future__ import annotations

import ast
import inspect
import re
from functools import cache

import pytest
from package_sources import trees

import bodyfit

PUBLIC = [name for name in bodyfit.__all__ if name not in ("__version__", "errors")]
WORD = re.compile(r"\b[A-Za-z_]\w*\b")


@cache
def classes() -> set[str]:
    """Public classes of the package, the commands' left out."""
    return {
        node.name
        for path, tree in trees().items()
        for node in tree.body
        if isinstance(node, ast.ClassDef)
        and not node.name.startswith("_")
        and not path.startswith("commands")
    }


def annotations(thing: object) -> list[str]:
    """Every annotation of a function, or of a class: fields, properties, methods that are not private."""
    if inspect.isfunction(thing):
        return [str(text) for text in thing.__annotations__.values()]
    out: list[str] = []
    for base in getattr(thing, "__mro__", ()):
        if not base.__module__.startswith("bodyfit"):
            continue
        out += [str(text) for text in vars(base).get("__annotations__", {}).values()]
        for name, value in vars(base).items():
            if name.startswith("_"):
                continue
            function = getattr(value, "fget", None) or getattr(value, "func", None) or value
            function = getattr(function, "__func__", function)  # class methods
            if inspect.isfunction(function):
                out += annotations(function)
    return out


def unreachable(thing: object, public: set[str]) -> set[str]:
    """Classes of this package that the annotations name and that are not public."""
    words = {word for text in annotations(thing) for word in WORD.findall(text)}
    return (words & classes()) - public


@pytest.mark.parametrize("name", PUBLIC)
def test_every_class_that_a_public_name_names_is_public(name):
    assert unreachable(getattr(bodyfit, name), {*PUBLIC, *vars(bodyfit.errors)}) == set()


def test_this_sees_what_it_looks_for():
    assert unreachable(bodyfit.fit, {"Fit"}) == {"Capture", "Weights"}
    assert "Summary" in unreachable(bodyfit.Fit, {"Fit"})
    assert "Person" in unreachable(bodyfit.BodyModel, {"Fit"})  # of a method
    assert "TrialFigures" in unreachable(bodyfit.SamplingFigures, set())


def test_all_names_are_there_and_in_order():
    assert list(bodyfit.__all__) == sorted(bodyfit.__all__)
    assert all(hasattr(bodyfit, name) for name in bodyfit.__all__)
