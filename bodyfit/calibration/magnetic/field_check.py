"""The magnetic field of a capture, looked at before any fit: calibration, timeline of trust, findings."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from ...core.findings import Finding
from ...core.rotations import apply
from ...recording.capture import Capture, Unit
from ...recording.earth_field import EarthField, earth_field_of
from ...recording.single_units import Unaided, unaided
from ...weights import Weights
from .field_gate import LEAST_SHARE, TURN_S, FieldTrust, Gates, Stretch, judge_field, untrusted
from .hard_soft_iron import MagnetometerCalibration, calibrate_magnetometer

CHECK_HZ = 8.0  # the field of a limb changes no faster than the limb moves; as KEYFRAME_HZ
MEAN_S = 0.2  # s, over which readings are averaged; chosen; not tried
WORTH_SAYING = 0.05  # share of the time; chosen; not tried
# share of the norm: spread above which a magnetometer would gain; tried: on what is not written down
UNSTEADY = 0.03
FULL = frozenset({"accelerometer", "gyroscope", "magnetometer"})


@dataclass(frozen=True, eq=False)
class FieldCheck:
    """What was found about the magnetic field.

    Attributes
    ----------
    capture : with hard and soft iron taken off where the motion showed them
    earth : the undisturbed field at the capture's place, or None
    calibrations : unit -> what its own motion shows
    untrusted : unit -> stretches (start s, end s, which checks fail)
    share : unit -> share of its time in which the field passed
    dip : rad, usual one of all units, or None where nothing shows it
    findings : about all this
    """

    capture: Capture
    earth: EarthField | None
    calibrations: Mapping[str, MagnetometerCalibration]
    untrusted: Mapping[str, list[Stretch]]
    share: Mapping[str, float]
    dip: float | None
    findings: tuple[Finding, ...]


def check_field(capture: Capture, own: Unaided | None = None, weights: Weights | None = None) -> FieldCheck:
    """Magnetometers calibrated and judged: units that carry accelerometer, gyroscope and magnetometer.

    Parameters
    ----------
    capture : clocks already made one
    own : the units by themselves, when that is at hand
    weights : for the gates

    Returns
    -------
    FieldCheck
    """
    earth, w = earth_field_of(capture), weights or Weights()
    units = [u for u in capture.units.values() if u.sensors >= FULL]
    if not units:
        return FieldCheck(capture, earth, {}, {}, {}, None, tuple(_of_earth(earth, None, w)))
    own = own or unaided(units)
    every = max(1, round(1 / (CHECK_HZ * own.step)))
    at = [own.units.index(u.name) for u in units]
    known = own.signals.known["magnetometer"][::every, at]
    window = max(1, round(MEAN_S / own.step))
    found, world = {}, []
    for n, unit in enumerate(units):
        m, R = own.signals.field[:, at[n]], own.R[:, at[n]]
        one = calibrate_magnetometer(m[::every], R[::every], own.step * every, known[:, n])
        found[unit.name] = one
        clean = one.calibrated(m) if one.applies else m
        world.append(uniform_filter1d(apply(R, clean), window, axis=0, mode="nearest")[::every].copy())
        own.let_go()
    levelled, expected = np.ones(len(units), bool), 0.0 if earth is None else earth.dip
    gates = Gates(w.field_norm, w.field_dip, w.field_turn)
    trust = judge_field(np.stack(world, 1), known, levelled, expected, own.step * every, gates)
    repaired = {u.name: _calibrated(u, found[u.name]) for u in units}
    result = dataclasses.replace(capture, units={**capture.units, **repaired})
    stretches = dict(zip(repaired, untrusted(trust, known, own.time[::every]), strict=True))
    findings = [
        *_of_earth(earth, trust.dip, w),
        *(f for u in units for f in _of_calibration(u, found[u.name])),
        *(f for n, u in enumerate(units) for f in _of_stretches(u.name, stretches[u.name], trust, n, w)),
        *_of_norms(list(repaired.values()), earth, w),
    ]
    share = {u.name: float(s) for u, s in zip(units, trust.share, strict=True)}
    return FieldCheck(result, earth, found, stretches, share, trust.dip, tuple(findings))


def _norm(unit: Unit) -> float:
    """Median norm of a unit's readings, in their own unit."""
    assert unit.magnetometer is not None
    return float(np.nanmedian(np.linalg.norm(unit.magnetometer, axis=1)))


def _calibrated(unit: Unit, one: MagnetometerCalibration) -> Unit:
    """The unit with hard and soft iron taken off, where that applies."""
    if not one.applies:
        return unit
    usual = _norm(unit)  # the calibration was found on readings in units of their median norm
    own = dataclasses.replace(one, norm=usual * one.norm)
    assert unit.magnetometer is not None
    norm = 1.0 if unit.magnetometer_is_arbitrary else None
    return dataclasses.replace(unit, magnetometer=own.calibrated(unit.magnetometer, norm))


