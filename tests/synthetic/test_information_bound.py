"""The information bound of joint angles against the errors of simulated recordings."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from bodyfit.files.model.model_file import read_model
from bodyfit.files.motion.motion_file import read_motion
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.soft_tissue import drawn_tissue
from bodyfit.study.planning.question import SIX, Question, WornSet, stretch, tolerances
from bodyfit.study.planning.systematic_errors import TISSUE, variances
from bodyfit.study.planning.trial import bound, trial

DEMO = Path(__file__).resolve().parents[2] / "demo_captures" / "cello_arm" / "truth"
RECORDINGS = 8


@pytest.mark.parametrize(("softness", "mounting"), [(3.0, 1.5), (0.0, 0.0)])
def test_the_bound_is_near_the_error_of_simulated_recordings(softness, mounting):
    """Mean over nine angles; eight recordings of independent errors give an RMS to 25 %, here to 14 %."""
    motion = stretch(read_motion(DEMO / "segments.csv.gz", read_model("right_arm")))
    settings = SimulationSettings(soft_tissue_deg_per_g=softness, soft_tissue_mm_per_g=5 / 3 * softness)
    question = Question(motion, tolerances(["5"], motion), settings, math.radians(mounting))
    worn = WornSet(tuple((segment, SIX) for segment in motion.model.segments))
    told = bound(question, worn)
    trials = [trial(question, worn, number) for number in range(RECORDINGS)]
    error = np.mean([np.sqrt(np.mean([t[name] ** 2 for t in trials])) for name in told])
    assert 0.8 <= np.mean(list(told.values())) / error <= 1.2


def test_the_bound_expects_the_tissue_that_is_simulated():
    """Mean squares of the constants of 4000 drawn tissues: six of the turn to 2 %, the shift exactly."""
    settings = SimulationSettings(soft_tissue_deg_per_g=3.0, soft_tissue_mm_per_g=5.0)
    rng = np.random.default_rng(0)
    drawn = [drawn_tissue(rng, 3.0, 5.0) for _ in range(4000)]
    turn = np.mean([tissue.turn[:, [0, 2]] ** 2 for tissue in drawn], axis=0)
    shift = np.mean([tissue.shift[0, 0] ** 2 for tissue in drawn])
    expected = variances(settings)[:TISSUE]
    assert turn.ravel() == pytest.approx(expected[:6], rel=0.1)
    assert turn.mean() == pytest.approx(expected[:6].mean(), rel=0.02)
    assert shift == pytest.approx(expected[6])
