"""Figures of units: what was used of them and what was found."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.spatial.transform import Rotation

from ...calibration.intake import Intake
from ...calibration.magnetic.field_gate import untrusted
from ...core.gravity import STANDARD_GRAVITY
from ...core.intervals import runs
from ...estimator.problem.estimate import Estimate
from ...recording.capture import Capture, Unit
from ...recording.sampling import MOTION, gaps_of
from ...results.kinds import Sensor, Span
from ...results.units import ClockFigures, MagnetometerFigures, UnitFigures
from ..mounting_findings import open_directions
from ..track import Track
from .plain import exact, figure, rounded, spans

SENSORS: tuple[Sensor, ...] = ("accelerometer", "gyroscope", "magnetometer", "orientation")
SHORTEST_S = 1.0  # s, stretches of a doubted field that are told; shorter ones fill pages; chosen


def unit_figures(capture: Capture, tracks: Sequence[Track], intake: Intake) -> dict[str, UnitFigures]:
    """By unit: what was used and found."""
    scales = {one.unit: float(np.mean(one.factor)) for one in intake.accelerometers if one.sure}
    return {
        name: _unit(capture, track, u, scales.get(name, 1.0))
        for track in tracks
        for u, name in enumerate(track.problem.signals.units)
        if name in capture.units
    }


def _unit(capture: Capture, track: Track, u: int, scale: float) -> UnitFigures:
    """One unit, the u-th of its track."""
    found, signals = track.found, track.problem.signals
    unit = capture.units[signals.units[u]]
    mounting, turning = found.body.mounting, signals.has["gyroscope"][u]
    has_field = not np.isnan(found.trust.share[u])
    return UnitFigures(
        segment=track.segments[u],
        sensors=_used(found, u),
        mounting_quat_xyzw=rounded(
            Rotation.from_matrix(mounting.segment_from_unit[u]).as_quat(canonical=True)
        ),
        mounting_source=mounting.sources[u],
        mounting_sd_deg=rounded(np.degrees(np.sqrt(np.diag(mounting.covariance[u])))),
        mounting_covariance_rad2=exact(mounting.covariance[u]),
        mounting_open=tuple(open_directions(mounting, u)),
        elastic_deg_per_g=rounded(np.degrees(found.body.elastic[u]) * STANDARD_GRAVITY),
        gyroscope_bias_deg_per_s=rounded(np.degrees(found.state.bias[:, u].mean(0))) if turning else None,
        accelerometer_scale=scale,
        heading_drift_removed_deg=_drift(found, u) if turning else None,
        field_untrusted_s=_untrusted(found, u) if has_field else None,
        gaps=_gaps(capture, unit, signals.time[0], signals.time[-1]),
        magnetometer_trusted_share=float(found.trust.share[u]) if has_field else None,
        magnetometer=_magnetometer(found, u) if has_field else None,
    )


def _used(found: Estimate, u: int) -> tuple[Sensor, ...]:
    """Sensors that were used of a unit."""
    has, trusted = found.problem.signals.has, bool(found.trust.trusted[:, u].any())
    return tuple(s for s in SENSORS if s in has and has[s][u] and (s != "magnetometer" or trusted))


def _magnetometer(found: Estimate, u: int) -> MagnetometerFigures:
    """How far a unit's field was trusted, and where it was not."""
    trust, known = found.trust, found.average.field_known[:, [u]]
    stretches = untrusted(trust.of([u]), known, found.problem.signals.key_time)[0]
    return MagnetometerFigures(
        magnetometer_heading_sd_deg=figure(np.degrees(trust.usual_level[u])) or None,
        magnetometer_untrusted=tuple((round(a, 3), round(b, 3), why) for a, b, why in stretches),
    )


def _drift(found: Estimate, u: int) -> float | None:
    """Heading that integrating the gyroscope as it is would have gained over the capture, deg."""
    up = found.state.R[:-1, u, 1, :]
    return figure(np.degrees(np.sum(up * found.state.bias[:-1, u]) * found.problem.signals.key_step))


def _untrusted(found: Estimate, u: int) -> tuple[Span, ...]:
    """[start, end] s of stretches in which the field was not trusted."""
    signals = found.problem.signals
    at, end = np.append(signals.key_time, np.inf), float(signals.time[-1])
    doubted = at[runs(~found.trust.trusted[:, u])]
    return spans(((float(a), min(float(b), end)) for a, b in doubted if b - a >= SHORTEST_S), 3)


def _gaps(capture: Capture, unit: Unit, start: float, end: float) -> tuple[Span, ...]:
    """[start, end] s of stretches without gyroscope or accelerometer samples, where the unit has one."""
    gaps = gaps_of(unit, capture.trials)[0] if unit.sensors & set(MOTION) else np.zeros((0, 2))
    unit.let_go()
    return spans(((a, b) for a, b in gaps if b > start and a < end), 4)


def clock_figures(tracks: Sequence[Track]) -> dict[str, ClockFigures]:
    """Unit -> what the fit took off its stamps, where it did."""
    out = {}
    for track in tracks:
        late, time = track.found.late, track.problem.signals.time
        for u, name in enumerate(track.problem.signals.units):
            if late.offset[u] or late.drift[u]:
                rate = late.drift[u] / (0.5 * (time[-1] - time[0]))
                out[name] = ClockFigures(float(late.offset[u]), float(1e6 * rate))
    return out