def _of_calibration(unit: Unit, one: MagnetometerCalibration) -> list[Finding]:
    """Iron that was taken off, or that could not be."""
    iron = 100 * float(np.linalg.norm(one.hard))
    if one.applies:
        what = f"{unit.name}: the magnetometer carries iron of its own, {iron:.0f} % of the field"
        return [
            Finding(
                "magnetometer-iron",
                "note",
                what,
                "nothing; or calibrate the magnetometer before the next capture",
                units=(unit.name,),
                value=iron,
                measure="%",
                source="no limit: all that is taken off is told",
                handled=f"taken off; the norm now spreads by {100 * one.spread_after:.1f} % instead of "
                f"{100 * one.spread:.1f} %",
            )
        ]
    if one.spread < UNSTEADY:
        return []
    return [
        Finding(
            "magnetometer-not-calibrated",
            "warning",
            f"{unit.name}: the norm of the field spreads by {100 * one.spread:.0f} % and the motion does not "
            f"show why: {one.why_not}",
            "turn the unit slowly through all attitudes once, away from iron",
            units=(unit.name,),
            value=100 * one.spread,
            threshold=100 * UNSTEADY,
            measure="%",
            source="tried on single units",
            harm_deg=float(np.degrees(one.spread)),
        )
    ]


def _of_stretches(
    name: str, stretches: list[Stretch], trust: FieldTrust, at: int, w: Weights
) -> list[Finding]:
    """Where the field can't be trusted."""
    lost = 1 - float(np.mean(~np.any([fail[:, at] for fail in trust.fails.values()], axis=0)))
    if lost < WORTH_SAYING or not stretches:
        return []
    start, end, why = max(stretches, key=lambda s: s[1] - s[0])
    used = lost <= 1 - LEAST_SHARE
    what = (
        f"{name}: the magnetic field is not that of the Earth for {100 * lost:.0f} % of the time "
        f"({len(stretches)} stretch{'es' * (len(stretches) > 1)}, the longest {start:.1f} to {end:.1f} s: "
        f"{why})"
    )
    return [
        Finding(
            "field-untrusted",
            "warning",
            what,
            "keep away from iron, magnets and loudspeakers, or fit without magnetometers",
            units=(name,),
            start=start,
            end=end,
            stretches=tuple((s[0], s[1]) for s in stretches) if len(stretches) > 1 else (),
            value=100 * lost,
            threshold=100 * WORTH_SAYING,
            measure="%",
            source=f"norm within {100 * w.field_norm:.0f} %, dip within {np.degrees(w.field_dip):.0f}°: "
            f"common practice; turn within {np.degrees(w.field_turn):.0f}° in {TURN_S:.0f} s: tried",
            handled="heading is taken from the other stretches" if used else "magnetometer not used",
        )
    ]


def _of_norms(units: list[Unit], earth: EarthField | None, w: Weights) -> list[Finding]:
    """Units that read another norm than the Earth's, or, without a place, than the other units."""
    norms = {u.name: _norm(u) for u in units if not u.magnetometer_is_arbitrary}
    if not norms or (earth is None and len(norms) < 3):
        return []
    expected = float(np.median(list(norms.values()))) if earth is None else earth.norm
    where = "the other units read" if earth is None else f"the Earth's field there ({earth.model}) is"
    return [
        Finding(
            "field-norm",
            "warning",
            f"{name}: the field is usually {1e6 * norm:.1f} µT, {where} {1e6 * expected:.1f} µT",
            "calibrate the magnetometer, or look for iron near by",
            units=(name,),
            value=1e6 * norm,
            threshold=1e6 * expected,
            measure="µT",
            source=f"{100 * w.field_norm:.0f} % of the expected norm: common practice",
            handled="headings by the field count less the further its norm and dip stray",
        )
        for name, norm in norms.items()
        if abs(norm / expected - 1) > w.field_norm
    ]


def _of_earth(earth: EarthField | None, dip: float | None, w: Weights) -> list[Finding]:
    """What the place says about the field as a whole."""
    if earth is None:
        return []
    out = []
    if earth.note:
        note = "give start_time in setup.toml, or take a newer model"
        what = f"the Earth's field was taken from {earth.model}: {earth.note}"
        why = "no limit: told wherever the date is not the model's"
        out.append(Finding("field-date", "note", what, note, source=why))
    if dip is not None and abs(dip - earth.dip) > w.field_dip:
        out.append(
            Finding(
                "field-dip",
                "warning",
                f"the field dips by {np.degrees(dip):.0f}°, the Earth's there ({earth.model}) by "
                f"{np.degrees(earth.dip):.0f}°: north is bent by an amount that nothing shows",
                "take headings against each other, not against north",
                value=float(np.degrees(dip)),
                threshold=float(np.degrees(earth.dip)),
                measure="deg",
                source=f"within {np.degrees(w.field_dip):.0f}°: common practice",
            )
        )
    return out
