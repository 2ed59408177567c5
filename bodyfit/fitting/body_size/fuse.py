"""How long each segment is: by stature, by tape measure, and by what the motion shows, fused."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from ...body.chain import BodyModel
from ...body.person import Person
from ...core.findings import Finding
from ...estimator.problem.estimate import Estimate
from ...results.summary import SegmentFigures
from .findings import length_findings
from .from_motion import lengths_from_motion
from .length import MEASURED_SD, Length, fused, length_from_stature


@dataclass(frozen=True, eq=False)
class BodySize:
    """Lengths of the segments.

    Attributes
    ----------
    lengths : segment -> Length, fused from all sources; only segments of which anything is known
    sources : segment -> source ("measured", "earlier fit", "stature", "model", "motion") -> Length
    findings : where sources disagree
    """

    lengths: Mapping[str, Length]
    sources: Mapping[str, Mapping[str, Length]]
    findings: tuple[Finding, ...] = field(default=())

    def figures(self) -> dict[str, SegmentFigures]:
        """Segment -> how long it is."""
        return {
            name: SegmentFigures(
                length_m=round(float(length.value), 4),
                length_sd_m=round(float(length.sd), 4),
                length_source=" and ".join(self.sources[name]),
            )
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
    return BodySize(lengths, sources, length_findings(model, person, shown))


def _beforehand(model: BodyModel, person: Person, name: str) -> dict[str, Length]:
    """What is known of a length without the motion: source -> Length, one or none."""
    if name in person.lengths_m:
        sd = person.lengths_sd_m.get(name)
        source = "measured" if sd is None else "earlier fit"
        return {source: Length(person.lengths_m[name], sd or MEASURED_SD)}
    length, by_stature = model.segments[name].length, length_from_stature(model, person, name)
    if by_stature is not None and length is not None and np.isclose(length, by_stature.value):
        return {"stature": by_stature}
    return {} if length is None else {"model": Length(length, MEASURED_SD)}
