"""Tables of movement as the commands leave them beside the invented walk of `example_out`."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from bodyfit.body.motion.poses import PoseSequence
from bodyfit.files.movement.activities_file import write_activities
from bodyfit.files.movement.column_tables import write_columns, write_cycles
from bodyfit.files.movement.sides_file import write_sides
from bodyfit.movement.activities.chain.timeline import ActivityStretch
from bodyfit.movement.cycles.curves import Cycles, columns_of
from bodyfit.movement.cycles.left_right import left_right
from bodyfit.movement.strides.result import Event, Stride, Strides

EVENTS = {"heel_strike": 0.0, "foot_flat": 0.1, "toe_off": 0.6, "mid_swing": 0.8}  # s after the strike


def strides_of(poses: PoseSequence) -> Strides:
    """A stride a second, right half a second after left, as long as the fit has room."""
    strides, events = [], []
    for side, shift in (("left", 0.2), ("right", 0.7)):
        starts = np.arange(poses.time[0] + shift, poses.time[-1] - 1.0, 1.0)
        for n, start in enumerate(starts):
            turn = 0.9 if n == 1 else 0.0
            strides.append(
                Stride(
                    side, start, start + 0.1, start + 0.6, start + 0.8, start + 1.0, 1.1, 0.02, 0.6, None,
                    0.013, 0.0, turn,
                )
            )  # fmt: skip
            events += [Event(start + late, 0.01, side, name) for name, late in EVENTS.items()]
    events.sort(key=lambda one: one.time)
    return Strides(tuple(events), tuple(sorted(strides, key=lambda one: one.start)))


def curves() -> list[Cycles]:
    """Knees over the cycle: the left bends to 60°, the right to 50°; of repetitions both to 90°."""
    percent = np.linspace(0, 100, 101)
    wave = np.sin(np.pi * percent / 100) ** 2
    made = []
    for name, bends in (
        ("left", {"l_knee": 60.0}),
        ("right", {"r_knee": 50.0}),
        ("lift<i>", {"l_knee": 90.0, "r_knee": 90.0}),
    ):
        mean = {joint: {"flexion": np.radians(bend) * wave} for joint, bend in bends.items()}
        sd = {joint: {"flexion": np.full(101, np.radians(4.0))} for joint in bends}
        made.append(Cycles(name, percent, mean, sd, 7))
    return made


def write_happened(out: Path, poses: PoseSequence) -> Path:
    """The folder, now with all tables of movement."""
    strides_of(poses).write(out)
    first, last = float(poses.time[0]), float(poses.time[-1])
    middle = (first + last) / 2
    stretches = [
        ActivityStretch(first, middle - 1, "walking", 0.97),
        ActivityStretch(middle - 1, middle + 1, "stand_to_sit", 0.8),
        ActivityStretch(middle + 1, last - 0.5, "sitting", 0.9),
        ActivityStretch(last - 0.5, last, "unknown", 0.5),
    ]
    columns = {
        "start_s": np.array([s.start for s in stretches]),
        "end_s": np.array([s.end for s in stretches]),
        "activity": np.array([s.activity for s in stretches], object),
        "probability": np.array([s.probability for s in stretches]),
    }
    write_activities(columns, out)
    repeated = {
        "start_s": np.array([first, middle]),
        "end_s": np.array([middle, last]),
        "movement": np.array(["lift<i>", "lift<i>"], object),
        "distance": np.array([0.1, 0.2]),
        "probability": np.array([0.9, 0.8]),
    }
    write_columns(out / "repetitions.csv", repeated)
    made = curves()
    write_cycles(columns_of(made[:2]), out, of_strides=True)
    write_cycles(columns_of(made[2:]), out, of_strides=False)
    ranges = left_right("knee_flexion_range", "rad", np.radians([59.0, 61.0]), np.radians([50.0, 50.0]))
    write_sides([left_right("stride_time", "s", np.array([1.0, 1.1]), np.array([1.0, 1.0])), ranges], out)
    return out
