"""Clocks of units against each other, from the motion itself: offsets, rates, and stamps put right."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ...body.chain import BodyModel
from ...core.findings import Finding
from ...recording.capture import Unit
from ...recording.single_units import Unaided
from .pair_offset import PairClock, pair_clock, rate_clock

UNKNOWN_S = 1.0  # s, prior deviation of an offset: nothing is known
RATE_SD = 1e-4  # prior deviation of a rate; crystals keep within 20 to 100 ppm (data sheets, from memory)
# s, least deviation of one stretch's offset: lever arms and soft tissue are not perfect; chosen; not tried
PAIR_LEAST_S = 0.0015
SIGNIFICANT = 3.0  # standard deviations; chosen; not tried
LEAST_S = 0.004  # s, smaller offsets are left to the fit, which sees them better; chosen; not tried
TOLD_S = 0.02  # s, an offset less certain than this is not told by the motion; chosen; not tried


@dataclass(frozen=True, eq=False)
class Clocks:
    """Clocks of U units against the others: a stamp t is late by offset + rate (t − at).

    Attributes
    ----------
    units : names
    at : s, for which the offsets hold: the middle of the capture
    offset, offset_sd : (U,) s, positive: stamps are late; NaN where nothing shows them
    rate, rate_sd : (U,) seconds a second, positive: the clock runs fast
    group : (U,) label of the units that were compared with each other, directly or through others
    source : per unit "joints", "angular rates", or "nothing"
    span : s, length of the capture
    pairs : of units on both sides of a joint, whether the motion tells their clocks or not
    tied : units whose stamps may be as right as those of the others, where these are seconds apart
    """

    units: tuple[str, ...]
    at: float
    offset: np.ndarray
    offset_sd: np.ndarray
    rate: np.ndarray
    rate_sd: np.ndarray
    group: np.ndarray
    source: tuple[str, ...]
    span: float
    pairs: tuple[PairClock, ...] = ()
    tied: frozenset[str] = frozenset()

    @property
    def offset_certain(self) -> np.ndarray:
        """(U,) bool, offsets that are large and certain enough to act upon."""
        return np.abs(np.nan_to_num(self.offset)) > np.maximum(LEAST_S, SIGNIFICANT * self.offset_sd)

    @property
    def rate_certain(self) -> np.ndarray:
        """(U,) bool, rates that are certain and matter over the capture."""
        rate = np.abs(np.nan_to_num(self.rate))
        return (rate > SIGNIFICANT * self.rate_sd) & (0.5 * rate * self.span > LEAST_S)

    @property
    def apart(self) -> np.ndarray:
        """(U,) bool, units that do not share a clock: one of their group certainly differs.

        Where one clock differs, none was set by another, and the best estimate of each counts; where none
        does, all stamps are left as they are.
        """
        differs = self.offset_certain | self.rate_certain
        return np.isin(self.group, self.group[differs]) & np.isfinite(self.offset)


def neighbours(units: Sequence[Unit], model: BodyModel) -> list[tuple[int, int]]:
    """Pairs of units on both sides of one joint.

    Parameters
    ----------
    units : in the order that indices refer to
    model : the body

    Returns
    -------
    list of (parent, child) indices
    """
    at = {unit.segment: index for index, unit in enumerate(units) if unit.segment is not None}
    joints = model.joints.values()
    return [(at[j.parent], at[j.child]) for j in joints if j.parent in at and j.child in at]


def unit_clocks(
    one: Unaided, pairs: Sequence[tuple[int, int]], by_rate: Sequence[int] | None = None
) -> Clocks:
    """Offset and rate of every unit's clock against the others'.

    Parameters
    ----------
    one : each unit by itself
    pairs : (parent, child) indices of units on both sides of one joint
    by_rate : units that may be compared by the size of their angular rate; None: all that no joint connects

    Returns
    -------
    Clocks

    Notes
    -----
    One least-squares problem over all pairs and stretches, d = a_c − a_p + (b_c − b_p)(t − at), with priors
    on the offsets a and rates b. Only differences show, so the middle one of each group of connected units is
    taken to be right. Units that no joint connects are compared by the size of their angular rate; those that
    are known to sit far apart turn one after the other, which is no fault of a clock.
    """
    U = len(one.units)
    compared = tuple(_let_go_after(one, pair_clock(one, p, c)) for p, c in pairs)
    found = [pair for pair in compared if len(pair.at)]
    source = ["joints" if any(u in pair.units for pair in found) else "nothing" for u in range(U)]
    jointed = {u for pair in pairs for u in pair}
    for u in [u for u in (range(U) if by_rate is None else by_rate) if u not in jointed]:
        others = [_let_go_after(one, rate_clock(one, v, u)) for v in range(U) if v != u]
        told = [pair for pair in others if len(pair.at)]
        if told:
            found.append(min(told, key=lambda pair: float(pair.sd[0])))
            source[u] = "angular rates"
    source = [s if any(u in pair.units for pair in found) else "nothing" for u, s in enumerate(source)]
    at, span = float(0.5 * (one.time[0] + one.time[-1])), float(one.time[-1] - one.time[0])
    group = _groups(U, found)
    return Clocks(one.units, at, *_solved(found, group, at), group, tuple(source), span, compared)


def _let_go_after(one: Unaided, clock: PairClock) -> PairClock:
    """A clock that was found, what it was found in let go: each pair reads other units."""
    one.let_go()
    return clock


def _groups(count: int, found: Sequence[PairClock]) -> np.ndarray:
    """(U,) label of the connected group that each unit belongs to."""
    label = np.arange(count)
    for pair in found:
        p, c = label[list(pair.units)]
        label[label == c] = p
    return label


def _solved(
    found: Sequence[PairClock], groups: np.ndarray, at: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Offsets, their deviations, rates, their deviations: (U,) each; the middle of every group is right."""
    U = len(groups)
    none = np.zeros(0)
    time, value, sd = (
        np.concatenate([getattr(q, n) for q in found] or [none]) for n in ("at", "offset", "sd")
    )
    J = np.zeros((len(time), 2 * U))
    rows = np.repeat(np.arange(len(found)), [len(q.at) for q in found])
    for side, sign in ((0, -1.0), (1, 1.0)):
        unit = np.array([q.units[side] for q in found], int)[rows]
        J[np.arange(len(time)), unit] += sign
        J[np.arange(len(time)), U + unit] += sign * (time - at)
    prior = np.diag(np.repeat([UNKNOWN_S**-2, RATE_SD**-2], U))
    sd, weight = np.hypot(sd, PAIR_LEAST_S), np.ones(len(time))
    for _ in range(5):  # a stretch that disagrees counts less
        H = J.T @ ((weight / sd**2)[:, None] * J) + prior
        x = np.linalg.solve(H, J.T @ (weight / sd**2 * value))
        off = np.abs(value - J @ x) / sd
        weight = 1 / np.maximum(1.0, off / 2)
    same = groups[:, None] == groups
    G = np.eye(U) - same / same.sum(1, keepdims=True)  # the common part does not show
    cov = np.kron(np.eye(2), G) @ np.linalg.inv(H) @ np.kron(np.eye(2), G)
    out = x.reshape(2, U)
    middle = np.stack([[np.median(part[groups == g]) for g in groups] for part in out])
    deviation = np.sqrt(np.maximum(np.diag(cov), 0.0)).reshape(2, U)
    alone = same.sum(1) == 1
    offset, rate = np.where(alone, np.nan, out - middle)
    offset_sd, rate_sd = np.where(alone, np.inf, np.maximum(deviation, [[1e-4], [1e-12]]))
    return offset, offset_sd, rate, rate_sd


