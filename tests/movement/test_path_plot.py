"""Pictures of paths: what is drawn is where it went; what has no path is refused."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

import bodyfit
from bodyfit.errors import InputError
from bodyfit.movement.strides.result import FootTrack, Strides
from tests.example_fit import fit_of, person, poses_of

TIME = np.arange(3.0)
PLACE = np.array([[0.0, 0.0, 0.0], [3.0, 0.2, 4.0], [6.0, 0.4, 8.0]])


def drawn(axes):
    return [np.column_stack(line.get_data()) for line in axes.lines if len(line.get_xdata()) > 1]


def test_feet_are_drawn_from_above_and_from_the_side():
    tracks = {
        side: FootTrack(side, TIME, PLACE + np.array([0, 0, off]))
        for side, off in (("left", 0), ("right", 0.2))
    }
    above, side = bodyfit.plot_path(Strides((), (), tracks)).axes
    np.testing.assert_allclose(drawn(above)[0], [[0, 0], [3, -4], [6, -8]])
    np.testing.assert_allclose(drawn(side)[1], [[0, 0], [5, 0.2], [10, 0.4]])
    assert [text.get_text() for text in above.get_legend().get_texts()] == ["left", "right"]
    left, right = (line.get_color() for line in above.lines if len(line.get_xdata()) > 1)
    assert left != right and above.get_aspect() == 1.0


def test_a_fit_shows_its_root():
    fit = fit_of(poses_of(person()))
    place = np.linspace([0.0, 0, 0], [1.0, 0, 2], len(fit.time))
    fit.poses = dataclasses.replace(fit.poses, root_position=place)
    np.testing.assert_allclose(drawn(bodyfit.plot_path(fit).axes[0])[0], place[:, [0, 2]] * [1, -1])


def test_what_has_no_path_is_refused():
    with pytest.raises(InputError, match="hold no foot's path"):
        bodyfit.plot_path(Strides((), ()))
    fit = fit_of(poses_of(person()))
    fit.poses = dataclasses.replace(fit.poses, root_position=None)
    with pytest.raises(InputError, match="does not tell where the body went"):
        bodyfit.plot_path(fit)
