"""Functions are short and take few parameters, but for those listed here, each with its reason."""

from __future__ import annotations

import ast
from functools import cache

import pytest
from package_sources import trees

MOST_LINES, MOST_PARAMETERS = 40, 7  # docstring and `self` not counted

LONG = {
    "estimator/estimate.py estimate": "one loop: what follows what within a step is the method",
}
EQUATION = "its arguments are the symbols of its equation"
CALLERS = "for those who import bodyfit; each has its name in the call and a default"
MANY = {
    "estimator/residuals/chain_closure.py bridge": EQUATION,
    "estimator/residuals/gravity.py velocity_gain": EQUATION,
    "estimator/residuals/joint_angle.py joint_angle": EQUATION,
    "estimator/residuals/posture.py posture": EQUATION,
    "estimator/residuals/travel.py travel": EQUATION,
    "simulation/sensor_errors.py drawn_error": "one size an error, by keyword",
    "fitting/fit.py fit": CALLERS,
    "simulation/simulate.py simulate": CALLERS,
    "study/comparison/compare.py compare": CALLERS,
}
OPTIONS = "commands/"  # a command's parameters are its options


def functions(tree: ast.Module) -> list[tuple[str, int, int]]:
    """Name, lines without docstring, and parameters of every function."""
    out = []
    for node in ast.walk(tree):
        if not isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            continue
        first, last = node.body[0], node.end_lineno or node.lineno
        told = ast.get_docstring(node, clean=False) is not None
        start = (first.end_lineno or first.lineno) + 1 if told else first.lineno
        given = [a.arg for a in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
        out.append((node.name, last - start + 1, len(given) - (given[:1] in (["self"], ["cls"]))))
    return out


@cache
def found() -> dict[str, tuple[int, int]]:
    """Module and name of every function -> its lines and parameters."""
    return {
        f"{path} {name}": (lines, parameters)
        for path, tree in trees().items()
        for name, lines, parameters in functions(tree)
    }


def test_functions_are_short():
    long = {name for name, (lines, _) in found().items() if lines > MOST_LINES}
    assert sorted(long - set(LONG)) == []


def test_functions_take_few_parameters():
    many = {name for name, (_, n) in found().items() if n > MOST_PARAMETERS and not name.startswith(OPTIONS)}
    assert sorted(many - set(MANY)) == []


@pytest.mark.parametrize("name", [*LONG, *MANY])
def test_no_exception_is_kept_that_is_none(name):
    lines, parameters = found()[name]
    assert lines > MOST_LINES if name in LONG else parameters > MOST_PARAMETERS


def test_these_checks_see_what_they_look_for():
    body = "\n".join(f"        x = {i}" for i in range(41))
    source = f'class A:\n    def f(self, a, *, b=1):\n        """Told\n\n        at length."""\n{body}\n'
    assert functions(ast.parse(source)) == [("f", 41, 2)]
