"""Pictures of joint angles: the right numbers, bands, ranges, words, and nothing left open."""

from __future__ import annotations

import re
from itertools import combinations
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np
import pytest
from example_out import spread, walk
from example_summary import summary
from scipy.stats import norm

from bodyfit.body.motion.joint_plots import LOOKS, POSITIVE
from bodyfit.core.robust import BAND_95
from bodyfit.errors import InputError
from bodyfit.fitting.result import Fit

ROOT = Path(__file__).resolve().parents[2]
POSES = walk(4.0)
FIT = Fit(POSES, summary(POSES), spread(POSES))


def test_curves_hold_the_angles_in_degrees():
    figure = FIT.plot_joint("r_knee")
    assert [axes.get_ylabel().split(",")[0] for axes in figure.axes] == [
        "flexion", "adduction", "internal rotation"
    ]  # fmt: skip
    for axes, angle in zip(figure.axes, POSES.joint_angles["r_knee"].values(), strict=True):
        (line,) = axes.lines
        assert np.allclose(line.get_xdata(), POSES.time)
        assert np.allclose(line.get_ydata(), np.degrees(angle))
    assert figure.axes[-1].get_xlabel() == "time, s"


def test_the_band_holds_95_percent_of_a_normal_distribution():
    assert pytest.approx(norm.ppf(0.975), abs=1e-12) == BAND_95  # scipy's quantile
    axes = FIT.plot_joint("r_knee").axes[0]
    (band,) = axes.collections
    corners = np.asarray(band.get_paths()[0].vertices)
    middle = len(POSES.time) // 2
    at = corners[np.isclose(corners[:, 0], POSES.time[middle]), 1]
    sd = np.degrees(spread(POSES)["r_knee"]["flexion"][middle])
    assert np.ptp(at) == pytest.approx(2 * norm.ppf(0.975) * sd, rel=1e-6)
    assert at.mean() == pytest.approx(np.degrees(POSES.joint_angles["r_knee"]["flexion"][middle]))


def test_without_standard_deviations_there_is_no_band():
    assert not any(axes.collections for axes in Fit(POSES, FIT.summary).plot_joint("r_knee").axes)


def test_the_published_range_is_shaded():
    flexion, adduction, _ = FIT.plot_joint("r_knee").axes
    (shade,) = flexion.patches
    assert shade.get_y() == pytest.approx(-1.6)  # Soucie 2011, women 20-44 y, as in the body model
    assert not adduction.patches


def test_left_and_right_share_a_panel_and_differ_by_more_than_colour():
    figure = FIT.plot_joints(["l_knee", "r_knee", "r_hip"])
    assert [axes.get_title() for axes in figure.axes[:2]] == ["knee", "hip"] and len(figure.axes) == 6
    left, right = figure.axes[0].lines
    assert left.get_linestyle() != right.get_linestyle() and left.get_color() != right.get_color()
    (legend,) = figure.legends
    told = {text.get_text() for text in legend.get_texts()}
    assert told == {"left", "right", "95 % band, left", "95 % band, right", "published range"}


def test_colours_differ_in_lightness_for_those_who_see_no_hue():
    """Relative luminance as in WCAG 2.1."""

    def luminance(colour: str) -> float:
        parts = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255
        linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
        return float(linear @ [0.2126, 0.7152, 0.0722])

    light = [luminance(look["color"]) for look in LOOKS.values()]
    assert all((max(a, b) + 0.05) / (min(a, b) + 0.05) > 1.3 for a, b in combinations(light, 2))


def test_an_unknown_joint_is_refused_with_the_names():
    with pytest.raises(InputError, match=r"found 'r_nee'; expected one of .*; did you mean 'r_knee'\?"):
        FIT.plot_joint("r_nee")
    with pytest.raises(InputError, match="found none, expected one of"):
        FIT.plot_joints([])


def test_gimbal_lock_does_not_set_the_scale():
    wild = {"r_knee": {"flexion": np.where(POSES.time < 1.0, np.pi, np.radians(2.0))}}
    low, high = Fit(POSES, FIT.summary, wild).plot_joint("r_knee").axes[0].get_ylim()
    angle = np.degrees(POSES.joint_angles["r_knee"]["flexion"][POSES.time >= 1.0])
    assert high - low < np.ptp(angle) * 1.2 + 2 * 4 + 1


def test_a_curve_goes_on_past_180_without_a_jump():
    time = POSES.time
    joint = POSES.model.joints["r_knee"]
    from bodyfit.body.motion.poses import from_joint_angles

    turning = from_joint_angles(POSES.model, time, {joint.name: {"internal_rotation": 2.0 * time}})
    (line,) = Fit(turning, summary(turning)).plot_joint(joint.name).axes[2].lines
    steps = np.diff(np.asarray(line.get_ydata(), float))
    assert np.isfinite(steps).all() and np.abs(steps).max() < 10
    assert np.ptp(np.degrees(turning.joint_angles[joint.name]["internal_rotation"])) > 340  # there it jumps


def test_where_the_band_is_wider_than_a_turn_nothing_is_drawn():
    wild = {"r_knee": {"flexion": np.where(POSES.time < 1.0, np.radians(95.0), np.radians(2.0))}}
    (line,) = Fit(POSES, FIT.summary, wild).plot_joint("r_knee").axes[0].lines
    drawn = np.asarray(line.get_ydata(), float)
    np.testing.assert_array_equal(np.isnan(drawn), POSES.time < 1.0)


def test_nothing_is_left_open_and_files_can_be_written(tmp_path):
    figure = FIT.plot_joints(["l_hip", "r_hip"])
    assert plt.get_fignums() == []
    figure.savefig(tmp_path / "hips.svg")
    assert "flexion, °" in " ".join(
        re.findall(r"<!-- (.*?) -->", (tmp_path / "hips.svg").read_text(encoding="utf-8"))
    )


def test_sign_words_are_those_of_the_conventions_page():
    page = (ROOT / "docs" / "conventions.md").read_text(encoding="utf-8")
    rows = [
        line.split("|") for line in page.splitlines() if re.match(r"^\| .* \| [XYZ] [XYZ] [XYZ] \|", line)
    ]
    table = {name.strip(" `"): cells for cells in rows for name in cells[1].split(",")}
    assert set(table) == set(POSITIVE)
    models = (ROOT / "docs" / "models.md").read_text(encoding="utf-8")
    for told in re.findall(r'^\| `"(?:flexion|abduction)"` \| [XYZ ]+ \| (.*?) \|', models, re.M):
        table["shoulder"] += told.split(", ")
    for joint, words in POSITIVE.items():
        for angle, word in words.items():
            (cell,) = {c.strip() for c in table[joint] if c.strip().startswith(f"{angle}:")}
            for part in word.replace(",", "").split():
                assert part in cell, (joint, angle, word, cell)
