"""How much a capture may hold, so that what it takes to fit it stays in proportion to its files."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from ...errors import InputError
from ...recording.capture import Unit

MOST_UNITS = 64  # a unit on every segment of a body with fingers are 45 (counted; ISO/IEC 19774-1)
MOST_CALIBRATIONS = 50  # a dozen poses, three times each (by reasoning); 400 took 18 s (tried)
# of all units: ten minutes of fifteen at 100 Hz; tried: on 2 and 15 units, a fit takes 1 to 1.2 kB for each
FREE_SAMPLES = 1_000_000
LEAST_SAMPLE_BYTES = 9  # on the disk for a row of one unit: six numbers of 12 bits (by reasoning)
LEAST_RATE = 20.0  # Hz; a unit that is sampled less often takes as much; tried: on two units at 2 Hz


def check_amount(file: Path, units: Mapping[str, Unit], bytes_on_disk: int) -> None:
    """Refuses captures that hold more samples than their files can have recorded.

    Parameters
    ----------
    file : setup.toml, for the message
    units : as read
    bytes_on_disk : of all tables

    Raises
    ------
    InputError
        Names how many samples there are, and how many are expected at most.
    """
    found = sum(_weight(unit) for unit in units.values())
    most = max(FREE_SAMPLES, bytes_on_disk / LEAST_SAMPLE_BYTES)
    if found > most:
        raise InputError(
            f"{file}: found {found:.0f} samples of {len(units)} units in {bytes_on_disk / 1e6:.3g} MB of "
            f"tables, expected at most {most:.0f} (below {LEAST_RATE:g} Hz counted as at that rate): no "
            "recording packs so well. Do the units share a table? Else cut the recording into parts"
        )


def _weight(unit: Unit) -> float:
    """Samples of a unit, or what it would have at the least rate."""
    usual = float(np.median(np.diff(unit.time))) if len(unit.time) > 1 else 0.0
    return len(unit.time) * max(1.0, LEAST_RATE * usual)
