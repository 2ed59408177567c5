"""Data flows down: who may import whom, which modules touch files, and where each heavy library lives."""

from __future__ import annotations

import ast
from collections import defaultdict
from functools import cache
from pathlib import Path

import pytest
from package_sources import PACKAGE, SOURCES, module_name, trees

# A package imports only from those before it. Packages of one line stand side by side.
ORDER = (
    "version errors weights",
    "core",
    "body",
    "recording",
    "results",
    "files",
    "alignment simulation",
    "calibration",
    "estimator feet",
    "fitting",
    "movement",
    "study",
    "commands",
    "__main__",
)
WITHIN = {  # the same inside packages whose rooms build on each other
    "estimator": "problem residuals linearise solver updates initial uncertainty estimate second_start",
    "study": "pages accuracy inspection comparison planning review report batch",
}
MOST_MODULES = 14  # in one folder

TOUCH_FILES = (
    "core.arrays.scratch",  # files without a name, for what is too large for memory
    "body.motion.shown_figure",  # a picture in memory
    "files.",
    "commands.",
    "__main__",
    "study.comparison.",
    "study.inspection.page",
    "study.inspection.plots",
    "study.planning.",
    "study.report.",
    "study.pages.",
    "study.accuracy.reference_file",
    "study.batch.",
    "simulation.grades",
    "simulation.settings_file",
    "simulation.truth_files",
)
FILE_MODULES = {
    "os",
    "io",
    "shutil",
    "tempfile",
    "csv",
    "json",
    "gzip",
    "zipfile",
    "tomllib",
    "pyarrow",
    "pandas",
}
FILE_CALLS = {
    "open", "read_text", "write_text", "read_bytes", "write_bytes", "mkdir", "unlink", "rmdir", "touch",
    "load", "save", "savez", "loadtxt", "savetxt", "fromfile", "tofile", "exists", "iterdir", "glob",
}  # fmt: skip

# Where a library is allowed; a name with a dot at its end stands for the whole folder.
HOMES = {
    "pinocchio": (
        "body.chain",
        "body.pinocchio_model",
        "body.motion.poses",
        "study.review.checks.",
    ),
    "coal": ("study.review.checks.interpenetration",),
    "casadi": ("body.motion.joint_limits.",),
    "trimesh": ("files.", "study.report."),
    "vqf": ("recording.attitude",),
    "pygeomag": ("recording.earth_field",),
    "pandas": ("files.",),
    "pyarrow": ("files.",),
    "click": ("commands.",),
    "rich": ("commands.",),
    "matplotlib": (
        "fitting.result",
        "study.pages.ticks",
        "study.inspection.plots",
        "study.comparison.plots",
        "study.planning.",
        "body.motion.joint_plots",
        "body.motion.shown_figure",
        "movement.cycles.plots",
        "movement.strides.path_plot",
    ),
    "threadpoolctl": ("fitting.fit", "movement.", "study.inspection.inspect", "core.workers.work"),
    "distributed": ("core.workers.cluster",),
    "ezc3d": ("files.exchange.c3d.",),
    "xlsxwriter": ("files.exchange.",),
    "xarray": ("files.exchange.",),
}


MODULES = {module_name(path): path for path in SOURCES}
ROOT = ""  # the package itself


def imports(module: str, tree: ast.Module, is_package: bool = False) -> tuple[set[str], set[str]]:
    """Modules of this package, and other top-level names, that a source imports: late and for typing too."""
    own, others = set(), set()
    here = module.split(".") if module else []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            others |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and not node.level:
            others.add(str(node.module).split(".")[0])
        elif isinstance(node, ast.ImportFrom):
            up = node.level - (1 if is_package else 0)
            base = [*here[: len(here) - up], *(node.module.split(".") if node.module else [])]
            below = {".".join([*base, alias.name]) for alias in node.names} & set(MODULES)
            own |= below or {".".join(base)}
    return own, others


def is_package(module: str) -> bool:
    return (PACKAGE / Path(*module.split("."))).is_dir()


@cache
def all_imports() -> dict[str, tuple[set[str], set[str]]]:
    """Module -> what it imports."""
    return {m: imports(m, trees()[path], is_package(m)) for m, path in MODULES.items()}


def graph() -> dict[str, set[str]]:
    """Module -> modules of this package that it imports."""
    return {module: own - {ROOT} for module, (own, _) in all_imports().items() if module != ROOT}


def ranks(order: tuple[str, ...]) -> dict[str, int]:
    return {name: rank for rank, line in enumerate(order) for name in line.split()}


def wrong_way(graph: dict[str, set[str]], rank: dict[str, int], prefix: str = "") -> list[str]:
    """Imports between the rooms of one folder that run against their order, or to a neighbour beside."""
    out = []
    for module, targets in graph.items():
        for target in targets:
            if not (module.startswith(prefix) and target.startswith(prefix)):
                continue
            rooms = [name[len(prefix) :].split(".")[0] for name in (module, target)]
            if rooms[0] != rooms[1] and all(rooms) and rank[rooms[1]] >= rank[rooms[0]]:
                out.append(f"{module} imports {target}")
    return sorted(out)


