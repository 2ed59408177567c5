"""Tables that come with bodyfit, or that somebody trained, as objects."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from ....files.movement.activity_table_file import read_activity_numbers
from .table import ActivityTable, WearerPrior


@cache
def activity_table(table: str | Path) -> ActivityTable:
    """The table of a place on the body, or of a file.

    Parameters
    ----------
    table : "waist", "thigh", or the path of a .toml

    Returns
    -------
    ActivityTable

    Raises
    ------
    InputError
        There is no such table, or it is damaged.
    """
    return table_from(read_activity_numbers(table))


def table_from(held: dict[str, Any]) -> ActivityTable:
    """The table of what `read_activity_numbers` gives."""
    wearers = tuple(_wearer(one) for one in held["wearer"])
    return ActivityTable(
        held["place"], tuple(held["activities"]), tuple(held["features"]), **held["table"], wearers=wearers
    )


def _wearer(held: dict[str, Any]) -> WearerPrior:
    """People differ by what is common to all their activities, and by what is each activity's own."""
    number = np.arange(len(held["mean"]))
    between = np.broadcast_to(
        held["common"][None, :, None],
        (len(number), held["common"].shape[0], len(number), held["common"].shape[0]),
    ).copy()
    between[number, :, number, :] += held["own"]
    return WearerPrior(held["activities"], held["features"], held["mean"], held["within"], between)
