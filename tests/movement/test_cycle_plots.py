"""Pictures of cycles: the right numbers, bands and colours, and what can't be drawn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from repeated import evenly, fit_of

import bodyfit
from bodyfit.body.motion.joint_plots import LOOKS
from bodyfit.errors import InputError
from bodyfit.movement.cycles.curves import Cycles
from bodyfit.movement.cycles.plots import plot_cycles

PERCENT = np.linspace(0, 100, 101)


def side(name: str, count: int = 8) -> Cycles:
    joint = f"{name[0]}_knee"
    mean = {joint: {"flexion": np.sin(PERCENT / 30), "adduction": 0.1 * np.cos(PERCENT / 30)}}
    sd = {joint: {angle: np.full(101, 0.05) for angle in mean[joint]}}
    return Cycles(name, PERCENT, mean, sd, count)


BOTH = {name: side(name) for name in ("left", "right")}


def test_curves_and_bands_are_mean_and_one_sd_in_the_colours_of_the_sides():
    figure = plot_cycles(BOTH, ["l_knee", "r_knee"])
    flexion, adduction = figure.axes
    assert flexion.get_ylabel() == "flexion, °" and adduction.get_xlabel() == "cycle, %"
    assert [line.get_color() for line in flexion.lines] == [LOOKS["l"]["color"], LOOKS["r"]["color"]]
    assert np.allclose(flexion.lines[0].get_ydata(), np.degrees(np.sin(PERCENT / 30)))
    corners = np.asarray(flexion.collections[0].get_paths()[0].vertices)
    at = corners[np.isclose(corners[:, 0], 50.0), 1]
    assert np.ptp(at) == pytest.approx(2 * np.degrees(0.05))
    said = [text.get_text() for text in figure.legends[0].get_texts()]
    assert said == ["left, 8 cycles", "± 1 SD between cycles", "right, 8 cycles"]


def test_one_movement_is_drawn_from_its_repetitions():
    found = bodyfit.repetitions(fit_of(evenly("lift", 5, 2.4, 0.9), 21.0), {"lift": (2.0, 4.4)})
    figure = plot_cycles(found.curves, ["hip"])
    assert len(figure.axes) == 3
    assert figure.legends[0].get_texts()[0].get_text() == "lift, 5 cycles"


def test_one_cycle_has_no_band():
    one = replace(side("left", 1), sd={"l_knee": {a: np.full(101, np.nan) for a in ("flexion", "adduction")}})
    assert not any(axes.collections for axes in plot_cycles({"left": one}, ["l_knee"]).axes)


@pytest.mark.parametrize(
    ("cycles", "joints", "words"),
    [
        (BOTH, [], "found none, expected one of l_knee, r_knee"),
        (BOTH, ["l_kne"], "did you mean 'l_knee'"),
        ({"a": side("left"), "b": side("left")}, ["l_knee"], "drawn alike; expected one movement"),
    ],
)
def test_what_cannot_be_drawn_is_refused(cycles, joints, words):
    with pytest.raises(InputError, match=words):
        plot_cycles(cycles, joints)
