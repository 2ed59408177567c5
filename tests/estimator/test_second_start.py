"""Two starts where units may face two ways: the better explanation is kept, not the lower cost by itself."""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from bodyfit.alignment.joint_centre import Ends
from bodyfit.estimator import second_start
from bodyfit.estimator.second_start import best_estimate, misfit


@dataclass(frozen=True)
class Ended:
    """What of an estimate counts: one joint between two units, 40 keyframes, of which four are alike."""

    cost: float
    joint_sd: float
    facing: Any = None
    other_cost: float | None = None

    average = SimpleNamespace(known=np.ones((40, 2), bool))
    problem = SimpleNamespace(alike=lambda s: 4.0, weights=SimpleNamespace(joint_s=0.5))

    @property
    def body(self):
        return SimpleNamespace(
            ends=Ends(np.array([[0, 1]])), joint_sd=np.array([self.joint_sd]), facing=self.facing
        )


def test_the_cost_of_a_joint_counts_at_the_disagreement_that_was_found():
    """Against the negative log-likelihood of 30 numbers whose deviation is estimated along with them."""
    sigma = np.array([0.2, 0.8])
    costs = [misfit(Ended(15.0, s)) for s in sigma]  # type: ignore[arg-type]
    assert costs[1] - costs[0] == pytest.approx(30 * np.log(4))


@pytest.mark.parametrize("close", [True, False])
def test_the_better_explanation_is_kept_and_the_other_told(monkeypatch, close):
    facing = SimpleNamespace(second=object() if close else None)
    first = Ended(30.0, 1.0, facing)
    started = []

    def estimate(problem_at, latency, units, progress, facing=None):
        started.append(facing)
        return first if facing is None else replace(first, cost=36.0, joint_sd=0.3)

    monkeypatch.setattr(second_start, "estimate", estimate)
    found = best_estimate(lambda late: None, 0.0, 2)  # type: ignore[arg-type, return-value]
    assert started == [None, facing.second][: 1 + close]
    assert (found.cost, found.other_cost) == ((36.0, 30.0) if close else (30.0, None))
