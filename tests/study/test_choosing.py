"""The page about choosing sensors: its reading of references, and how it judges what was expected."""

from __future__ import annotations

import importlib
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

DOCS = Path(__file__).resolve().parents[2] / "docs"


@pytest.fixture(scope="module")
def choosing():
    yield from _imported("choosing")


@pytest.fixture(scope="module")
def page():
    yield from _imported("make_choosing")


def _imported(name: str):
    sys.path.insert(0, str(DOCS))
    yield importlib.import_module(name)
    sys.path.remove(str(DOCS))


def test_a_reference_is_turned_from_z_up_to_y_up_and_keeps_its_gaps(choosing):
    """A quarter turn about an upright +Z is one about an upright +Y; an empty row is not seen."""
    quat = Rotation.from_euler("Z", [[0], [45], [90]], degrees=True).as_quat()
    quat[1] = np.nan
    table = pd.DataFrame({"time_s": [0.0, 0.1, 0.2]} | {f"a_q{x}": quat[:, i] for i, x in enumerate("xyzw")})
    reference = choosing._of_tracks(table, ["a"])
    assert reference.seen["a"].tolist() == [True, False, True]
    turns = reference.rotations["a"]
    between = (turns[2] * turns[0].inv()).as_rotvec(degrees=True)
    np.testing.assert_allclose(between, [0, 90, 0], atol=1e-9)
    np.testing.assert_allclose(turns[0].apply([0, 0, 1]), [0, 1, 0], atol=1e-12)


def test_an_error_is_of_one_kind_from_four_fifths_of_the_mean_square_on(page):
    """2² is four fifths of 2² + 1²."""
    assert page._mostly(2.001, 1.0) == "yes" and page._mostly(1.999, 1.0) == "no"
    assert page._mostly(None, 1.0) == "–"


def test_the_sets_are_what_their_names_say(page):
    assert page.ACC_GYRO == ("accelerometer", "gyroscope")
    assert page.ACC_MAG == ("accelerometer", "magnetometer")
    assert page.GYRO_MAG == ("gyroscope", "magnetometer")
    assert page.short(page.ALL) == "acc + gyro + mag (nine axes)"


def test_every_place_of_the_page_is_filled(page):
    """The template asks for what the script has, and nothing else."""
    import inspect
    import re

    places = re.findall(r"{{(\w+)}}", (DOCS / "choosing_sensors.template.md").read_text())
    assert sorted(places) == sorted(re.findall(r'^        "([A-Z_]+)": ', inspect.getsource(page.page), re.M))