def circles(graph: dict[str, set[str]]) -> list[list[str]]:
    """Groups of nodes that reach each other (Tarjan 1972, doi:10.1137/0201010, by depth-first search)."""
    index: dict[str, int] = {}
    low: dict[str, int] = {}
    stack: list[str] = []
    out = []

    def visit(node: str) -> None:
        index[node] = low[node] = len(index)
        stack.append(node)
        for other in sorted(graph.get(node, ())):
            if other not in index:
                visit(other)
                low[node] = min(low[node], low[other])
            elif other in stack:
                low[node] = min(low[node], index[other])
        if low[node] == index[node]:
            group = stack[stack.index(node) :]
            del stack[stack.index(node) :]
            if len(group) > 1:
                out.append(sorted(group))

    for node in sorted(graph):
        if node not in index:
            visit(node)
    return out


def folders(graph: dict[str, set[str]], depth: int) -> dict[str, set[str]]:
    """The same graph between folders (and files above them) cut at a depth."""
    out: dict[str, set[str]] = defaultdict(set)
    for module, targets in graph.items():
        short = ".".join(module.split(".")[:depth])
        out[short] |= {".".join(target.split(".")[:depth]) for target in targets} - {short}
    return out


def belongs(module: str, places: tuple[str, ...]) -> bool:
    return any(module == place or (place.endswith(".") and module.startswith(place)) for place in places)


def test_every_package_has_its_place_in_the_order():
    top = {module.split(".")[0] for module in graph()}
    assert sorted(top ^ set(ranks(ORDER))) == [], "give the new package its place in ORDER"


def test_packages_import_only_from_those_before_them():
    assert wrong_way(graph(), ranks(ORDER)) == []


@pytest.mark.parametrize("package", WITHIN)
def test_rooms_of_a_package_import_only_from_those_before_them(package):
    assert wrong_way(graph(), ranks(tuple(WITHIN[package].split())), f"{package}.") == []


def test_there_is_no_circle_between_files():
    assert circles(graph()) == []


@pytest.mark.parametrize("depth", [1, 2, 3])
def test_there_is_no_circle_between_folders(depth):
    assert circles(folders(graph(), depth)) == []


def test_no_folder_is_crowded(capsys):
    count: dict[str, int] = defaultdict(int)
    for module in graph():
        if not is_package(module):
            count[module.rpartition(".")[0] or "bodyfit"] += 1
    with capsys.disabled():
        print("\nmodules by folder: " + ", ".join(f"{name} {n}" for name, n in sorted(count.items())))
    assert {name: n for name, n in count.items() if n > MOST_MODULES} == {}


def calls(tree: ast.Module) -> set[str]:
    """Names of what is called, methods by their own name."""
    called = [node.func for node in ast.walk(tree) if isinstance(node, ast.Call)]
    return {
        f.id if isinstance(f, ast.Name) else f.attr
        for f in called
        if isinstance(f, (ast.Name, ast.Attribute))
    }


def test_only_files_and_the_command_touch_files():
    pure = [module for module in MODULES if not module.startswith(TOUCH_FILES)]
    touched = {m: all_imports()[m][1] & FILE_MODULES | calls(trees()[MODULES[m]]) & FILE_CALLS for m in pure}
    assert {module: names for module, names in touched.items() if names} == {}


def test_each_library_has_a_home():
    away = [
        f"{module} imports {library}"
        for module, (_, others) in all_imports().items()
        for library in sorted(others & set(HOMES))
        if not belongs(module, HOMES[library])
    ]
    assert away == []


def test_heavy_libraries_are_loaded_late():
    """None at the top of a module that `import bodyfit` or the command's help loads."""
    late = [m for m in MODULES if m.startswith("commands.") and m.count(".") == 1 and "progress" not in m]
    for module in (ROOT, "__main__", "errors", "version", *late):
        body = trees()[MODULES[module]].body
        top = ast.Module([node for node in body if isinstance(node, (ast.Import, ast.ImportFrom))], [])
        _, others = imports(module, top, is_package(module))
        assert not others & {"numpy", "scipy", *HOMES} - {"click"}


def test_these_checks_see_what_they_look_for():
    source = (
        "from ... import errors\nfrom ..body.parts import Joint\n"
        "if TYPE_CHECKING:\n    from ..fitting.result import Fit\n"
        "def late():\n    import pinocchio as pin\n    from ..files.fit_folder import write_fit\n"
    )
    own, others = imports("estimator.linearise", ast.parse(source.replace("...", "..")))
    assert own == {"errors", "body.parts", "fitting.result", "files.fit_folder"}
    assert others == {"pinocchio"}
    assert imports("estimator.residuals", ast.parse("from .base import huber"), True)[0] == {
        "estimator.residuals.base"
    }
    assert circles({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}}) == [["a", "b", "c"]]
    assert wrong_way({"body.x": {"core.y"}, "core.y": {"body.x"}}, ranks(ORDER)) == ["core.y imports body.x"]
    assert wrong_way({"alignment.x": {"simulation.y"}}, ranks(ORDER)) == ["alignment.x imports simulation.y"]
    assert folders({"a.b.c": {"a.d"}, "a.d": set()}, 2) == {"a.b": {"a.d"}, "a.d": set()}
