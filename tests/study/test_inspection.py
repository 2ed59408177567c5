"""An inspection as data, as printed, as a page, and through the command."""
# pyright: reportArgumentType=false, reportCallIssue=false

from __future__ import annotations

import dataclasses
import io
import json
import re
import sys
import time
from html.parser import HTMLParser
from types import ModuleType
from urllib.parse import unquote
from xml.etree import ElementTree

import numpy as np
import pytest
from capture_files import write_folder
from click.testing import CliRunner
from example_inspection import FINDINGS, example
from rich.console import Console

from bodyfit.commands.main import main
from bodyfit.commands.terminal.inspection import next_step, print_inspection
from bodyfit.core.findings import Finding
from bodyfit.errors import CannotReconstructError
from bodyfit.recording.capture import Unit
from bodyfit.study.inspection.page import inspection_page
from bodyfit.study.inspection.plots import offsets, timeline
from bodyfit.study.inspection.result import Candidate, Inspection, UnitInspection, binned, timelines
from bodyfit.study.inspection.unit_timelines import FLAG_ROW, timelines_section
from bodyfit.study.pages.ticks import ticks
from bodyfit.study.pages.whole_page import placed

UP = np.array([0.0, 9.81, 0.0])
NAMES = ("pelvis", "l_thigh", "r_thigh", "l_calf", "r_calf", "r_hindfoot")


def worn(seconds: float = 60.0, names=NAMES) -> dict[str, Unit]:
    rng = np.random.default_rng(2)
    t = np.arange(0.0, seconds, 0.01)
    out = {}
    for name in names:
        rate = np.sin(t / 3)[:, None] * rng.normal(size=(len(t), 3))
        field = 4e-5 + 1e-6 * rng.normal(size=(len(t), 3))
        out[f"{name}_unit"] = Unit(f"{name}_unit", name, t, rate + UP, rate, field)
    return out


# ---- data ----


def test_bins_hold_the_least_and_the_greatest_value():
    """Worked by hand: four bins of one second; the third holds only a missing sample, the fourth none."""
    time_s = np.array([0.0, 0.2, 0.9, 1.5, 2.5, 4.0])
    series = binned(time_s, np.array([3.0, 1.0, np.nan, 7.0, np.nan, 5.0]), 0.0, 4.0, 4)
    np.testing.assert_array_equal(series.low, [1.0, 7.0, np.nan, 5.0])
    np.testing.assert_array_equal(series.high, [3.0, 7.0, np.nan, 5.0])
    np.testing.assert_allclose(series.time, [0.5, 1.5, 2.5, 3.5])


def test_bins_agree_with_a_loop_also_where_samples_lie_outside():
    rng = np.random.default_rng(0)
    t, v = np.sort(rng.uniform(-1, 11, 3000)), rng.normal(size=3000)
    series = binned(t, v, 0.0, 10.0, 37)
    edges = np.linspace(0.0, 10.0, 38)
    for k in range(37):
        inside = v[(t >= edges[k]) & (t < edges[k + 1])]
        assert (series.low[k], series.high[k]) == (inside.min(), inside.max())


def test_timelines_of_a_unit():
    unit = worn(1.0)["pelvis_unit"]
    found = timelines(unit.only(frozenset({"accelerometer", "magnetometer"})), 0.0, 1.0, 10)
    assert list(found) == ["force", "magnetic"]
    size = np.linalg.norm(unit.accelerometer, axis=1)
    assert found["force"].high.max() == pytest.approx(size.max())
    assert found["magnetic"].low.min() < 1.0 < found["magnetic"].high.max()


def test_placement_is_the_probability_of_the_segment_that_the_capture_names():
    candidates = (Candidate("l_calf", 0.7), Candidate("r_calf", 0.3))
    assert UnitInspection("u", "r_calf", candidates=candidates).placement == 0.3
    assert UnitInspection("u", "skull", candidates=candidates).placement == 0.0
    assert UnitInspection("u", None, candidates=candidates).placement == 0.7
    assert UnitInspection("u", "r_calf").placement is None


# ---- printed ----


def printed(inspection: Inspection) -> str:
    out = io.StringIO()
    print_inspection(inspection, console=Console(file=out, highlight=False))
    return out.getvalue()


def test_findings_are_printed_most_harmful_first_with_all_that_they_say():
    text = printed(example(worn()))
    assert max(map(len, text.splitlines())) <= 100
    places = [text.index(finding.what[:30]) for finding in FINDINGS]
    assert places == sorted(places)
    assert "warning  pelvis_unit: the magnetic field is 32 % stronger" in text
    assert "heading is not taken from it there" in " ".join(text.split())
    assert "to do: keep away from iron" in text
    assert "findings 1 serious, 2 warning, 2 note" in text
    assert " ".join(text.split()).endswith("then inspect again before any fit.")