def on_one_clock(units: Mapping[str, Unit], clocks: Clocks) -> dict[str, Unit]:
    """The same units with offsets and rates taken off their stamps, where clocks are apart.

    Parameters
    ----------
    units : name -> Unit
    clocks : of some or all of them

    Returns
    -------
    dict name -> Unit, in the same order; unchanged ones are the same objects
    """
    out = dict(units)
    for u, name in enumerate(clocks.units):
        if name in out and clocks.apart[u]:
            out[name] = dataclasses.replace(out[name], time=true_stamps(out[name].time, name, clocks))
    return out


def true_stamps(time: np.ndarray, name: str, clocks: Clocks) -> np.ndarray:
    """Stamps of a unit with offset and rate of its clock taken off, where it is apart.

    Parameters
    ----------
    time : (N,) s
    name : of the unit
    clocks : of some or all units

    Returns
    -------
    (N,) s
    """
    u = clocks.units.index(name) if name in clocks.units else None
    if u is None or not clocks.apart[u]:
        return time
    return time - clocks.offset[u] - clocks.rate[u] * (time - clocks.at)


def clock_findings(clocks: Clocks, usual_rate: float = 2.0) -> tuple[Finding, ...]:
    """What is to be said about the clocks.

    Parameters
    ----------
    clocks : of the units
    usual_rate : rad/s, how fast a limb turns; turns an offset into an angle

    Returns
    -------
    tuple of Finding: "clock-offset", "clock-rate", "clock-unknown"
    """
    out = [_of_offset(clocks, int(u), usual_rate) for u in np.flatnonzero(clocks.offset_certain)]
    out += [_of_rate(clocks, int(u)) for u in np.flatnonzero(clocks.rate_certain)]
    unknown = tuple(name for name, sd in zip(clocks.units, clocks.offset_sd, strict=True) if not sd < TOLD_S)
    if unknown and len(clocks.units) > 1:
        out.append(
            Finding(
                "clock-unknown",
                "note",
                f"the motion does not tell the clocks of {', '.join(unknown)}",
                "if stamps of several devices were joined, move all units quickly together for some seconds "
                "at the start and the end of a capture",
                units=unknown,
                handled="stamps are taken as they are",
                threshold=1e3 * TOLD_S,
                measure="ms",
                source="standard deviation of an offset from the motion",
            )
        )
    return tuple(out)


