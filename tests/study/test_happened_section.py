"""What the report tells of what happened: tables, pictures, and tables that are not of this fit."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest
from example_happened import write_happened
from example_out import walk, write_out

from bodyfit.errors import InputError
from bodyfit.study.report.files import read_fit_files
from bodyfit.study.report.page import report_text

POSES = walk(seconds=8.0)


@pytest.fixture(scope="module")
def out(tmp_path_factory):
    return write_happened(write_out(tmp_path_factory.mktemp("fit"), POSES), POSES)


@pytest.fixture(scope="module")
def told(out):
    """The section alone."""
    text = report_text(read_fit_files(out))
    return text[text.index('<section id="happened"') : text.index('<section id="joints"')]


def cells(told: str, caption: str) -> list[list[str]]:
    table = next(t for t in re.findall(r"<table>.*?</table>", told, re.S) if caption in t)
    rows = re.findall(r"<tr[^>]*>(.*?)</tr>", table.split("</thead>")[1], re.S)
    return [
        [re.sub(r"<[^>]+>", "", cell) for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.S)]
        for row in rows
    ]


def test_before_anybody_asked_the_page_says_how(tmp_path):
    text = report_text(read_fit_files(write_out(tmp_path / "out", POSES)))
    assert "<code>bodyfit strides OUT</code>" in text and 'class="still' not in text


def test_left_against_right_as_the_table_beside_the_fit_has_it(told):
    rows = cells(told, "Left against right")
    assert rows[0] == [
        "stride time, s",
        "1.050 ± 0.071",
        "1.000 ± 0.000",
        "0.050 ± 0.050",
        "4.9 ± 4.8",
        "2, 2",
    ]
    assert rows[1][:2] == ["range of knee flexion, °", "60.0 ± 1.4"]
    assert "100 (L − R) / ((L + R) / 2)" in told


def test_every_stride_and_stretch_is_listed_with_a_way_to_its_time(told, out):
    strides = pd.read_csv(out / "strides.csv")
    rows = cells(told, "Strides, heel strike")
    assert len(rows) == len(strides) > 10
    assert rows[0][:4] == ["left", "0.70", "1.00", "1.10"] and rows[0][7] == "–"  # not known
    assert f'data-time="{strides.start_s[0]:.3f}"' in told
    assert [row[0] for row in cells(told, "Stretches")] == ["walking", "stand to sit", "sitting", "unknown"]
    shares = {row[0]: row[3] for row in cells(told, "How much of the time")}
    assert shares == {"walking": "37.5", "stand to sit": "25.0", "sitting": "31.2", "unknown": "6.2"}


def test_the_timeline_has_a_lane_for_each_and_bars_where_they_were(told):
    lanes = re.findall(r'text-anchor="end">([^<]+)</text>', told[: told.index("</svg>")])
    assert lanes[:4] == ["walking", "changes of posture", "sitting", "unknown"]
    assert lanes[4:7] == ["left foot stands", "right foot stands", "lift&lt;i&gt; (2)"]
    bar = re.search(r'<rect class="bar activity" x="([\d.]+)" y="[\d.]+" width="([\d.]+)"', told)
    assert bar is not None
    left, right = (float(re.search(rf'data-{edge}="([\d.]+)"', told)[1]) for edge in ("left", "right"))  # type: ignore
    assert float(bar[1]) == pytest.approx(left, abs=0.1)
    assert float(bar[2]) == pytest.approx((right - left) * 3 / 8, abs=0.1)


def test_curves_have_their_side_and_a_band_of_one_deviation(told):
    level = told[told.index("Strides, level") :].split("</svg>")[0]
    assert level.count('class="curve left"') == level.count('class="curve right"') == 1
    assert "left knee from 0 to 60°; right knee from 0 to 50°" in level
    points = re.search(r'class="band left" points="([^"]+)"', level)
    curve = re.search(r'class="curve left" d="M([^"]+)"', level)
    assert points is not None and curve is not None
    top = np.array([p.split(",") for p in points[1].split()], float)[:101, 1]
    mean = np.array([p.split(",") for p in curve[1].split()], float)[:, 1]
    span = mean.max() - mean.min()  # of 60°
    assert mean - top == pytest.approx(4.0 / 60.0 * span, abs=0.11)
    assert "Repetitions of lift&lt;i&gt;" in told and "<i>" not in told


def test_the_path_is_as_long_as_it_is_with_a_print_a_stride(told, out):
    strides = pd.read_csv(out / "strides.csv")
    above = told[told.index("From above") :].split("</svg>")[0]
    assert above.count('class="print left"') == (strides.side == "left").sum()
    assert above.count('class="print right"') == (strides.side == "right").sum()
    assert "8.8 m of way" in told  # 1.1 m/s for 8 s
    assert "From the side" in told


def test_nothing_in_it_needs_inline_style_or_handlers(told):
    assert " style=" not in told and " onclick=" not in told


def test_a_table_of_another_fit_is_refused(tmp_path):
    out = write_happened(write_out(tmp_path / "out", POSES), POSES)
    events = pd.read_csv(out / "events.csv")
    events.loc[3, "time_s"] = 80.0
    events.to_csv(out / "events.csv", index=False)
    with pytest.raises(InputError, match=r"events.csv: column 'time_s': row 4: found 80.00 s; .*another fit"):
        read_fit_files(out)
    events.drop(columns="side").to_csv(out / "events.csv", index=False)
    with pytest.raises(InputError, match=r"events.csv: no column 'side'"):
        read_fit_files(out)


def test_a_table_without_rows_is_none(tmp_path):
    out = write_happened(write_out(tmp_path / "out", POSES), POSES)
    for name in ("strides.csv", "events.csv"):
        (out / name).write_text((out / name).read_text().splitlines()[0] + "\n")
    text = report_text(read_fit_files(out))
    assert "foot stands" not in text and "From above" not in text and "Left against right" in text