def test_a_check_that_did_not_run_shows_as_a_dash():
    text = printed(Inspection("Bare", units=(UnitInspection("u"),)))
    (row,) = [line for line in text.splitlines() if line.startswith("u ")]
    assert row.split() == ["u", *["–"] * 9]
    assert "– to – s" in text


def test_what_to_do_next():
    serious = Finding("a", "serious", "it is off", "turn it round")
    warning = dataclasses.replace(serious, severity="warning")
    mended = dataclasses.replace(serious, handled="turned round")
    assert next_step(Inspection(findings=(serious,))).startswith("Next: turn it round; then inspect again")
    assert "mind them" in next_step(Inspection(findings=(warning, mended)))
    assert "nothing stands in the way" in next_step(Inspection(findings=(mended,)))


# ---- page ----


class Page(HTMLParser):
    """What a page holds: ids, links, pictures, headings, tags that must close, and its text."""

    VOID = {"meta", "img", "br", "link"}  # noqa: RUF012

    def __init__(self, text: str):
        super().__init__()
        self.ids, self.links, self.pictures, self.open, self.tags, self.words = [], [], [], [], [], ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        values = dict(attrs)
        self.tags.append(tag)
        self.ids += [values["id"]] if "id" in values else []
        self.links += [values["href"]] if "href" in values else []
        self.pictures += [values] if tag == "img" else []
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words += data


@pytest.fixture(scope="module")
def page() -> Page:
    return Page(inspection_page(example(worn())))


def test_page_is_well_formed_and_every_link_leads_somewhere(page):
    assert page.open == []
    assert len(page.ids) == len(set(page.ids))
    assert {link[1:] for link in page.links if link.startswith("#")} <= set(page.ids)
    assert all(f"finding-{k}" in page.ids for k in range(1, len(FINDINGS) + 1))
    assert "#finding-1" in page.links and "#unit-4" in page.links


@pytest.mark.parametrize(("apart", "rows"), [(0.2, 2), (20.0, 1)])
def test_flags_that_would_cover_each_other_stand_in_two_rows(apart, rows):
    """Of a timeline of a minute one flag takes 6 %: 3.6 s."""
    units = worn()
    name, start = next(iter(units)), min(unit.time[0] for unit in units.values()) + 1.0
    found = [
        Finding("gap", "note", "x", "y", units=(name,), start=start + late, end=start + late)
        for late in (0.0, apart)
    ]
    text = timelines_section(example(units, tuple(found)))
    assert placed("px", height=rows * FLAG_ROW) in text.split('id="unit-2"')[0]
    assert text.count('href="#finding-1"') == text.count('href="#finding-2"') == 1


def test_page_loads_nothing():
    text = inspection_page(example(worn()))
    addresses = re.findall(r"""(?:src|href)="([^"]*)"|url\(([^)]*)\)""", text)
    assert {(a or b)[:5] for a, b in addresses if not (a or b).startswith("#")} == {"data:"}
    assert text.count("<script") == 1  # the one of all pages
    assert "default-src 'none'" in text


def test_pictures_are_svg_with_words_for_those_who_do_not_see_them(page):
    assert len(page.pictures) == len(NAMES)  # the last unit has no signals, the clocks have a picture
    for picture in page.pictures:
        svg = ElementTree.fromstring(unquote(picture["src"].split(",", 1)[1]))
        assert svg.tag.endswith("svg") and svg.get("preserveAspectRatio") == "none"
        assert "width" not in svg.attrib
        assert len(picture["alt"]) > 30
    assert "turning, specific force, field; field trusted, gaps, clipped" in page.pictures[1]["alt"]


def test_names_from_files_are_escaped():
    bad = '<script>alert("x")</script>'
    finding = Finding("gap", "warning", bad, bad, units=(bad,), segments=(bad,), start=1.0, handled=bad)
    unit = UnitInspection(
        bad, bad, mounting_source=bad, candidates=(Candidate(bad, 0.5),), gaps=((0.0, 0.1),)
    )
    text = inspection_page(Inspection(bad, bad, bad, 0.0, 2.0, units=(unit,), findings=(finding,)))
    assert text.count("<script") == 1
    assert Page(text).open == []
    assert bad in Page(text).words


def test_an_empty_inspection_has_a_page():
    found = Page(inspection_page(Inspection()))
    assert found.open == []
    assert "Nothing was found that would harm a fit." in found.words
    assert "not a medical device" in found.words


def test_ticks_are_round_and_inside():
    assert [(t.at, t.text) for t in ticks(0.0, 50.0, 5)] == [(k / 5, str(10 * k)) for k in range(6)]
    assert [t.text for t in ticks(-57.0, 57.0, 4)] == ["−50", "0", "50"]


