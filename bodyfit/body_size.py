"""How long each segment is: by stature, by tape measure, and by what the motion shows, fused."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from .body import BodyModel
from .estimate import Estimate
from .finding import Finding
from .geometry import LeverPrior, levers_from_rotations
from .person import Person, share_of

# Share of a segment's length by which people of one stature differ from the model: 0.041 between persons,
# 0.040 between tables. ANSUR II (Natick/TR-15/007): residual of thigh, calf, forearm, hand and foot given
# stature, and how far the models' shares lie from the survey's; tests/published recomputes both.
STATURE_SD_SHARE = 0.06
MEASURED_SD = 0.01  # m, tape measure between palpated landmarks: common practice
# m, what soft tissue and scale errors add to the noise: root mean square error of lengths with little noise,
# 16 to 29 mm on simulated people (1 and 3 °/g), 8 mm on the chain with optical reference
MOTION_SD = 0.02
COMMON_SD = 0.04  # share that all lengths from one motion are off by together: 3 to 5 % on simulated people
MOUNTING_SD = 0.1  # rad, how far a mounting from a pose usually is off
NOTHING_KNOWN = 1.0  # m, prior of each lever arm: the motion alone is asked
SHOWN = 0.2  # share of a length; a larger standard deviation, and the motion does not show it
DISAGREE = 3.0  # standard deviations, two sources further apart are reported


@dataclass(frozen=True)
class Length:
    """A length and its standard deviation, m."""

    value: float
    sd: float


@dataclass(frozen=True, eq=False)
class BodySize:
    """Lengths of the segments.

    Attributes
    ----------
    lengths : segment -> Length, fused from all sources; only segments of which anything is known
    sources : segment -> source ("measured", "stature", "model", "motion") -> Length
    findings : where sources disagree
    """

    lengths: Mapping[str, Length]
    sources: Mapping[str, Mapping[str, Length]]
    findings: tuple[Finding, ...] = field(default=())

    def as_data(self) -> dict[str, dict[str, Any]]:
        """Segment -> length_m, length_sd_m, length_source, as in summary.json."""
        return {
            name: {
                "length_m": round(length.value, 4),
                "length_sd_m": round(length.sd, 4),
                "length_source": " and ".join(self.sources[name]),
            }
            for name, length in self.lengths.items()
        }


def body_size(
    model: BodyModel, person: Person | None, found: Estimate | None = None, segments: Sequence[str] = ()
) -> BodySize:
    """Lengths of the segments with their standard deviations.

    Parameters
    ----------
    model : scaled to the person
    person : stature, sex and measured lengths, as far as known
    found : the whole body solved, or None: without the motion
    segments : segment of each unit of `found`

    Returns
    -------
    BodySize

    Notes
    -----
    A measured length stands for the one that stature suggests, since it is of this very person. What the
    motion shows is independent of either, so the two are fused by precision,
    L = Σ (Lᵢ/σᵢ²) / Σ 1/σᵢ².
    """
    person = person or Person()
    shown = {} if found is None else lengths_from_motion(model, found, segments)
    sources = {name: _beforehand(model, person, name) for name in model.segments}
    for name, length in shown.items():
        sources[name] = sources[name] | {"motion": length}
    sources = {name: by for name, by in sources.items() if by}
    lengths = {name: fused(list(by.values())) for name, by in sources.items()}
    return BodySize(lengths, sources, _disagreements(model, person, shown))


def fused(lengths: Sequence[Length]) -> Length:
    """Independent lengths of one segment, weighted by precision.

    Parameters
    ----------
    lengths : at least one

    Returns
    -------
    Length
    """
    precision = np.array([1 / length.sd**2 for length in lengths])
    value = precision @ [length.value for length in lengths] / precision.sum()
    return Length(float(value), float(precision.sum() ** -0.5))


def _beforehand(model: BodyModel, person: Person, name: str) -> dict[str, Length]:
    """What is known of a length without the motion: source -> Length, one or none."""
    if name in person.lengths_m:
        return {"measured": Length(person.lengths_m[name], MEASURED_SD)}
    length, by_stature = model.segments[name].length, length_from_stature(model, person, name)
    if by_stature is not None and length is not None and np.isclose(length, by_stature.value):
        return {"stature": by_stature}
    return {} if length is None else {"model": Length(length, MEASURED_SD)}


def length_from_stature(model: BodyModel, person: Person, segment: str) -> Length | None:
    """Length of a segment by its share of stature.

    Parameters
    ----------
    model : with shares
    person : stature and sex
    segment : name

    Returns
    -------
    Length, or None without a stature or a share
    """
    share = share_of(model.segments[segment].length_of_stature, person)
    if share is None or person.stature_m is None:
        return None
    length = float(share) * person.stature_m
    return Length(length, STATURE_SD_SHARE * length)


def lengths_from_motion(model: BodyModel, found: Estimate, segments: Sequence[str]) -> dict[str, Length]:
    """Lengths of segments whose unit sees the joint at either end.

    Parameters
    ----------
    model : the body; a segment counts that is child of one joint and parent of one joint
    found : the whole body solved
    segments : segment of each unit

    Returns
    -------
    segment -> Length, where the motion shows it to a fifth of its size

    Notes
    -----
    The unit's two lever arms end at the two joint centres, so the length is |d|, d = r₁ − r₂, wherever the
    unit sits. With n = d/|d| and Σ the covariance of d its variance is nᵀ Σ n; what Σ holds across n makes
    |d| longer by tr(Σ − n nᵀ Σ)/2|d|, which is counted as a deviation too. In a motion that is nearly plane,
    soft tissue can feign arms across it, decimetres long; where the mounting is known, what d has beside the
    direction in which the body has the joint, and beyond what an error of the mounting explains, is taken as
    the size of such errors along n too. The arms are solved for once more
    without what the body's dimensions suggest, so that the length is the motion's alone.
    """
    body, problem = found.body, found.problem
    if not len(body.levers):
        return {}
    size = body.levers.size
    prior = LeverPrior(np.zeros(size), np.eye(size) / NOTHING_KNOWN**2)
    alike = problem.alike(problem.weights.joint_s)
    levers, covariance = levers_from_rotations(
        found.average, body.ends, body.levers, body.joint_sd, alike, prior
    )
    out = {}
    for name, (near, far) in _two_ends(model, found, segments).items():
        d, S = _difference(levers, covariance, far, near)
        length = _norm(d, S)
        beside = _beside(model, found, segments.index(name), name, d)
        length = Length(length.value, float(np.hypot(length.sd, beside)))
        if length.sd < SHOWN * length.value:
            out[name] = _of_segment(model, name, length)
    return out


def _beside(model: BodyModel, found: Estimate, unit: int, name: str, d: np.ndarray) -> float:
    """How far, m and per axis, the joint centres lie beside where the body has them; what mounting explains
    is left out. Zero where mounting or body are not known. See `lengths_from_motion`.
    """
    mounting, expected = found.body.mounting, _between(model, name)
    if expected is None or mounting.sources[unit] not in ("given", "still pose"):
        return 0.0
    n = expected / np.linalg.norm(expected)
    seen = mounting.segment_from_unit[unit] @ d
    across = float(np.sum((seen - (seen @ n) * n) ** 2)) - (MOUNTING_SD * float(seen @ n)) ** 2
    return float(np.sqrt(max(0.0, across) / 2))


def _between(model: BodyModel, name: str) -> np.ndarray | None:
    """(3,) m, from the proximal to the distal joint centre of a segment, or None."""
    near = next(joint for joint in model.joints.values() if joint.child == name)
    far = next(joint for joint in model.joints.values() if joint.parent == name)
    if near.centre_in_child is None or far.centre_in_parent is None:
        return None
    return np.asarray(far.centre_in_parent - near.centre_in_child)


def _two_ends(model: BodyModel, found: Estimate, segments: Sequence[str]) -> dict[str, tuple[int, int]]:
    """Segment -> places of its two lever arms among all, proximal one first."""
    units, out = found.body.ends.units, {}
    for u, name in enumerate(segments):
        count = [sum(end == name for end in (j.parent, j.child)) for j in model.joints.values()]
        near, far = np.flatnonzero(units[:, 1] == u), np.flatnonzero(units[:, 0] == u)
        if sum(count) == 2 and len(near) == 1 and len(far) == 1:
            out[name] = (2 * int(near[0]) + 1, 2 * int(far[0]))
    return out


def _difference(
    levers: np.ndarray, covariance: np.ndarray, one: int, other: int
) -> tuple[np.ndarray, np.ndarray]:
    """(3,) m and (3, 3) m², one lever arm less another, by their places among all."""
    arms = levers.reshape(-1, 3)
    C = covariance.reshape(len(arms), 3, len(arms), 3)
    cross = C[one, :, other]
    return arms[one] - arms[other], C[one, :, one] + C[other, :, other] - cross - cross.T


def _norm(d: np.ndarray, S: np.ndarray) -> Length:
    """Length of a vector with its standard deviation, see `lengths_from_motion`."""
    length = float(np.linalg.norm(d))
    if length == 0.0:  # no gyroscope: nothing turned, and no arm was felt
        return Length(0.0, np.inf)
    n = d / length
    along = float(n @ S @ n)
    longer = (float(np.trace(S)) - along) / (2 * length)
    return Length(length, float(np.sqrt(along + longer**2 + MOTION_SD**2)))


def _of_segment(model: BodyModel, name: str, between: Length) -> Length:
    """Length of a segment from the distance between its joint centres, which may be part of it only."""
    length, expected = model.segments[name].length, _between(model, name)
    if length is None or expected is None:
        return between
    share = length / float(np.linalg.norm(expected))
    return Length(share * between.value, share * between.sd)


def _disagreements(model: BodyModel, person: Person, shown: Mapping[str, Length]) -> tuple[Finding, ...]:
    """Findings where what was stated about the person and what is seen lie too far apart."""
    by_stature = {name: length_from_stature(model, person, name) for name in model.segments}
    stated = {name: length for name, length in by_stature.items() if length is not None}
    common = _stature_off(person, {n: (stated[n], shown[n]) for n in shown if n in stated})
    if common is not None:
        return (common,)
    measured = {name: Length(value, MEASURED_SD) for name, value in person.lengths_m.items()}
    pairs = [(n, "stature", stated[n], "the motion", shown[n]) for n in shown if n in stated]
    pairs += [(n, "stature", stated[n], "the tape measure", measured[n]) for n in measured if n in stated]
    pairs += [(n, "the tape measure", measured[n], "the motion", shown[n]) for n in measured if n in shown]
    return tuple(_disagreement(*pair) for pair in pairs if _apart(pair[2], pair[4]) > DISAGREE)


def _apart(one: Length, other: Length) -> float:
    """Distance between two independent lengths in standard deviations."""
    return abs(one.value - other.value) / float(np.hypot(one.sd, other.sd))


def _stature_off(person: Person, pairs: Mapping[str, tuple[Length, Length]]) -> Finding | None:
    """All segments together longer or shorter than the stature says: the stature is likely wrong.

    ρ = Σ wᵢ Lᵢ/L̄ᵢ / Σ wᵢ with wᵢ = 1/σᵢ², σᵢ the relative standard deviation of one ratio.
    """
    if len(pairs) < 2 or person.stature_m is None:
        return None
    ratios = [
        Length(b.value / a.value, b.value / a.value * float(np.hypot(a.sd / a.value, b.sd / b.value)))
        for a, b in pairs.values()
    ]
    mean = fused(ratios)
    limit = DISAGREE * float(np.hypot(mean.sd, COMMON_SD))
    if abs(mean.value - 1) < limit:
        return None
    word = "longer" if mean.value > 1 else "shorter"
    return Finding(
        "length-disagrees",
        "warning",
        f"{len(pairs)} segments are on average {100 * abs(mean.value - 1):.0f} % {word} by their motion than "
        f"a stature of {person.stature_m:.2f} m suggests",
        f"check person.stature_m ({mean.value * person.stature_m:.2f} m would agree) and that each unit is "
        "on the segment that setup.toml names",
        segments=tuple(pairs),
        value=100 * (mean.value - 1),
        threshold=100 * limit,
        measure="%",
        source=f"{DISAGREE:.0f} standard deviations",
        handled="lengths were moved towards the motion by precision",
    )


def _disagreement(name: str, first: str, one: Length, second: str, other: Length) -> Finding:
    """The finding for one segment."""
    apart, limit = abs(one.value - other.value), DISAGREE * float(np.hypot(one.sd, other.sd))
    return Finding(
        "length-disagrees",
        "warning",
        f"{name} is {100 * one.value:.1f} cm long by {first} and {100 * other.value:.1f} cm by {second}",
        f"measure {name} between the centres of its two joints and give it in [person.lengths_m], check the "
        "stature, and check that the unit is on the segment that setup.toml names",
        segments=(name,),
        value=100 * apart,
        threshold=100 * limit,
        measure="cm",
        source=f"{DISAGREE:.0f} standard deviations of the difference",
        handled="" if "tape" in second else "the length was moved towards the motion by precision",
    )
