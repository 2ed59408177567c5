"""A capture at a glance: everything that can be said before a fit, with a short one to see how units sit."""

from __future__ import annotations

import time as clock
from importlib.metadata import version

import numpy as np

from ...calibration.intake import Intake, examine
from ...core.findings import Finding, worst_first
from ...core.progress import Progress
from ...errors import BodyfitError
from ...fitting.fit import fit
from ...recording.capture import Capture, Unit
from ...version import __version__
from .result import Candidate, Inspection, Spans, UnitInspection, timelines

TRIED_S = 60.0  # s of the capture that is fitted to see how units sit; chosen; not tried
LIBRARIES = ("numpy", "scipy", "vqf")


def inspect(capture: Capture, progress: Progress | None = None) -> Inspection:
    """The capture looked over: what is wrong, how much that will hurt, what to do.

    Parameters
    ----------
    capture : as read
    progress : called as progress(done, total, what)

    Returns
    -------
    Inspection

    Raises
    ------
    InputError
        Samples that can't be used at all; says which, where, and what to do.
    """
    from threadpoolctl import threadpool_limits

    started = clock.perf_counter()
    say = progress or (lambda done, total, what: None)
    say(0, 3, "checking units")
    with threadpool_limits(1):
        intake = examine(capture, refuse=False)
    say(1, 3, "trying how units sit")
    mounting, found = _mountings(intake)
    say(2, 3, "timelines")
    start = min(float(unit.time[0]) for unit in capture.units.values())
    end = max(float(unit.time[-1]) for unit in capture.units.values())
    units = tuple(_unit(unit, intake, mounting, start, end) for unit in capture.units.values())
    return Inspection(
        capture.title,
        capture.source,
        capture.model.name,
        start,
        end,
        capture.gravity,
        units,
        worst_first((*intake.findings, *found)),
        {"bodyfit": __version__, **{name: version(name) for name in LIBRARIES}},
        clock.perf_counter() - started,
        capture.trials,
        capture.start_time,
    )


def _mountings(intake: Intake) -> tuple[dict[str, tuple[str, np.ndarray]], tuple[Finding, ...]]:
    """Unit -> what its mounting rests on and its standard deviation (3,) rad; findings about mountings."""
    capture = intake.capture
    if any(unit.segment is None for unit in capture.units.values()):
        return {}, ()
    first = max(unit.time[0] for unit in capture.units.values())
    first = min([first, *(c.start for c in capture.calibrations)])
    end = max([first + TRIED_S, *(c.end for c in capture.calibrations if c.end < first + 2 * TRIED_S)])
    try:
        found = fit(capture.between(first, end), sensors={"accelerometer", "gyroscope"})
    except BodyfitError as error:
        return {}, (_untried(error),)
    out = {}
    for name, (_, covariance) in found.mounting.items():
        sd = np.sqrt(np.diag(covariance))
        out[name] = (found.summary.units[name].mounting_source, sd)
    return out, tuple(f for f in found.findings if f.kind.startswith(("mounting", "pose", "unit-slipped")))


def _untried(error: BodyfitError) -> Finding:
    return Finding(
        "fit-refused",
        "serious",
        f"the capture could not be fitted to see how units sit: {error}",
        "do what the message says, then inspect again",
        source="no limit: the fit was refused",
    )


def _unit(
    unit: Unit, intake: Intake, mounting: dict[str, tuple[str, np.ndarray]], start: float, end: float
) -> UnitInspection:
    """All that was found about one unit; timelines of what it recorded, before any repair."""
    name = unit.name
    sampling = next(one for one in intake.sampling if one.unit == name)
    clipped = [clip for clip in intake.clipped if clip.unit == name]
    noise = {rest.sensor: rest.noise for rest in intake.rests if rest.unit == name}
    source, sd = mounting.get(name, (None, None))
    places = intake.placement.places.get(name) if intake.placement else None
    return UnitInspection(
        name,
        unit.segment,
        tuple(sorted(unit.sensors)),
        sampling.frequency,
        _spans(sampling.gaps),
        _spans(np.array([span for clip in clipped for span in clip.stretches]).reshape(-1, 2)),
        max((clip.share for clip in clipped), default=0.0),
        *_clock(name, intake),
        gyroscope_noise=_worst(noise.get("gyroscope")),
        accelerometer_noise=_worst(noise.get("accelerometer")),
        field_trusted=_trusted(name, intake, start, end),
        field_trusted_share=intake.field.share.get(name),
        mounting_source=source,
        mounting_sd=None if sd is None else tuple(float(x) for x in sd),  # type: ignore[arg-type]
        candidates=None if places is None else tuple(Candidate(s, p) for s, p in places.items()),
        **timelines(unit, start, end),
    )


def _clock(name: str, intake: Intake) -> tuple[float | None, float | None, float | None]:
    """The unit's clock against the others: offset s, its standard deviation, rate."""
    clocks = intake.clocks
    if clocks is None or name not in clocks.units:
        return None, None, None
    u = list(clocks.units).index(name)
    return float(clocks.offset[u]), float(clocks.offset_sd[u]), float(clocks.rate[u])


def _worst(noise: np.ndarray | None) -> float | None:
    return None if noise is None else float(np.max(noise))


def _spans(pairs: np.ndarray) -> Spans:
    return tuple((float(a), float(b)) for a, b in pairs)


def _trusted(name: str, intake: Intake, start: float, end: float) -> Spans | None:
    """What is left of the capture between the stretches in which the field can't be trusted."""
    if name not in intake.field.untrusted:
        return None
    bad = [(a, b) for a, b, _ in intake.field.untrusted[name]]
    edges = [start, *(t for pair in bad for t in pair), end]
    return tuple((a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b > a)