def test_gravity_line_lies_where_the_scale_says():
    """A unit that always feels 9.8 m/s² feels 9.8 / (1.05 · 9.8) of its lane's height."""
    t = np.arange(0.0, 5.0, 0.01)
    unit = Unit("u", "a", t, np.tile([0.0, 9.8, 0.0], (len(t), 1)))
    drawing = timeline(UnitInspection("u", **timelines(unit, 0.0, 5.0)), 0.0, 5.0, 9.8)
    assert drawing is not None
    dashed = re.search(r'd="M 0 ([\d.]+) L 576 ([\d.]+)[^"]*"[^>]*stroke-dasharray', unquote(drawing.address))
    assert dashed is not None
    assert float(dashed[1]) == pytest.approx(84 * (1 - 1 / 1.05), abs=0.02)


def test_clock_offsets_have_room_for_their_deviations():
    drawing, reach = offsets([0.02, None, -0.05], [0.001, None, 0.01])
    assert reach == pytest.approx(1.15 * 0.06)
    assert drawing.height == 3 * 18


def test_placement_lists_only_units_in_doubt():
    """One that fits its segment, one that fits another, one that nothing tells of."""
    fits = (Candidate("pelvis", 0.97), Candidate("thorax", 0.03))
    sure = UnitInspection("pelvis_unit", "pelvis", candidates=fits)
    torn = (Candidate("l_calf", 0.67), Candidate("r_calf", 0.329), Candidate("pelvis", 0.001))
    doubtful = UnitInspection("l_calf_unit", "l_calf", candidates=torn)
    unseen = UnitInspection("skull_unit", "skull")
    text = inspection_page(Inspection(units=(sure, doubtful, unseen)))
    part = text.split('id="placement"')[1].split("</section>")[0]
    assert re.findall(r'<th scope="row">(.*?)</th><td>(.*?)</td><td class="n">(.*?)</td>', part) == [
        ("left shank", "left shank (as stated)", "67"),
        ("", "right shank", "33"),
    ]
    assert "1 of 3 units move as the segment does" in part and "of 1 the motion does not tell" in part
    quiet = inspection_page(Inspection(units=(sure,))).split('id="placement"')[1]
    assert "<table" not in quiet.split("</section>")[0]


def test_ten_minutes_of_fifteen_units_make_a_small_page_soon():
    """Each pixel's worth of samples is two numbers, so the size depends on the units alone."""
    units = worn(600.0, tuple(f"s{k}" for k in range(15)))
    started = time.perf_counter()
    text = inspection_page(example(units))
    assert len(text) < 3_000_000
    assert time.perf_counter() - started < 15.0  # 0.6 s on a quiet machine; a stalled loop takes minutes


# ---- command ----


@pytest.fixture
def intake(monkeypatch):
    """A stand-in for what runs the checks."""
    module = ModuleType("bodyfit.study.inspection.inspect")

    def inspect(capture, progress=None):
        if capture.title == "Too short":
            raise CannotReconstructError("nothing here can be inspected")
        return dataclasses.replace(example(worn()), title=capture.title)

    module.inspect = inspect  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "bodyfit.study.inspection.inspect", module)


def run(*options):
    return CliRunner().invoke(main, ["inspect", *map(str, options)])


def test_command_prints_and_writes(tmp_path, intake):
    write_folder(tmp_path)
    result = run(tmp_path, "--page", tmp_path / "a.html", "--json", tmp_path / "a.json")
    assert result.exit_code == 0, result.output
    assert "Thigh and calf" in result.output
    assert (tmp_path / "a.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    data = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
    assert data["findings"][0]["id"].startswith("placement-swapped/l_calf_unit+r_calf_unit")
    assert data["units"][0]["clock_offset"] == pytest.approx(example(worn()).units[0].clock_offset)
    assert "turning" not in data["units"][0]


def test_command_writes_nothing_unless_asked(tmp_path, intake):
    before = sorted(write_folder(tmp_path).iterdir())
    assert run(tmp_path).exit_code == 0
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("--page", "{}/none/a.html"), "there is no folder"),
        (("--page", "{}"), "is a folder, expected a file"),
        (("--page", "{}/a", "--json", "{}/a"), "expected two different files"),
    ],
)
def test_files_that_cannot_be_written_are_refused_first(tmp_path, options, message):
    write_folder(tmp_path)
    result = run(tmp_path, *(option.format(tmp_path) for option in options))
    assert result.exit_code == 2
    assert message in " ".join(result.output.split())


def test_a_capture_that_cannot_be_inspected_leaves_no_file(tmp_path, intake):
    write_folder(tmp_path, setup=[("Thigh and calf", "Too short")])
    result = run(tmp_path, "--page", tmp_path / "a.html")
    assert (result.exit_code, "bodyfit: nothing here can be inspected" in result.output) == (1, True)
    assert not [path for path in tmp_path.iterdir() if "a.html" in path.name]


def test_a_folder_without_setup_is_refused(tmp_path, intake):
    result = run(tmp_path)
    assert result.exit_code == 2 and "setup.toml" in result.output
