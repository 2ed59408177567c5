"""Captures as long as wished for, from one scripted minute that fits its own beginning.

python tests/benchmarks/long_capture.py 60              fits an hour of fifteen units, in this process
python tests/benchmarks/long_capture.py 60 --command    the same from a folder by `bodyfit fit`
python tests/benchmarks/long_capture.py 600 --five      ten hours of five units at 40 Hz
"""
# pyright: reportOptionalMemberAccess=false

from __future__ import annotations

import argparse
import dataclasses
import json
import resource
import subprocess
import sys
import tempfile
import time
from functools import cache
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from scripted_motion import person, swung

from bodyfit.files.capture.writer import write_capture
from bodyfit.fitting.fit import fit
from bodyfit.recording.capture import Capture
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate

ROOT = Path(__file__).resolve().parents[2]
PERIOD, HERTZ = 60.0, 100.0
SENSORS = frozenset({"accelerometer", "gyroscope"})
# pelvis, thighs and calves, at the rate of the recorded five units of `chain_rigid`
FIVE = {"model": "lower_body", "hertz": 40.0, "bare": ("l_hindfoot_unit", "r_hindfoot_unit")}
# what a process of its own runs, so that nothing but the command counts
COMMAND = """
import json, resource, runpy, sys
sys.argv = ["bodyfit", "fit", *sys.argv[1:]]
try:
    runpy.run_module("bodyfit", run_name="__main__")
except SystemExit as end:
    if end.code:
        raise
used = resource.getrusage(resource.RUSAGE_SELF)
print(json.dumps({"cpu_s": used.ru_utime + used.ru_stime, "peak_bytes": used.ru_maxrss * 1024}))
"""


@cache
def one_minute(model: str = "whole_body", hertz: float = HERTZ, bare: tuple[str, ...] = ()) -> Capture:
    """Usual units but `bare` ones, without magnetometers, for a minute whose end leads into its start."""
    poses = swung(person(model), PERIOD + 2.0, period=PERIOD)
    made = simulate(poses, settings=SimulationSettings(sampling_frequency=hertz))
    start = made.truth.time[0]
    worn = made.capture.without(*bare)
    return _of(worn, {n: u.between(start, start + PERIOD - 0.5 / hertz) for n, u in worn.units.items()})


def minutes(count: int, **given) -> Capture:
    """That minute again and again."""
    repeated = {}
    for name, unit in one_minute(**given).units.items():
        time_ = unit.time[0] + np.arange(count * len(unit.time)) / given.get("hertz", HERTZ)
        signals = {s: np.tile(getattr(unit, s), (count, 1)) for s in unit.sensors}
        repeated[name] = dataclasses.replace(unit, time=time_, **signals)
    return _of(one_minute(**given), repeated)


def _of(capture: Capture, units: dict) -> Capture:
    return dataclasses.replace(capture, units={n: u.only(SENSORS) for n, u in units.items()})


def measured(count: int, **given) -> dict[str, float]:
    """Seconds to fit so many minutes, and the most memory that this process has held, in bytes.

    Resident memory (`ru_maxrss`), pages of files among it. Samples of long captures lie on the disk.
    """
    capture = minutes(count, **given)
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


def measured_command(count: int, **given) -> dict[str, float]:
    """The same of `bodyfit fit` from a folder of text tables into one, which a process of its own runs."""
    with tempfile.TemporaryDirectory(prefix="bodyfit-") as scratch:
        capture, out = Path(scratch) / "capture", Path(scratch) / "fit"
        write_capture(minutes(count, **given), capture, ".csv")
        before = time.perf_counter()
        call = [sys.executable, "-c", COMMAND, str(capture), "--out", str(out)]
        done = subprocess.run(call, cwd=ROOT, stdout=subprocess.PIPE, text=True, check=True)
        summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
        return {
            "minutes": count,
            "frames": summary["frames"],
            "wall_s": time.perf_counter() - before,
            **json.loads(done.stdout.splitlines()[-1]),
            "iterations": summary["solver"]["iterations"],
            "capture_bytes": sum(path.stat().st_size for path in capture.iterdir()),
        }


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("minutes", type=int)
    parser.add_argument(
        "--five", action="store_true", help="five units at 40 Hz instead of fifteen at 100 Hz"
    )
    parser.add_argument("--command", action="store_true", help="bodyfit fit, from a folder into one")
    asked = parser.parse_args()
    how = measured_command if asked.command else measured
    print(json.dumps(how(asked.minutes, **(FIVE if asked.five else {}))))
