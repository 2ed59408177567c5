"""Data flows down: who may import whom, which modules touch files, and where each heavy library lives."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "bodyfit"

# A module imports only from those before it, in reading order.
LAYERS = (
    "errors side_by_side fingerprints",
    "rotations isb earth weights finding",
    "person body body_data shapes measured_body",
    "capture",
    "joint_angles poses",
    "sampling",
    "signals preintegration averages",
    "clipping allan noise unit_axes earth_field",
    "start unaided gravity_windows accelerometer_scale gyroscope_scale",
    "mounting_evidence mounting_fusion mounting",
    "field_trust magnetometer_calibration field_check",
    "residuals.base residuals",
    "residuals.turn_rate residuals.bias residuals.gravity residuals.joint_centre residuals.hinge",
    "residuals.joint_angle residuals.bridge residuals.posture residuals.travel",
    "residuals.field residuals.fused residuals.at_start",
    "smoother",
    "geometry clock_pairs clocks latency bridges postures problem linearise mounted mounting_findings refine",
    "constants posterior one_step field_level heading_start explanations estimate softness sureness",
    "segment_sureness",
    "slip_evidence slip",
    "segment_length motion_lengths length_findings body_size",
    "pair_fit placement_evidence placement_search placement placement_findings",
    "intake",
    "bounded_step bounded_chain bounded_motion bounded_stretches strict",
    "root_path summary pictures fitting inspection inspecting",
    "turn_errors circumstances reference turn_scores motion_scores stick_figures comparing comparing_jobs",
    "magnetic_field sensor_errors soft_tissue smooth_motion unit_path simulation_settings simulation",
    "disturbances information planning planning_results planning_search planning_jobs",
    "reviewing reviewing.limits reviewing.kinds reviewing.stretches reviewing.reviewed",
    "reviewing.ranges reviewing.rates reviewing.jumps reviewing.slips reviewing.plateaus reviewing.sides",
    "reviewing.gimbal reviewing.own_account reviewing.contact reviewing.ground reviewing.dynamics",
    "reviewing.forces reviewing.review",
    "formats formats.whole_file formats.toml_checks formats.toml_text formats.kept formats.tables",
    "formats.model_parts formats.model_file",
    "formats.samples formats.stamp_checks formats.sample_checks formats.unit_samples",
    "formats.capture_writer formats.capture_folder formats.simulation_file",
    "formats.pose_tables formats.scripted_motion formats.motion formats.simulated_capture",
    "formats.reference_file",
    "formats.inspection_style formats.inspection_plots formats.page_parts formats.inspection_page",
    "formats.glb formats.viewing_layout formats.gltf formats.outputs",
    "formats.fit_folder formats.findings_file",
    "formats.comparison_plots formats.comparison_motions formats.comparison_page formats.comparison",
    "formats.plan_page formats.plan",
    "formats.report_words formats.report_files formats.report_findings formats.report_tables",
    "formats.report_curves formats.report_scene formats.report_page",
    "progress printed printed_inspection printed_findings printed_comparison printed_plan",
    "cli_compare cli_plan cli_simulate cli_inspect cli_review cli_report cli __main__",
)
ORDER = [module for layer in LAYERS for module in layer.split()]

# Imports that run against the order, inside a function: a result that can write itself.
UPWARD = {
    ("fitting", "formats.outputs"),
    ("comparing", "formats.comparison"),
    ("planning_search", "formats.plan"),
}

TOUCH_FILES = ("formats.", "cli", "__main__")
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
    "pinocchio": ("body", "poses", "reviewing.contact", "reviewing.dynamics"),
    "coal": ("reviewing.contact",),
    "casadi": ("bounded_step", "bounded_chain", "bounded_motion", "strict"),
    "trimesh": ("shapes", "formats."),
    "vqf": ("start",),
    "pygeomag": ("earth_field",),
    "pandas": ("formats.",),
    "pyarrow": ("formats.",),
    "click": ("cli", "cli_compare", "cli_plan", "cli_simulate", "cli_inspect", "cli_review", "cli_report"),
    "rich": (
        "printed",
        "printed_inspection",
        "printed_comparison",
        "printed_plan",
        "printed_findings",
        "progress",
        "cli",
        "cli_simulate",
        "cli_review",
    ),
    "matplotlib": ("formats.inspection_plots", "pictures"),
    "threadpoolctl": ("fitting", "inspecting", "side_by_side"),
}


def name_of(path: Path) -> str:
    """Dotted name of a module below the package; a package goes by its folder."""
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {name_of(path): path.read_text(encoding="utf-8") for path in sorted(PACKAGE.rglob("*.py"))}
ROOT = ""  # the package itself


def imports(module: str, source: str, is_package: bool = False) -> tuple[set[str], set[str]]:
    """Modules of this package, and other top-level names, that a source imports anywhere but for typing."""
    own, others = set(), set()
    here = module.split(".") if module else []
    for node in _without_type_checking(ast.parse(source)):
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


def _without_type_checking(node: ast.AST):
    """All nodes but those under `if TYPE_CHECKING`."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test):
            continue
        yield child
        yield from _without_type_checking(child)


