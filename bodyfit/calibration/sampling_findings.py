"""What is to be said about the sampling of units: pauses, gaps, dropped samples, stamps off their grid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..core.findings import Finding
from ..recording.sampling import BRIDGED_S, JITTER_SHARE, Sampling

DROPPED_SHARE = 0.02  # of the samples; worth telling; chosen; not tried
# of what two gaps cover together, from which they are one pause; common practice
SHARED = 0.9
BRIDGED_FROM = "two keyframes, by reasoning"


def capture_findings(sampling: Sequence[Sampling]) -> tuple[Finding, ...]:
    """What is to be said about the sampling of all units: pauses that all of them share are told once.

    Parameters
    ----------
    sampling : of each unit

    Returns
    -------
    tuple of Finding: one "gap-split" for all pauses, then what `sampling_findings` says of each unit besides
    """
    first = sampling[0] if len(sampling) > 1 else None
    long = np.zeros((0, 2)) if first is None else first.gaps[first.split]
    shared = np.array([gap for gap in long if all(_same(gap, one).any() for one in sampling)]).reshape(-1, 2)
    out = _split([one.unit for one in sampling], shared)
    for one in sampling:
        own = ~np.any([_same(gap, one) for gap in shared] or [np.zeros(len(one.gaps), bool)], axis=0)
        out += sampling_findings(replace(one, gaps=one.gaps[own], split=one.split[own]))
    return tuple(out)


def _same(gap: np.ndarray, found: Sampling) -> np.ndarray:
    """(g,) bool, which long gaps of a unit are that one, all but a tenth of what both cover."""
    starts, ends = found.gaps.T
    common = np.minimum(ends, gap[1]) - np.maximum(starts, gap[0])
    return found.split & (common > SHARED * (np.maximum(ends, gap[1]) - np.minimum(starts, gap[0])))


def sampling_findings(found: Sampling) -> tuple[Finding, ...]:
    """What is to be said about a unit's sampling.

    Parameters
    ----------
    found : of one unit

    Returns
    -------
    tuple of Finding: "gap-split", "gap-bridged", "samples-dropped", "stamps-irregular", each at most once
    """
    out = _split([found.unit], found.gaps[found.split])
    short = found.gaps[~found.split]
    if len(short):
        out.append(_bridged(found.unit, short))
    if found.dropped > DROPPED_SHARE and not found.irregular:
        out.append(_dropped(found))
    if found.irregular:
        out.append(_irregular(found))
    return tuple(out)


def _bridged(unit: str, gaps: np.ndarray) -> Finding:
    """Short gaps (g, 2) s of a unit, told together."""
    length = np.diff(gaps, axis=1)
    worst = int(np.argmax(length))
    return Finding(
        "gap-bridged",
        "note",
        f"{unit}: {len(gaps)} gap{'s' * (len(gaps) > 1)} without a value, the longest "
        f"{length[worst, 0]:.2f} s from t = {gaps[worst, 0]:.2f} s",
        "check the radio link or the memory card if there are many",
        units=(unit,),
        start=float(gaps[0, 0]),
        end=float(gaps[-1, 1]),
        value=float(length[worst, 0]),
        threshold=BRIDGED_S,
        measure="s",
        source=BRIDGED_FROM,
        handled="interpolated; the turn over a gap counts as unknown by 0.1 (gap / 0.25 s)⁴",
        harm_deg=float(20.0 * (length[worst, 0] / BRIDGED_S) ** 4 * min(1.0, length.sum() / 10)),
    )


def _dropped(found: Sampling) -> Finding:
    """Samples missing one or two at a time."""
    return Finding(
        "samples-dropped",
        "note",
        f"{found.unit}: {100 * found.dropped:.1f} % of the samples are missing one or two at a time",
        "check the radio link, or record at a lower rate",
        units=(found.unit,),
        value=100 * found.dropped,
        threshold=100 * DROPPED_SHARE,
        measure="%",
        source="common practice",
        handled="interpolated by a cubic",
    )


def _irregular(found: Sampling) -> Finding:
    """Stamps that lie off a regular grid."""
    return Finding(
        "stamps-irregular",
        "note",
        f"{found.unit}: stamps lie {1e3 * found.jitter:.1f} ms off those of {found.frequency:.1f} Hz",
        "if the unit samples regularly and stamps on arrival, give sampling_frequency instead of the "
        "time column",
        units=(found.unit,),
        value=1e3 * found.jitter,
        threshold=1e3 * JITTER_SHARE / found.frequency,
        measure="ms",
        source="a tenth of a step",
        handled="stamps are taken as they are; samples are interpolated between them",
    )


def _split(units: Sequence[str], gaps: np.ndarray) -> list[Finding]:
    """Gaps (g, 2) s of these units that are not bridged, told together; nothing where there is none."""
    if not len(gaps):
        return []
    length = np.diff(gaps, axis=1)[:, 0]
    longest = int(np.argmax(length))
    who = units[0] if len(units) == 1 else f"all {len(units)} units"
    many = f" in {len(gaps)} gaps, {length.sum():.1f} s together, the longest" if len(gaps) > 1 else " for"
    return [
        Finding(
            "gap-split",
            "warning",
            f"{who}: no value{many} {length[longest]:.2f} s from t = {gaps[longest, 0]:.2f} s",
            "do not use the angles inside a gap; keep the good parts with capture.between(...)",
            units=tuple(units),
            start=float(gaps[longest, 0]),
            end=float(gaps[longest, 1]),
            value=float(length[longest]),
            threshold=BRIDGED_S,
            measure="s",
            source=BRIDGED_FROM,
            handled="not bridged: inside, neighbours alone hold a segment; after it a unit starts anew",
            harm_deg=10.0,
            stretches=tuple((float(a), float(b)) for a, b in gaps) if len(gaps) > 1 else (),
        )
    ]
