"""How much a capture may hold, so that what it takes to fit it stays in proportion to its files."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from ...errors import InputError
from ...recording.capture import Unit

MOST_UNITS = 64  # a unit on every segment of a body with fingers are 45 (counted; ISO/IEC 19774-1)
MOST_CALIBRATIONS = 50  # a dozen poses, three times each (by reasoning); 400 took 18 s (tried)
FREE_SAMPLES = 3_000_000  # of all units: half an hour of fifteen at 100 Hz, by reasoning
LEAST_SAMPLE_BYTES = 4  # on the disk for a row of one unit, packed perfectly (by reasoning)


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
    found = sum(len(unit.time) for unit in units.values())
    most = max(FREE_SAMPLES, bytes_on_disk / LEAST_SAMPLE_BYTES)
    if found > most:
        raise InputError(
            f"{file}: found {found} samples of {len(units)} units in {bytes_on_disk / 1e6:.3g} MB of tables, "
            f"expected at most {most:.0f}: no recording packs so well. Do the units share a table?"
        )
