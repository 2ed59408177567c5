"""What the documentation says: its code runs, its commands and links exist, its numbers are measured ones."""

from __future__ import annotations

import importlib.util
import math
import re
from pathlib import Path

import pytest

from bodyfit.weights import Weights

ROOT = Path(__file__).resolve().parents[1]
PAGES = sorted(
    page
    for page in (*ROOT.glob("*.md"), *ROOT.glob("docs/*.md"), *ROOT.glob("demo_captures/*/README.md"))
    if ".template" not in page.name
)
README, VALIDATION = ((ROOT / name).read_text() for name in ("README.md", "docs/validation.md"))
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


def script(name: str):
    spec = importlib.util.spec_from_file_location(name, ROOT / "docs" / f"{name}.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


readme = script("make_readme")


def same_but_for_rounding(found: str, shown: str) -> None:
    """Same words; numbers the same but for one in the last digit printed."""
    assert NUMBER.sub("#", found).split() == NUMBER.sub("#", shown).split()
    pairs = zip(NUMBER.findall(found), NUMBER.findall(shown), strict=True)
    far = [(a, b) for a, b in pairs if abs(float(a) - float(b)) > 1.001 * last_digit(b)]
    assert far == [], f"found\n{found}\nshown\n{shown}"


def last_digit(number: str) -> float:
    """What one in the last digit of a printed number counts."""
    return 10.0 ** -len(number.partition(".")[2])


def without_wall_time(printed: str) -> str:
    return re.sub(r"\d+\.\d s$", "", printed, flags=re.M)


def test_readme_python_prints_what_is_shown():
    shown = readme.blocks(readme.part(README, "python"), "text")[0]
    same_but_for_rounding(readme.run_python(README), shown)


def test_python_of_the_planning_page_prints_what_is_shown():
    page = (ROOT / "docs" / "planning.md").read_text()
    shown = readme.blocks(readme.part(page, "python"), "text")[0]
    same_but_for_rounding(readme.run_python(page), shown)


def test_python_of_the_movement_page_prints_what_is_shown():
    page = (ROOT / "docs" / "movement.md").read_text()
    shown = readme.blocks(readme.part(page, "python"), "text")[0]
    same_but_for_rounding(readme.run_python(page), shown)


def test_readme_chain_of_movement_prints_what_is_shown():
    shown = readme.blocks(readme.part(README, "happened"), "text")[0]
    same_but_for_rounding(readme.run_chain(README, "strides"), shown)


def test_readme_command_prints_what_is_shown():
    shown = readme.blocks(readme.part(README, "printed"), "text")[0]
    found = readme.run_command(README)
    same_but_for_rounding(without_wall_time(found), without_wall_time(shown))


def test_readme_plan_prints_what_is_shown():
    shown = readme.blocks(readme.part(README, "planned"), "text")[0]
    same_but_for_rounding(readme.run_plan(README), shown)


@pytest.mark.parametrize(("part", "section"), readme.TABLES.items())
def test_readme_numbers_are_those_of_validation(part, section):
    table = readme.table_of(VALIDATION, section)
    assert table.count("\n") > 3
    assert readme.part(README, part) == table


def test_ci_runs_the_test_command_of_the_readme():
    command = next(block.strip() for block in readme.blocks(README, "sh") if "pytest" in block)
    assert (ROOT / ".ci" / "run").read_text().splitlines().count(command) == 1


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_links_resolve(page):
    for target in re.findall(r"\]\(([^)\s]+)\)", page.read_text()):
        if "://" in target:
            continue
        name, _, anchor = target.partition("#")
        path = page if not name else page.parent / name
        assert path.exists(), target
        assert not anchor or anchor in anchors(path), target


def test_another_number_would_be_seen():
    same_but_for_rounding("from 12.4 to 7", "from 12.3 to 8")
    for other in ("from 12.5 to 8", "from 12.3 to 10", "from 12.3 till 8"):
        with pytest.raises(AssertionError):
            same_but_for_rounding(other, "from 12.3 to 8")


def anchors(page: Path) -> set[str]:
    """Anchors of the headings, as code hosts make them."""
    headings = re.findall(r"^#+ (.*)$", page.read_text(), re.M)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_files_named_exist(page):
    named = re.findall(r"[`\s]((?:docs|tests|bodyfit|models|demo_captures)/[\w./]+\.\w+)", page.read_text())
    missing = [name for name in named if not (ROOT / name).exists()]
    assert not missing


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_commands_and_options_named_exist(page):
    from bodyfit.commands.main import main

    commands = {name: main.get_command(None, name) for name in main.list_commands(None)}  # type: ignore
    options = {o for command in commands.values() for p in command.params for o in p.opts}  # type: ignore
    text = page.read_text()
    assert set(re.findall(r"`bodyfit (\w+)", text)) <= set(commands)
    ours = {o for o in re.findall(r"`(--[a-z-]+)", text)}
    assert ours <= options | {"--help"}


def test_method_tells_every_weight_as_it_is():
    rows = re.findall(r"^\| `(\w+)` \| ([\d.]+) ?([^|]*?) \|", (ROOT / "docs/method.md").read_text(), re.M)
    told = {name: float(value) * factor(unit) for name, value, unit in rows}
    assert told == pytest.approx(vars(Weights()), rel=1e-12)


def factor(unit: str) -> float:
    """To SI, radians."""
    degrees = math.radians(1) if unit.startswith("°") else 1.0
    return degrees / 9.81 if unit.endswith("/g") else degrees


def test_sign_table_is_the_same_in_both_places():
    tables = [
        re.search(r"^\| joint \| sequence.*?(?=\n\n)", (ROOT / "docs" / page).read_text(), re.S | re.M)
        for page in ("conventions.md", "models.md")
    ]
    assert tables[0] is not None and tables[1] is not None
    assert tables[0][0] == tables[1][0]


@pytest.mark.parametrize("page", ["validation.md", "choosing_sensors.md"])
def test_measured_pages_leave_no_place_open(page):
    text = (ROOT / "docs" / page).read_text()
    assert "{{" not in text
    assert "nan" not in text


def test_the_page_of_public_names_is_current():
    assert script("make_api").page() == (ROOT / "docs" / "api.md").read_text(), "run python docs/make_api.py"


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_modules_that_are_named_exist(page):
    named = re.findall(r"`((?:bodyfit/|tests/|docs/|demo_captures/)?[\w/]+\.py)`", page.read_text())
    missing = [n for n in named if not any((ROOT / base / n).is_file() for base in ("", "bodyfit"))]
    assert missing == []
