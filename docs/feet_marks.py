"""What the marks in `foot_events_walk` allow, by the signals alone: `python docs/feet_marks.py`.

No part of `bodyfit strides` is asked. A foot rests where its gyroscope and accelerometer do; from rest to
rest it is integrated, what velocity is left at the end is taken off evenly, and a mark is looked at beside
that. Each rule is applied to straight walking, too, where a rule that accuses marks at random would show.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from feet_recordings import G, MarkedFoot, marked_feet
from scipy.spatial.transform import Rotation

REST_RATE = 1.0  # rad/s, and
REST_FORCE = 1.0  # m/s² off gravity: a shoe on the ground shows less for REST_S (common practice)
REST_S = 0.05  # s
NEAR_S = 0.05  # s, within which an event counts as found
FULL_SWING = 0.6  # of the top speed between two rests: nothing strikes or leaves there
SURE_M_S = 0.5  # top speed below which plain integration does not know where the top is
STILL_M_S, STILL_RATE = 0.1, 1.0  # over NEAR_S either way: nothing moves there
SWUNG_M = 0.1  # horizontally from rest to rest: a step, marked or not
PIVOT_RATE, PIVOT_M_S, PIVOT_S = 1.5, 0.35, 0.1  # turns about the vertical, hardly goes anywhere, for so long
EVENTS = ("heel_strike", "toe_off")


@dataclass(frozen=True, eq=False)
class Moved:
    """A foot from one rest to the next.

    Attributes
    ----------
    time : (n,) s
    speed : (n,) m/s, of the unit
    turning : (n,) rad/s, about the vertical
    rate : (n,) rad/s, about anything
    way : m, horizontally
    """

    time: np.ndarray
    speed: np.ndarray
    turning: np.ndarray
    rate: np.ndarray
    way: float


def rests(foot: MarkedFoot) -> list[tuple[int, int]]:
    """First sample and the one after the last of each rest."""
    unit = foot.unit
    assert unit.accelerometer is not None and unit.gyroscope is not None
    off = np.abs(np.linalg.norm(unit.accelerometer, axis=1) - G)
    calm = (off < REST_FORCE) & (np.linalg.norm(unit.gyroscope, axis=1) < REST_RATE)
    edges = np.flatnonzero(np.diff(np.r_[0, calm.astype(int), 0]))
    return [(a, b) for a, b in edges.reshape(-1, 2) if unit.time[b - 1] - unit.time[a] >= REST_S]


def moved(foot: MarkedFoot, first: int, last: int) -> Moved:
    """Plain integration from sample to sample, at rest at both ends."""
    unit = foot.unit
    assert unit.accelerometer is not None and unit.gyroscope is not None
    time, w, f = (np.array(x[first : last + 1]) for x in (unit.time, unit.gyroscope, unit.accelerometer))
    dt = np.diff(time)[:, None]
    R = [Rotation.align_vectors([[0.0, 1.0, 0.0]], [f[0]])[0]]
    for turn in Rotation.from_rotvec(0.5 * (w[1:] + w[:-1]) * dt):
        R.append(R[-1] * turn)
    R = Rotation.concatenate(R)
    pushed = R.apply(f) - [0.0, G, 0.0]
    v = np.concatenate([np.zeros((1, 3)), np.cumsum(0.5 * (pushed[1:] + pushed[:-1]) * dt, axis=0)])
    v -= (time - time[0])[:, None] / (time[-1] - time[0]) * v[-1]
    way = (0.5 * (v[1:] + v[:-1]) * dt).sum(0)[[0, 2]]
    turning = np.abs(R.apply(w)[:, 1])
    return Moved(time, np.linalg.norm(v, axis=1), turning, np.linalg.norm(w, axis=1), float(np.hypot(*way)))


def movements(foot: MarkedFoot) -> list[Moved]:
    """All that lies between two rests, a sample of each rest at both ends."""
    return [moved(foot, a - 1, b) for (_, a), (b, _) in itertools.pairwise(rests(foot))]


def accused(all_moved: list[Moved], at: float) -> str:
    """What speaks against a mark: "full swing", "rest", or nothing."""
    for one in all_moved:
        if one.time[0] - NEAR_S <= at <= one.time[-1] + NEAR_S:
            near = np.abs(one.time - at) <= NEAR_S
            if not near.any():  # packets were lost there: nothing can be said
                return ""
            if one.speed[near].max() < STILL_M_S and one.rate[near].max() < STILL_RATE:
                return "rest"
            top = one.speed.max()
            full = top > SURE_M_S and np.interp(at, one.time, one.speed) > FULL_SWING * top
            return "full swing" if full else ""
    return "rest"


def pivot(all_moved: list[Moved], off: float) -> tuple[float, float] | None:
    """Start and end of a turn on the spot that a toe off lies in or at the end of, s."""
    for one in all_moved:
        if not one.time[0] - NEAR_S <= off <= one.time[-1]:
            continue
        turns = (one.turning > PIVOT_RATE) & (one.speed < PIVOT_M_S)
        turns[int(one.speed.argmax()) :] = False
        edges = np.flatnonzero(np.diff(np.r_[0, turns.astype(int), 0])).reshape(-1, 2)
        long = [
            (float(one.time[a]), float(one.time[b - 1]))
            for a, b in edges
            if one.time[b - 1] - one.time[a] >= PIVOT_S
        ]
        if long:
            return long[-1]
    return None


def unmarked(all_moved: list[Moved], marked: np.ndarray) -> list[Moved]:
    """Steps from rest to rest without any mark."""
    out = []
    for one in all_moved:
        inside = (marked > one.time[0] - NEAR_S) & (marked < one.time[-1] + NEAR_S)
        if one.way > SWUNG_M and not inside.any():
            out.append(one)
    return out


def told(foot: MarkedFoot, count: dict[tuple[str, str, str], int]) -> None:
    """Counts marks, accused ones, steps without one, toe offs of turning feet; prints those of turns."""
    all_moved, who = movements(foot), f"  {foot.name} {foot.side}"
    for event in EVENTS:
        for at, kind in zip(foot.times[event], foot.kinds[event], strict=True):
            against = accused(all_moved, at)
            for what in {"marks", against}:
                count[event, kind, what] += 1
            if kind == "turn" and against:
                print(f"{who} {event} {at:.2f} s: {against}")
            span = pivot(all_moved, at) if event == "toe_off" else None
            if kind == "turn" and span:
                where = "at its start" if at <= span[0] + NEAR_S else "later"
                count[event, kind, where] += 1
                print(
                    f"{who} toe_off {at:.2f}: {where} of turning on the spot ({span[0]:.2f} to {span[1]:.2f})"
                )
    for one in unmarked(all_moved, np.concatenate(list(foot.times.values()))):
        at = float(one.time[one.speed.argmax()])
        for event in EVENTS:
            kind = foot.kinds[event][np.abs(foot.times[event] - at).argmin()]
            count[event, kind, "unmarked"] += 1
        print(f"{who} {at:.2f} s: {one.way:.2f} m, up to {one.speed.max():.1f} m/s, no mark")


def study() -> None:
    """Prints what each rule finds, by kind of step, and the F1 that it leaves to anybody."""
    count: dict[tuple[str, str, str], int] = defaultdict(int)
    for foot in marked_feet():
        told(foot, count)
    for event, kind in itertools.product(EVENTS, ("straight", "turn", "ends", "gaps")):
        marks, swing, rest, steps, start, later = (
            count[event, kind, what]
            for what in ("marks", "full swing", "rest", "unmarked", "at its start", "later")
        )
        best = []
        for wrong in (swing + rest, swing + rest + min(start, later)):
            best.append(2 * (marks - wrong) / (2 * marks + steps))
        print(
            f"{event} {kind}: {marks} marks, {swing} in full swing, {rest} at rest, {steps} steps without a "
            f"mark: F1 at most {best[0]:.3f}"
        )
        if start + later:
            print(
                f"  of feet that turn on the spot before they go {start} marked where that starts, {later} "
                f"later; with either way wrong for the others F1 at most {best[1]:.3f}"
            )


if __name__ == "__main__":
    study()
