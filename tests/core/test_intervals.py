"""Runs and stretches, against runs counted one flag after the other."""

from itertools import groupby

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from bodyfit.core.intervals import runs, stretches


@given(arrays(bool, st.integers(0, 30)))
def test_runs_are_those_that_groupby_finds(flags):
    expected, at = [], 0
    for value, group in groupby(flags.tolist()):
        length = len(list(group))
        if value:
            expected.append((at, at + length))
        at += length
    assert [tuple(run) for run in runs(flags).tolist()] == expected
    assert runs(flags).shape == (len(expected), 2)


def test_stretches_near_each_other_are_one_and_short_ones_are_left_out():
    time = np.arange(0, 3, 0.1)
    holds = np.zeros(30, bool)
    holds[[2, 3, 5, 6, 15]] = True
    (found,) = stretches(time, holds, join=0.25, shortest=0.15)
    assert (found.first, found.last) == (2, 6)
    assert (found.start, found.end) == pytest.approx((0.2, 0.6))
    assert len(stretches(time, holds, join=0.15, shortest=0.15)) == 2
    assert len(stretches(time, holds, join=0.15, shortest=0.05)) == 3
