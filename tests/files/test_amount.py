"""How much a capture may hold beside its files."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from bodyfit.errors import InputError
from bodyfit.files.capture.amount import FREE_SAMPLES, LEAST_SAMPLE_BYTES, check_amount

FILE = Path("setup.toml")


def units(count: int, samples: int, rate: float = 100.0) -> dict[str, Any]:
    return {f"u{k}": SimpleNamespace(time=np.arange(samples) / rate) for k in range(count)}


def test_ten_minutes_of_fifteen_units_need_no_more_bytes():
    check_amount(FILE, units(15, FREE_SAMPLES // 15), 1000)


def test_more_need_files_that_can_hold_them():
    more = units(2, FREE_SAMPLES)
    check_amount(FILE, more, 2 * FREE_SAMPLES * LEAST_SAMPLE_BYTES)
    with pytest.raises(InputError, match=r"found 2000000 samples of 2 units .* expected at most 1000000"):
        check_amount(FILE, more, FREE_SAMPLES * LEAST_SAMPLE_BYTES)


def test_a_unit_below_twenty_hertz_counts_as_at_twenty():
    slow = units(1, FREE_SAMPLES // 5, rate=2.0)  # a day and a night
    with pytest.raises(InputError, match=r"found 2000000 samples of 1 units .* expected at most 1000000"):
        check_amount(FILE, slow, 1000)
