"""Every finding that the code can make says where its limit comes from, or why it has none."""

from __future__ import annotations

import ast

from package_sources import trees


def made(trees: dict[str, ast.Module]) -> dict[str, ast.Call]:
    """Place and call of every `Finding(…)`."""
    return {
        f"{path}:{node.lineno}": node
        for path, tree in trees.items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Finding"
    }


def without_source(calls: dict[str, ast.Call]) -> list[str]:
    """Places of those that give no source; **more may hold it."""
    return [
        place for place, call in calls.items() if not {key.arg for key in call.keywords} & {"source", None}
    ]


def test_findings_are_made_in_many_places():
    assert len(made(trees())) > 40


def test_a_finding_has_a_source():
    assert without_source(made(trees())) == []


def test_this_sees_what_it_looks_for():
    tree = ast.parse("Finding('a', value=1.0)\nFinding('b', source='here')\nFinding('c', **more)\n")
    assert without_source(made({"x.py": tree})) == ["x.py:1"]
