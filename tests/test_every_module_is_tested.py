"""Every module has a test that names it, and folders of tests are those of the package.

A test names a module by importing it, by `bodyfit.X` of a public name that it defines, or, of a command, by
its word in a test that calls the command line.
"""

from __future__ import annotations

import ast
from pathlib import Path

from package_sources import SOURCES, module_name

import bodyfit

TESTS = Path(__file__).resolve().parent
ACROSS = {"benchmarks", "browser", "fuzz", "properties", "published", "regression", "synthetic", "whole"}
NOTHING_TO_TEST = {
    "__main__": "three lines; every test that starts a process goes through it",
    "core.progress": "one name for a type",
    "version": "one number; tests/commands/test_cli.py prints it",
}
# Parts of one reader, writer or stage that have no use by themselves: what they do is seen in its whole.
THROUGH = {
    "calibration/test_placement.py": ("calibration.placement.side_likelihood",),
    "alignment/test_facing.py": ("estimator.initial.facing.field",),
    "estimator/test_bare_segments.py": ("fitting.usual_postures",),
    "estimator/test_joint_geometry.py": ("estimator.problem.problem",),
    "commands/test_last_resort.py": ("commands.last_resort",),
    "files/draft/test_draft.py": ("files.draft.unit_groups",),
    "files/exchange/test_bids.py": (
        *(f"files.capture.bids.{name}" for name in ("reader", "tables", "units", "words")),
        *(f"files.exchange.bids.{name}" for name in ("derivative", "raw", "text_files", "writer")),
    ),
    "files/exchange/test_c3d.py": ("files.exchange.c3d.points",),
    "files/exchange/test_tables_handed_over.py": (
        "commands.export",
        *(f"files.exchange.{name}" for name in ("columns", "handover", "netcdf_file")),
        *("files.exchange.parquet_file", "files.exchange.spreadsheet"),
    ),
    "files/test_dialects.py": ("files.plain.dialect",),
    "files/test_gltf.py": ("files.scene.viewing_layout",),
    "files/test_read_capture.py": (
        *(f"files.capture.{name}" for name in ("own_table", "sample_checks", "stamp_checks")),
        "recording.signals",
    ),
    "files/test_trials.py": ("files.capture.joined_trials",),
    "commands/test_cli_new.py": ("files.capture.open_lines",),
    "body/test_read_model.py": ("files.model.model_parts",),
    "fitting/test_body_size.py": ("estimator.uncertainty.lever_arms",),
    "fitting/test_figures.py": (
        *(f"fitting.figures.{name}" for name in ("joints", "summary", "units")),
        *("fitting.fit_findings", "fitting.frames", "results.fit_like"),
    ),
    "calibration/test_unit_axes.py": ("calibration.sensors.axes_by_rate",),
    "fitting/test_root_path.py": ("fitting.root_path",),
    "whole/test_notebook.py": (
        "body.motion.shown_figure",
        "files.exchange.dataset",
        "files.motion.tidy_table",
    ),
    "movement/test_find_repetitions.py": tuple(
        f"movement.repetitions.{name}" for name in ("counting", "examples", "search", "turned")
    ),
    "movement/test_repetitions_command.py": ("files.movement.repetitions_folder",),
    "movement/test_strides.py": tuple(f"movement.strides.{name}" for name in ("findings", "table")),
    "movement/test_strides_without_feet.py": tuple(
        f"movement.strides.{name}" for name in ("shank", "steps", "without_feet")
    ),
    "study/test_happened_section.py": (
        "files.movement.happened",
        *(
            f"study.report.happened.{n}"
            for n in ("cycles", "drawing", "path", "section", "strides", "timeline")
        ),
    ),
    "commands/test_cli_simulate.py": ("simulation.truth_files",),
    "study/test_compare.py": tuple(f"study.comparison.{name}" for name in ("players", "plots", "tables")),
    "study/test_plan.py": tuple(f"study.planning.{name}" for name in ("plots", "result")),
    "study/test_report.py": ("study.report.sections", "study.report.tables", "study.pages.finding_cards"),
    "browser/test_plain_pages.py": ("study.pages.style",),
    "synthetic/test_information_bound.py": ("study.planning.information_bound",),
}
MODULES = {module_name(path) for path in SOURCES if not path.endswith("__init__.py")}
PUBLIC = {name: home.lstrip(".") for name, home in bodyfit._HOMES.items()}  # of bodyfit/__init__.py


def named_in(tree: ast.Module) -> set[str]:
    """Modules that a test names."""
    out: set[str] = set()
    nodes = list(ast.walk(tree))
    words = {node.value for node in nodes if isinstance(node, ast.Constant) and isinstance(node.value, str)}
    for node in nodes:
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "bodyfit":
            base = (node.module or "").partition(".")[2]
            names = {alias.name for alias in node.names}
            out |= {base, *(f"{base}.{name}".lstrip(".") for name in names)}
            out |= {PUBLIC[name] for name in names if not base and name in PUBLIC}
            if base == "commands.main":
                out |= commands(words)
        elif isinstance(node, ast.Import):
            out |= {alias.name.partition(".")[2] for alias in node.names if alias.name.startswith("bodyfit.")}
        elif isinstance(node, ast.Attribute) and node.attr in PUBLIC:
            out |= {PUBLIC[node.attr]} if ast.unparse(node.value) == "bodyfit" else set()
    return (out | commands(words) if {"-m", "bodyfit"} <= words else out) & MODULES


def commands(words: set[str]) -> set[str]:
    """Modules of the commands among the words."""
    return {m for m in MODULES if m.startswith("commands.") and m.rpartition(".")[2] in words}


def test_every_module_has_a_test_that_names_it():
    trees = [ast.parse(path.read_text(encoding="utf-8")) for path in sorted(TESTS.rglob("*.py"))]
    tested = set().union(*map(named_in, trees))
    through = {module for modules in THROUGH.values() for module in modules}
    assert sorted(MODULES - tested - through - set(NOTHING_TO_TEST)) == []
    assert sorted(through & tested) == [], "these have a test that names them: take them off the list"


def test_no_exception_is_kept_that_is_none():
    through = [module for modules in THROUGH.values() for module in modules]
    assert sorted({*NOTHING_TO_TEST, *through} - MODULES) == [] and len(through) == len(set(through))
    assert [name for name in THROUGH if not (TESTS / name).is_file()] == []


def test_folders_of_tests_are_those_of_the_package():
    packages = {module.split(".")[0] for module in MODULES}
    folders = {path.name for path in TESTS.iterdir() if path.is_dir() and any(path.glob("**/test_*.py"))}
    assert sorted(folders - ACROSS - packages) == []


def test_this_sees_what_it_looks_for():
    source = (
        "import bodyfit\nimport bodyfit.core.filters\nfrom bodyfit.body import chain\n"
        "from bodyfit.commands.main import main\nfrom bodyfit import read_model\n"
        "def test():\n    run(main, ['batch'])\n    bodyfit.fit\n"
    )
    assert named_in(ast.parse(source)) == {
        "core.filters", "body.chain", "commands.main", "commands.batch", "fitting.fit", PUBLIC["read_model"],
    }  # fmt: skip
