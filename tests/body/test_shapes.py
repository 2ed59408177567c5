"""How long a segment is and which points it joins, worked by hand."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from bodyfit.body.chain import BodyModel
from bodyfit.body.parts import Joint, Segment
from bodyfit.body.shapes import DEFAULT_LENGTH, end_points, segment_length


def chain(**given) -> BodyModel:
    """Two joints in a row: the middle segment from its first joint's centre to the mean of those beyond."""
    joints = {
        "first": Joint(
            "first", "a", "b", centre_in_parent=np.zeros(3), centre_in_child=np.array([0, 0.1, 0])
        ),
        "left": Joint("left", "b", "c", centre_in_parent=np.array([0.1, -0.2, 0])),
        "right": Joint("right", "b", "d", centre_in_parent=np.array([-0.1, -0.2, 0])),
    }
    segments = {name: Segment(name) for name in "abcd"}
    return BodyModel("chain", segments | {"b": Segment("b", **given)}, joints)


def test_a_segment_joins_its_joints_centres():
    start, end = end_points("b", chain())
    np.testing.assert_allclose([start, end], [[0, 0.1, 0], [0, -0.2, 0]])
    assert segment_length("b", chain()) == pytest.approx(0.3)


def test_a_stated_length_counts_more():
    assert segment_length("b", chain(length=0.5)) == 0.5


def test_a_root_reaches_as_far_to_its_other_side():
    body = chain()
    outer = dataclasses.replace(body.joints["first"], centre_in_parent=np.array([0.0, -0.4, 0.0]))
    start, end = end_points("a", dataclasses.replace(body, joints={**body.joints, "first": outer}))
    np.testing.assert_allclose([start, end], [[0, 0.4, 0], [0, -0.4, 0]])


def test_where_nothing_tells_a_segment_hangs_down_by_the_usual_length():
    start, end = end_points("a", chain())  # its only joint lies in its origin
    np.testing.assert_allclose(start - end, [0, DEFAULT_LENGTH, 0])
