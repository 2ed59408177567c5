"""Captures as long as wished for, from one scripted minute that fits its own beginning."""
# pyright: reportOptionalMemberAccess=false

from __future__ import annotations

import dataclasses
import json
import resource
import sys
import time
from functools import cache
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from scripted_motion import person, swung

from bodyfit.fitting.fit import fit
from bodyfit.recording.capture import Capture
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate

PERIOD, HERTZ = 60.0, 100.0
SENSORS = frozenset({"accelerometer", "gyroscope"})


@cache
def one_minute(model: str = "whole_body") -> Capture:
    """Fifteen usual units at 100 Hz for a minute, without magnetometers; its end leads into its start."""
    poses = swung(person(model), PERIOD + 2.0, period=PERIOD)
    made = simulate(poses, settings=SimulationSettings(sampling_frequency=HERTZ))
    start = made.truth.time[0]
    return _of(
        made.capture,
        {n: u.between(start, start + PERIOD - 0.5 / HERTZ) for n, u in made.capture.units.items()},
    )


def minutes(count: int, model: str = "whole_body") -> Capture:
    """That minute again and again."""
    repeated = {}
    for name, unit in one_minute(model).units.items():
        time_ = unit.time[0] + np.arange(count * len(unit.time)) / HERTZ
        signals = {s: np.tile(getattr(unit, s), (count, 1)) for s in unit.sensors}
        repeated[name] = dataclasses.replace(unit, time=time_, **signals)
    return _of(one_minute(model), repeated)


def _of(capture: Capture, units: dict) -> Capture:
    return dataclasses.replace(capture, units={n: u.only(SENSORS) for n, u in units.items()})


def measured(count: int, model: str = "whole_body") -> dict[str, float]:
    """Seconds to fit so many minutes, and the most memory that this process has held, in bytes."""
    capture = minutes(count, model)
    before, cpu = time.perf_counter(), time.process_time()
    found = fit(capture, sensors=SENSORS)
    return {
        "minutes": count,
        "frames": len(found.time),
        "wall_s": time.perf_counter() - before,
        "cpu_s": time.process_time() - cpu,
        "iterations": found.summary.solver.iterations,
        "peak_bytes": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024,
        "capture_bytes": sum(
            u.time.nbytes + u.accelerometer.nbytes + u.gyroscope.nbytes for u in capture.units.values()
        ),
    }


if __name__ == "__main__":
    print(json.dumps(measured(int(sys.argv[1]))))
