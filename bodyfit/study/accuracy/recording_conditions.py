"""What went on while a capture was made, as far as it makes sensors err: shaking, and a bent field."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from ...recording.capture import Capture

STEP_S = 0.5  # s, chosen; not tried


@dataclass(frozen=True, eq=False)
class Circumstances:
    """How hard units were shaken and how far the field was off, root mean square over the units.

    Attributes
    ----------
    time : (B,) s, middles of stretches of half a second
    shaken : (B,) m/s², by which the length of the specific force differs from its median; None: no
        accelerometer
    bent : (B,) share of the field by which its strength differs from its median; None: no magnetometer
    """

    time: np.ndarray
    shaken: np.ndarray | None
    bent: np.ndarray | None


def circumstances(capture: Capture) -> Circumstances:
    """Of a capture, from what its units read.

    Parameters
    ----------
    capture : with at least one sample

    Returns
    -------
    Circumstances

    Notes
    -----
    Per unit | |f| − median |f| | and | |m| / median |m| − 1 |. Both are blind to some of what they stand for:
    a force across gravity, and a field that turns without growing.
    """
    units = capture.units.values()
    start = min(unit.time[0] for unit in units)
    end = max(unit.time[-1] for unit in units)
    edges = np.arange(start, max(end, start + STEP_S) + STEP_S, STEP_S)
    forces = [(u.time, _off_median(u.accelerometer)) for u in units if u.accelerometer is not None]
    fields = [(u.time, _off_median(u.magnetometer, True)) for u in units if u.magnetometer is not None]
    return Circumstances(0.5 * (edges[1:] + edges[:-1]), _binned(forces, edges), _binned(fields, edges))


def _off_median(values: np.ndarray, relative: bool = False) -> np.ndarray:
    """(N,) length less its median, or as a share of it."""
    length = np.linalg.norm(values, axis=1)
    known = length[np.isfinite(length)]
    usual = float(np.median(known)) if len(known) else np.nan
    return (length - usual) / (usual if relative and usual > 0 else 1.0)


def _binned(parts: Iterable[tuple[np.ndarray, np.ndarray]], edges: np.ndarray) -> np.ndarray | None:
    """(B,) root mean square in each stretch, of its neighbours where it has none; None: nothing at all."""
    count, total = np.zeros(len(edges) - 1), np.zeros(len(edges) - 1)
    for time, value in parts:
        known = np.isfinite(value)
        at = np.clip(np.searchsorted(edges, time[known], side="right") - 1, 0, len(count) - 1)
        count += np.bincount(at, minlength=len(count))
        total += np.bincount(at, value[known] ** 2, minlength=len(count))
    if not count.any():
        return None
    middle, some = np.arange(len(count)), count > 0
    return np.interp(middle, middle[some], np.sqrt(total[some] / count[some]))
