"""The demo that walks, climbs and sits, from its fit: what happened against the script that moved it."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from example_summary import summary

import bodyfit

DEMOS = Path(__file__).resolve().parents[2] / "demo_captures"
sys.path.append(str(DEMOS))
RISES = (
    (28.54, 30.80),
    (33.52, 35.78),
    (38.58, 40.84),
)  # s: gets up, stands, as printed by the script's seed


@pytest.fixture(scope="module")
def fit():
    """From the true motion, so that nothing but movement/ is tested here."""
    capture = bodyfit.read_capture(DEMOS / "library_bench")
    motion = DEMOS / "library_bench" / "truth" / "segments.csv.gz"
    poses = bodyfit.read_motion(motion, capture.model, capture.person)
    return bodyfit.Fit(poses, summary(poses))


@pytest.fixture(scope="module")
def script():
    """Time, how far somebody sits, and the steps, as scripted."""
    from make_demo_captures import Walker, back_from_the_bench, seated, up_to_the_bench

    time, walker = np.arange(0, 70, 1 / 120.0), Walker(0.08, 4.6)
    up_to_the_bench(walker)
    sits = seated(time, np.random.default_rng(14), walker)
    back_from_the_bench(walker)
    return time, sits, walker.steps


def test_activities_are_those_of_the_script(fit, script):
    found = bodyfit.activities(fit)
    time, sits, steps = script
    told = [s.activity for s in found.stretches]
    assert told.count("stand_to_sit") == told.count("sit_to_stand") == told.count("sitting") == 4
    assert told.count("stairs_up") == told.count("stairs_down") == 1
    edges = np.diff((sits > 0.5).astype(int))
    middles = [time[np.flatnonzero(edges == sign)] for sign in (1, -1)]
    for name, true in zip(("stand_to_sit", "sit_to_stand"), middles, strict=True):
        mine = [(s.start + s.end) / 2 for s in found.stretches if s.activity == name]
        assert np.abs(np.array(mine) - true).max() < 0.3
    climbs = [s.land for s in steps if 0 < s.to.floor < 1.1]
    up = next(s for s in found.stretches if s.activity == "stairs_up")
    down = next(s for s in found.stretches if s.activity == "stairs_down")
    assert sum(up.start - 1 < t < up.end + 1 or down.start - 1 < t < down.end + 1 for t in climbs) == len(
        climbs
    )


def test_every_rise_is_found_from_one(fit, script):
    found = bodyfit.repetitions(fit, like={"rise": [RISES[0]]})
    starts = [one.start for one in found.found if one.probability > 0.5]
    assert len(starts) == 4
    time, sits, _ = script
    begins = time[np.flatnonzero(np.diff((sits > 0.99).astype(int)) == -1)]
    assert np.abs(np.array(starts) - begins).max() < 0.3
