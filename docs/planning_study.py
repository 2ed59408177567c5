"""Information bounds of joint angles against simulated recordings, on demo motions.

`python docs/planning_study.py` prints, for each case, the mean over the joint angles of the bound and of the
root mean square error over time and recordings, and their ratio; a number after it simulates fewer.
Recordings in which the fit believed in a slip that never happened are left out: no bound knows of them.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np

from bodyfit.files.model.model_file import read_model
from bodyfit.files.motion.motion_file import read_motion
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.study.planning.question import NINE, SIX, Question, WornSet, stretch, tolerances
from bodyfit.study.planning.trial import bound, trial

DEMOS = Path(__file__).resolve().parents[1] / "demo_captures"
INDOOR = 3e-6  # T
CASES = (  # demo, model, degrees per g, mounting in degrees, sensors
    ("cello_arm", "right_arm", 3.0, 1.5, SIX),
    ("cello_arm", "right_arm", 3.0, 1.5, NINE),
    ("steel_stairs", "lower_body", 1.0, 1.5, SIX),
    ("steel_stairs", "lower_body", 1.0, 1.5, NINE),
    ("steel_stairs", "lower_body", 3.0, 1.5, SIX),
    ("cello_arm", "right_arm", 3.0, 0.0, SIX),
    ("cello_arm", "right_arm", 0.0, 0.0, SIX),
    ("steel_stairs", "lower_body", 1.0, 0.0, SIX),
)


def case(
    demo: str, model: str, softness: float, mounting: float, sensors: tuple[str, ...], count: int
) -> str:
    """A line about one case."""
    motion = stretch(read_motion(DEMOS / demo / "truth" / "segments.csv.gz", read_model(model)))
    settings = SimulationSettings(
        soft_tissue_deg_per_g=softness, soft_tissue_mm_per_g=5 / 3 * softness, magnetic_distortion=INDOOR
    )
    question = Question(motion, tolerances(["5"], motion), settings, math.radians(mounting))
    worn = WornSet(tuple((segment, sensors) for segment in motion.model.segments))
    bounds = bound(question, worn)
    trials = [trial(question, worn, number) for number in range(count)]
    kept = [t for t in trials if not t["slips"]]
    names = list(bounds)
    error = np.sqrt(np.mean([[t[n] ** 2 for n in names] for t in kept], 0))
    told = np.array([bounds[n] for n in names])
    one = told / error
    return (
        f"{demo}, {len(sensors)} sensors, {softness:g}°/g, mounting {mounting:g}°: bound "
        f"{np.degrees(told.mean()):.2f}°, simulated {np.degrees(error.mean()):.2f}°, ratio "
        f"{told.mean() / error.mean():.2f}, of single angles {one.min():.2f} to {one.max():.2f}; "
        f"{len(kept)} of {count} recordings"
    )


def main(count: int = 60) -> None:
    """Prints all cases."""
    for values in CASES:
        print(case(*values, count), flush=True)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