def is_package(module: str) -> bool:
    return (PACKAGE / Path(*module.split("."))).is_dir()


def belongs(module: str, places: tuple[str, ...]) -> bool:
    return any(module == place or (place.endswith(".") and module.startswith(place)) for place in places)


def test_every_module_has_its_place_in_the_order():
    assert sorted(set(MODULES) - set(ORDER) - {ROOT}) == [], "give the new module its place in LAYERS"
    assert len(ORDER) == len(set(ORDER))


@pytest.mark.parametrize("module", [m for m in MODULES if m != ROOT])
def test_a_module_imports_only_from_those_before_it(module):
    own, _ = imports(module, MODULES[module], is_package(module))
    before = set(ORDER[: ORDER.index(module)])
    wrong = {other for other in own - before - {ROOT} if (module, other) not in UPWARD}
    assert not wrong, f"{module} imports {', '.join(sorted(wrong))}, which comes after it"


def test_upward_imports_are_made_inside_a_function_and_still_needed():
    for module, other in UPWARD:
        tree = ast.parse(MODULES[module])
        at_top = ast.Module([node for node in tree.body if isinstance(node, ast.ImportFrom)], [])
        assert other in imports(module, MODULES[module])[0]
        assert other not in imports(module, ast.unparse(at_top))[0]


@pytest.mark.parametrize("module", [m for m in MODULES if not m.startswith(TOUCH_FILES)])
def test_only_formats_and_the_command_touch_files(module):
    _, others = imports(module, MODULES[module], is_package(module))
    assert not others & FILE_MODULES
    calls = [node.func for node in ast.walk(ast.parse(MODULES[module])) if isinstance(node, ast.Call)]
    names = {
        f.id if isinstance(f, ast.Name) else f.attr for f in calls if isinstance(f, (ast.Name, ast.Attribute))
    }
    assert not names & FILE_CALLS


@pytest.mark.parametrize("module", MODULES, ids=lambda m: m or "bodyfit")
def test_each_library_has_a_home(module):
    _, others = imports(module, MODULES[module], is_package(module))
    away = {library for library in others & set(HOMES) if not belongs(module, HOMES[library])}
    assert not away


def test_heavy_libraries_are_loaded_late():
    """None at the top of a module that `import bodyfit` or the command's help loads."""
    for module in (
        ROOT,
        "cli",
        "cli_simulate",
        "cli_inspect",
        "cli_review",
        "cli_report",
        "cli_compare",
        "__main__",
        "errors",
    ):
        top = ast.Module(
            [n for n in ast.parse(MODULES[module]).body if isinstance(n, (ast.Import, ast.ImportFrom))], []
        )
        _, others = imports(module, ast.unparse(top), is_package(module))
        assert not others & {"numpy", "scipy", *HOMES} - {"click"}


def test_these_checks_see_what_they_look_for():
    source = (
        "from . import errors\nfrom .body import Joint\nfrom ..rotations import exp\n"
        "if TYPE_CHECKING:\n    from .fitting import Fit\n"
        "def late():\n    import pinocchio as pin\n    from .formats.outputs import write_fit\n"
    )
    assert imports("smoother", source.replace("from ..rotations import exp\n", "")) == (
        {"errors", "body", "formats.outputs"},
        {"pinocchio"},
    )
    assert imports("residuals.hinge", "from ..rotations import exp\nfrom .base import huber")[0] == {
        "rotations",
        "residuals.base",
    }
    assert imports("residuals", "from .base import huber", is_package=True)[0] == {"residuals.base"}