def _of_offset(clocks: Clocks, u: int, usual_rate: float) -> Finding:
    ms, sd = 1e3 * float(clocks.offset[u]), 1e3 * float(clocks.offset_sd[u])
    size = f"{abs(ms):.1f} ± {sd:.1f} ms" if abs(ms) < 1e3 else f"{1e-3 * abs(ms):.3f} ± {1e-3 * sd:.3f} s"
    tied = "; as many units keep either clock, which is right is not known" if clocks.tied else ""
    return Finding(
        "clock-offset",
        "warning" if abs(ms) > 20 else "note",
        f"{clocks.units[u]}: its stamps are {size} {'late' if ms > 0 else 'early'} "
        f"against the other units (found from {clocks.source[u]}){tied}",
        "synchronise the units before the next capture, or shift this unit's stamps yourself",
        units=(clocks.units[u],),
        value=ms,
        threshold=1e3 * float(max(LEAST_S, SIGNIFICANT * clocks.offset_sd[u])),
        measure="ms",
        source="three standard deviations of the offset, at least 4 ms",
        handled="taken off the unit's stamps",
        harm_deg=float(np.degrees(usual_rate) * sd / 1e3),
    )


def _of_rate(clocks: Clocks, u: int) -> Finding:
    ppm, sd = 1e6 * float(clocks.rate[u]), 1e6 * float(clocks.rate_sd[u])
    return Finding(
        "clock-rate",
        "note",
        f"{clocks.units[u]}: its clock runs {abs(ppm):.0f} ± {sd:.0f} ppm {'fast' if ppm > 0 else 'slow'} "
        f"against the other units, {abs(ppm) * clocks.span * 1e-3:.0f} ms over the capture",
        "nothing to do; synchronise the units during long captures where the devices allow it",
        units=(clocks.units[u],),
        value=ppm,
        threshold=SIGNIFICANT * sd,
        measure="ppm",
        source="three standard deviations of the rate, and 4 ms at the capture's ends",
        handled="taken off the unit's stamps",
    )
