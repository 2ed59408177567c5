"""Which units of a capture are seconds late or early, and which certainly are but by how much is open."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ...core.findings import Finding
from ...recording.capture import Calibration, Unit
from ...recording.sampling import BRIDGED_S
from .far_offset import FARTHEST_S, NEAR_S, STEP_S, FarOffset, far_offset, felt_by
from .pair_offset import PairClock
from .unit_clocks import Clocks

# disagreement over what is felt, as in `PairClock`, up to which a pair is taken for near one clock without
# another look; tried: on 398 pairs on time, of which 50 lie above
WELL = 0.2
SHIFT_SD = STEP_S / np.sqrt(12)  # s, of a lag on the grid; by definition


@dataclass(frozen=True, eq=False)
class SecondsApart:
    """Clocks that differ by seconds.

    Attributes
    ----------
    late : unit -> s by which its stamps are late (negative: early); only units that are
    tied : units whose stamps may be as right as the others': as many agree with them
    adrift : unit -> s, lags of which one holds, the motion does not tell which; stamps are left as they are
    """

    late: Mapping[str, float]
    tied: frozenset[str]
    adrift: Mapping[str, tuple[float, ...]]


def seconds_apart(
    units: Sequence[Unit], pairs: Sequence[PairClock], still: Sequence[Calibration] = ()
) -> SecondsApart:
    """Units whose clocks differ by seconds.

    Parameters
    ----------
    units : that carry accelerometer and gyroscope, in the order that indices refer to
    pairs : of both sides of each joint, as found in small
    still : declared still poses, which tell which of two clocks is right where as many units keep either

    Returns
    -------
    SecondsApart

    Notes
    -----
    Pairs of which one lag is known, or that agree as they are, make groups; in each the clock that most units
    keep is right. A body's joints make a tree, so that no pair contradicts another. Two records that pause at
    the same stamps keep one clock; headings start anew after each pause, so that a lag that leaves but one
    piece in common seems to agree best.
    """
    near = [_near(pair) or _pause_together(*(units[u] for u in pair.units)) for pair in pairs]
    felt = {u: felt_by(units[u]) for pair, on in zip(pairs, near, strict=True) if not on for u in pair.units}
    found = [
        FarOffset(agree=True) if on else far_offset(*(felt[u] for u in pair.units))
        for pair, on in zip(pairs, near, strict=True)
    ]
    offset, group = np.zeros(len(units)), np.arange(len(units))
    for pair, far in zip(pairs, found, strict=True):
        if far.agree or far.lag is not None:
            p, c = pair.units
            moved = group == group[c]
            offset[moved] += offset[p] + (far.lag or 0.0) - offset[c]
            group[moved] = group[p]
    tied = set[int]()
    for g in np.unique(group):
        members = np.flatnonzero(group == g)
        right, others = _right(offset[members], [_unrest(units[int(u)], still) for u in members])
        offset[members] -= offset[members[right]]
        tied |= set(members[others].tolist()) if others.any() else set()
    late = {unit.name: float(s) for unit, s in zip(units, offset, strict=True) if abs(s) > NEAR_S}
    adrift = _adrift(units, pairs, found, offset)
    return SecondsApart(late, frozenset(units[u].name for u in tied), adrift)


def _near(pair: PairClock) -> bool:
    """Whether a pair agrees well at an offset that the search in small holds."""
    return pair.share <= WELL and bool(len(pair.at)) and float(np.abs(pair.offset).max()) <= NEAR_S


def _pause_together(one: Unit, other: Unit) -> bool:
    """Whether both records have pauses, as many, and at the same stamps."""
    pauses = [
        np.stack([unit.time[:-1], unit.time[1:]])[:, np.diff(unit.time) > BRIDGED_S] for unit in (one, other)
    ]
    alike = pauses[0].shape == pauses[1].shape and pauses[0].size > 0
    return bool(alike and np.abs(pauses[0] - pauses[1]).max() < NEAR_S)


def _right(offset: np.ndarray, unrest: list[float]) -> tuple[int, np.ndarray]:
    """Index of a unit whose clock most keep, the stiller ones where as many do, and (n,) which those are."""
    alike = np.abs(offset[:, None] - offset) < NEAR_S
    most = alike.sum(1) == alike.sum(1).max()
    best = min(np.flatnonzero(most).tolist(), key=lambda u: (sum(np.array(unrest)[alike[u]]), u))
    return best, most if (most & ~alike[best]).any() else np.zeros(len(offset), bool)


def _unrest(unit: Unit, still: Sequence[Calibration]) -> float:
    """Rad/s, how much the angular rate varies in declared still poses; infinite where it was not recorded."""
    rates = [unit.between(c.start, c.end).gyroscope for c in still if c.kind == "still"]
    if not rates:
        return 0.0
    seen = [rate for rate in rates if rate is not None and np.isfinite(rate).all(-1).sum() > 1]
    return float(np.mean([np.nanstd(rate, axis=0).sum() for rate in seen])) if seen else np.inf


def _adrift(
    units: Sequence[Unit], pairs: Sequence[PairClock], found: Sequence[FarOffset], offset: np.ndarray
) -> dict[str, tuple[float, ...]]:
    """Of pairs apart by one of several lags: the unit that agrees with no other, else both; lags as late.

    One of the lags may be what the units' other joints show: then it is that.
    """
    vouched = {u for pair, far in zip(pairs, found, strict=True) if far.agree for u in pair.units}
    out: dict[str, tuple[float, ...]] = {}
    for pair, far in zip(pairs, found, strict=True):
        between = offset[pair.units[1]] - offset[pair.units[0]]
        open_ = bool(far.others) and min(abs(lag - between) for lag in far.others) > NEAR_S
        doubted = [u for u in pair.units if u not in vouched] or list(pair.units)
        for u in doubted if open_ else []:
            sign = 1.0 if u == pair.units[1] else -1.0
            out.setdefault(units[u].name, tuple(sign * lag for lag in far.others))
    return out


def with_seconds(clocks: Clocks, apart: SecondsApart) -> Clocks:
    """Clocks as they were before seconds were taken off; what is not seen in small is as sure as the grid.

    Parameters
    ----------
    clocks : of stamps from which `apart.late` is taken off
    apart : what was taken off
    """
    seconds = np.array([apart.late.get(name, 0.0) for name in clocks.units])
    coarse = (seconds != 0) & np.isnan(clocks.offset)
    return dataclasses.replace(
        clocks,
        offset=np.where(coarse, 0.0, clocks.offset) + seconds,
        offset_sd=np.where(coarse, SHIFT_SD, clocks.offset_sd),
        source=tuple("joints" if c else s for c, s in zip(coarse, clocks.source, strict=True)),
        tied=apart.tied,
    )


def adrift_findings(apart: SecondsApart) -> tuple[Finding, ...]:
    """What is to be said of units that are late by one of several lags."""
    return tuple(_of_adrift(name, lags) for name, lags in apart.adrift.items())


def _of_adrift(name: str, lags: tuple[float, ...]) -> Finding:
    nearest = sorted(lags, key=abs)
    told = " or ".join([f"{lag:.2f}" for lag in nearest[:3]] + ["other"] * (len(lags) > 3))
    return Finding(
        "clock-adrift",
        "serious",
        f"{name}: its stamps are seconds off against its neighbours', late by {told} s: the motion repeats, "
        "and does not tell which",
        "shift this unit's stamps yourself, or leave the unit out; next time synchronise the units, or start "
        "and end with a movement that occurs once",
        units=(name,),
        value=nearest[0],
        threshold=NEAR_S,
        measure="s",
        source=f"of lags up to {FARTHEST_S:.0f} s those at which its joint disagrees least",
        handled="stamps are taken as they are; the angles of its joints are marked as not known",
        harm_deg=60.0,
    )
