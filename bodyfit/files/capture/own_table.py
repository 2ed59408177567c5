"""Stamps of a table, and sensors that stand in a table of their own, brought to the unit's stamps."""

from __future__ import annotations

import numpy as np

from ...errors import InputError
from ..plain.tables import Table
from ..plain.toml_reader import TomlTable
from . import stamp_checks
from .time_stamps import MICROSECONDS, Stamps, read_stamps, time_column

OWN_GAP = 2.5  # usual steps from which samples have been lost; as GAP of recording/sampling.py


def unit_stamps(setup: TomlTable, table: Table) -> Stamps:
    """Stamps of a table's rows as `time` and `sampling_frequency` beside it say; no column: evenly spaced.

    Raises
    ------
    InputError
        Neither or both are given, there are too few rows, or a cell is not a stamp.
    """
    (column, unit), rate = (
        time_column(setup),
        setup.number(
            "sampling_frequency",
            *stamp_checks.RATES,
            "samples a second, above 0: {:g} to {:g}".format(*stamp_checks.RATES),
        ),
    )
    counted = unit == "samples"
    if (column is None) == (rate is None) and not (counted and rate):
        found = "given beside sampling_frequency" if column else "neither it nor sampling_frequency is given"
        setup.refuse(
            "time", f'{found}; expected one: time = "<column of seconds>" or sampling_frequency = <Hz>'
        )
    if counted and rate is None:
        setup.missing("sampling_frequency", "samples a second, which turn sample numbers into seconds")
    stamp_checks.check_count(setup, table)
    if column is None:
        return Stamps("", np.arange(len(table)) / (rate or 1.0))
    return read_stamps(table, column, unit, rate, setup.dotted("time"))


def own_samples(keys: TomlTable, own: Table, values: np.ndarray) -> tuple[Stamps, np.ndarray, str]:
    """Stamps and values of a sensor's own table, and the key of its time for messages.

    Parameters
    ----------
    keys : the sensor's table in setup.toml
    own : its table of samples
    values : (M, 3 or 4), as read

    Returns
    -------
    Stamps, (M, 3 or 4) values (quaternions without changes of sign on the way), key
    """
    stamps = unit_stamps(keys, own)
    if stamps.column:
        stamp_checks.check_stamps(own, stamps.column, stamps.time)
    if values.shape[1] == 4:  # a quaternion and its negative are one rotation: no change of sign on the way
        there = np.isfinite(values[:, 0])
        turned = np.sum(values[there][1:] * values[there][:-1], axis=1) < 0
        values[there] *= np.cumprod(np.append(1, np.where(turned, -1, 1)))[:, None]
    return stamps, values, keys.dotted("time")


def at_stamps_of(setup: TomlTable, table: Table, own: tuple[Stamps, np.ndarray, str]) -> np.ndarray:
    """Values of a sensor's own table at the stamps of the unit's, on straight lines between.

    Parameters
    ----------
    setup, table : the unit's table in setup.toml, and its table of samples, N rows
    own : what `own_samples` returns

    Returns
    -------
    (N, 3 or 4), NaN outside the recording and where its samples are further apart than OWN_GAP usual steps

    Raises
    ------
    InputError
        One of the two has dates for stamps, the other a clock of its own.
    """
    stamps, values, key = own
    to = unit_stamps(setup, table)
    if (stamps.start is None) != (to.start is None):
        raise InputError(
            f"{setup.file}: {key}: found another kind of stamps than {setup.dotted('time')} has (dates "
            "against a clock of its own); expected one clock: give both the same kind"
        )
    time = to.time + ((to.start or 0) - (stamps.start or 0)) / MICROSECONDS
    there = np.isfinite(values[:, 0])
    at, known = stamps.time[there], values[there]
    if len(at) < 2:
        return np.full((len(time), values.shape[1]), np.nan)
    out = np.stack([np.interp(time, at, column) for column in known.T], axis=1)
    after = np.clip(np.searchsorted(at, time), 1, len(at) - 1)
    outside = (time < at[0]) | (time > at[-1])
    out[outside | (at[after] - at[after - 1] > OWN_GAP * np.median(np.diff(at)))] = np.nan
    if values.shape[1] == 4:
        out /= np.linalg.norm(out, axis=1, keepdims=True)
    return out
