"""Columns between numpy and pyarrow by their memory, against pyarrow's own conversion."""

import numpy as np
import pyarrow as pa
import pytest

from bodyfit.files.plain.tables import column_numbers, number_column


@pytest.mark.parametrize("cells", [[1.5, None, -2.0, None, 0.1], [1.0, 2.0], [None, None], []])
def test_numbers_come_out_as_pyarrow_converts_them(cells):
    column = pa.chunked_array([pa.array(cells, pa.float64()), pa.array([7.0, *cells], pa.float64())])
    for part in (column, column.slice(1), column.slice(2, 2)):
        np.testing.assert_array_equal(column_numbers(part, float), part.to_numpy())


def test_whole_numbers_keep_every_digit():
    many = np.array([2**62 + 1, -5, 2**53 + 1])
    np.testing.assert_array_equal(column_numbers(pa.chunked_array([pa.array(many)]), np.int64), many)


@pytest.mark.parametrize("count", [0, 1, 7, 8, 9, 1000])
def test_a_column_is_as_pyarrow_makes_it(count):
    rng = np.random.default_rng(count)
    values, known = rng.normal(size=count), rng.random(count) < 0.7
    assert number_column(values, known).equals(pa.array(values, mask=~known))
    assert number_column(values, known | True).null_count == 0
