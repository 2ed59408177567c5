"""Published accuracy beside ours, where conditions are alike enough to be worth a look."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import recordings as real
import simulated as sim
from recordings import TWO
from scores import best_lag, over_pairs
from tables import number, numbers, table


@dataclass(frozen=True)
class Published:
    """One published result.

    Attributes
    ----------
    condition, figure : degrees, root mean square unless said
    source : where it was published
    ours : what of ours it may be held against
    measured : computes ours
    """

    condition: str
    figure: str
    source: str
    ours: str
    measured: Callable[[], str]


def _ball_joint() -> str:
    pairs = real.chain_fitted("chain_rigid", sensors=TWO)
    return number(over_pairs(pairs, best_lag(pairs))[0])


def _knee() -> str:
    return " / ".join(numbers(real.knee_errors(0.0, sensors=TWO)))


def _knee_flexion() -> str:
    return number(real.knee_errors(0.0, sensors=TWO)[0])


def _single() -> str:
    rows = [real.single_fitted(name) for name in real.names("single_")]
    return " / ".join(numbers(np.mean(rows, axis=0)))


def _stairs() -> str:
    pairs = sim.demo_pairs("steel_stairs", sensors=TWO)
    errors = over_pairs(list(pairs.values()))
    return f"{number(min(errors))} to {number(max(errors))}"


RESULTS = (
    Published(
        "knee, no magnetometer, 7 min of walking, 11 people",
        "2.14 / 1.85 / 3.66 (order flexion / adduction / rotation from memory)",
        "Weygers & Kok 2020, IEEE Sensors J. 20:7969",
        "`knee_landing`: one person's drop landings, mounting unknown, constant offsets removed",
        _knee,
    ),
    Published(
        "knee flexion, calibrating itself, 12 people",
        "4.34",
        "McGrath & Stirling 2020, Sensors 20:6887",
        "`knee_landing`, flexion",
        _knee_flexion,
    ),
    Published(
        "knee flexion, gyroscope and accelerometer, one amputee",
        "below 1 on the prosthesis, about 3 on the leg",
        "Seel et al. 2014, Sensors 14:6891",
        "`knee_landing`, flexion",
        _knee_flexion,
    ),
    Published(
        "two rigid links with a ball joint",
        "1.58; 5.38 by a disturbed magnetometer",
        "Lee & Jeon 2019, Sensors 19:5522",
        "`chain_rigid`, its ball joint, clock offset removed",
        _ball_joint,
    ),
    Published(
        "one unit, 39 recordings (BROAD), two filters, one parameter set: total / heading / inclination",
        "4.96 / 3.92 / 2.71 and 7.49 / 6.30 / 3.70",
        "Laidig et al. 2021, Data 6:72",
        "`single_*`: 7 of the 39, with constant heading offset removed",
        _single,
    ),
    Published(
        "lower body, 7 units, 28 people walking 6 min",
        "below 2.40 at every joint; soft tissue adds 2.2 ± 1.5",
        "Teufl et al. 2018, Sensors 18:1980",
        "`steel_stairs`, simulated with soft tissue, all that is off counted",
        _stairs,
    ),
)


def comparison() -> str:
    """Table of published results and ours."""
    headings = ["published: condition", "published", "source", "ours: condition", "ours"]
    rows = [[p.condition, p.figure, p.source, p.ours, p.measured()] for p in RESULTS]
    return table(headings, rows)
