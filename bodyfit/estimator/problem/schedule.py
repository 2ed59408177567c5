"""Which step of the solver does what: the one schedule of every fit."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Schedule:
    """Steps of the solver, counted from one.

    Attributes
    ----------
    usual : after which most captures have converged; what progress counts towards
    most : after which the solver gives up
    converged : rad, root mean square step below which it has converged
    first_looks : from each of several starts, before the best goes on
    hinges_from : from which hinges and joint angles count
    geometry_until : after which lever arms, axes and scales are held
    latency_after : after which what is late is looked for
    field_after : without the field, after which joints and gyroscopes judge it
    """

    usual: int = 7  # chains, knees and demos have converged; tried: on those of docs/validation.md
    most: int = 25  # tried: on a deep squat in pieces it takes 15
    converged: float = 5e-4  # 0.03°, by reasoning: below any standard deviation
    first_looks: int = 2  # chosen; not tried
    hinges_from: int = 3  # by then rotations are about right; chosen; not tried
    geometry_until: int = 5  # so that steps can die out; chosen; not tried
    latency_after: tuple[int, ...] = (2, 4)  # the joints agree well enough to show it; chosen; not tried
    field_after: int = 3  # chosen; not tried


SCHEDULE = Schedule()
