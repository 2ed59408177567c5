"""The recordings of feet and what their references say, for `feet_study.py`."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from recordings import DATA
from scipy.spatial.transform import Rotation, Slerp

from bodyfit.feet.smoother import FootPath
from bodyfit.recording.capture import Unit

G = 9.80665  # m/s²
SIDES = {"L": "left", "R": "right"}
END_S = 0.3  # s about a turn that count as turning
GAP_S = 0.025  # s; a longer gap within 0.15 s of an event: packets were lost there


@dataclass(frozen=True, eq=False)
class MarkedFoot:
    """One foot of `foot_events_walk`: its unit, and event -> times (n,) with what kind of step each is."""

    name: str
    side: str
    unit: Unit
    times: dict[str, np.ndarray]
    kinds: dict[str, np.ndarray]


def unit(path) -> Unit:
    """A unit from a table of one of these sets."""
    table = pd.read_parquet(path).astype(float)
    table = table[np.r_[True, np.diff(table.t) > 1e-4]]
    columns = [table[[f"{sensor}_{axis}" for axis in "xyz"]].to_numpy() for sensor in ("acc", "gyr")]
    return Unit("foot", "hindfoot", table.t.to_numpy(), *columns)


def marked_feet() -> Iterator[MarkedFoot]:
    """Every foot of `foot_events_walk`; kinds: ends, turn, gaps, straight, the first that fits."""
    about = pd.read_csv(DATA / "foot_events_walk" / "recordings.csv").set_index("recording")
    for name, turn in about.iterrows():
        folder = DATA / "foot_events_walk" / str(name)
        told = pd.read_csv(folder / "events.csv")
        for letter, side in SIDES.items():
            worn = unit(folder / f"{side}_foot.parquet")
            times, kinds = {}, {}
            for event in ("heel_strike", "toe_off"):
                t = np.sort(told[(told.foot == letter) & (told.event == event)].t.to_numpy())
                gap = np.array([longest_gap(worn.time, x) for x in t])
                kind = np.where(gap > GAP_S, "gaps", "straight").astype(object)
                kind[(t > turn.uturn_start_s - END_S) & (t < turn.uturn_end_s + END_S)] = "turn"
                kind[[0, -1]] = "ends"
                times[event], kinds[event] = t, kind
            yield MarkedFoot(str(name), side, worn, times, kinds)


def longest_gap(time: np.ndarray, at: float) -> float:
    """Longest step between samples within 0.15 s."""
    i, j = np.searchsorted(time, [at - 0.15, at + 0.15])
    return float(np.diff(time[max(0, i - 1) : j + 1]).max(initial=0.0))


def faster(read: Unit, path: FootPath, factor: float) -> Unit:
    """The recording played faster: what is no gravity grows with the square."""
    R = Slerp(path.time, Rotation.from_matrix(path.state.R))(np.clip(read.time, path.time[0], path.time[-1]))
    up = R.inv().apply([0.0, G, 0.0])
    assert read.accelerometer is not None and read.gyroscope is not None
    force = factor**2 * (read.accelerometer - up) + up
    return dataclasses.replace(
        read, time=read.time / factor, accelerometer=force, gyroscope=factor * read.gyroscope
    )
