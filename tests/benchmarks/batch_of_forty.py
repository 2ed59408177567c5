"""What a batch costs beside plain calls, and what two processes gain: forty captures, three of them broken.

    python tests/benchmarks/batch_of_forty.py [--count 40] [--seconds 60]

Each capture is a simulated right arm; three of them lack a table. All are fitted, reviewed and reported one
after the other by plain calls, then by a batch of one process, then by one of two, wall time each. Plain
calls run in a fresh process, as a script of one's own would, so the start of Python and the loading of
libraries count on both sides. The figures mean something on a machine with two idle cores only.
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from scripted_motion import person, swung

import bodyfit
from bodyfit.errors import BodyfitError
from bodyfit.files.capture.writer import write_capture
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate
from bodyfit.study.batch.batch import batch
from bodyfit.study.report.page import write_report

BROKEN = 3


def captures_in(folder: Path, count: int, seconds: float) -> list[Path]:
    """Folders of captures that differ in seed and length; the last few lack the table of one unit."""
    model, found = person("right_arm"), []
    for k in range(count):
        poses = swung(model, seconds + 0.05 * k)
        made = simulate(poses, settings=SimulationSettings(sampling_frequency=100.0), seed=k)
        found.append(folder / f"arm_{k:02}")
        write_capture(made.capture, found[-1], ".csv")
    for broken in found[-BROKEN:]:
        sorted(broken.glob("*.csv"))[0].unlink()
    return found


def one_after_the_other(captures: list[Path], out: Path) -> int:
    """How many were fitted, reviewed and reported by plain calls."""
    done = 0
    for capture in captures:
        try:
            fit = bodyfit.fit(bodyfit.read_capture(capture))
        except BodyfitError:
            continue
        fit.write(out / capture.name)
        bodyfit.review(fit)
        write_report(out / capture.name)
        done += 1
    return done


def in_fresh_process(work, *given) -> object:
    """What a call gives that is made by a process started for it."""
    with multiprocessing.get_context("spawn").Pool(1) as fresh:
        return fresh.apply(work, given)


def timed(work) -> tuple[float, object]:
    """Seconds that a call takes, and what it gives."""
    began = time.perf_counter()
    came = work()
    return time.perf_counter() - began, came


def main() -> None:
    """Measures and prints."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--seconds", type=float, default=60.0)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        captures = captures_in(folder / "captures", asked.count, asked.seconds)
        plain, done = timed(lambda: in_fresh_process(one_after_the_other, captures, folder / "plain"))
        print(f"plain calls  {plain:6.1f} s, {done} done", flush=True)
        for jobs in (1, 2):
            seconds, rows = timed(lambda jobs=jobs: batch(captures, folder / f"jobs{jobs}", jobs=jobs))
            states = Counter(row.state for row in rows)
            gain = plain / seconds
            print(f"batch of {jobs}   {seconds:6.1f} s, {dict(states)}, {gain:.2f} times", flush=True)


if __name__ == "__main__":
    main()
