"""Demo captures with one fault each, drawn from a list; whether a fit is wrong, sure and silent about it."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

import bodyfit
from bodyfit.core.findings import Finding
from bodyfit.errors import BodyfitError
from bodyfit.files.motion.motion_file import read_motion
from bodyfit.fitting.result import Fit
from bodyfit.recording.capture import Capture, Unit

DEMOS = Path(__file__).resolve().parents[1] / "demo_captures"
WRONG_DEG, BEYOND_SD, OFTEN = 5.0, 3.0, 0.3  # as issue 18 asks, by definition
Draw = np.random.Generator
ALL = ("accelerometer", "gyroscope", "magnetometer")


def _with(capture: Capture, name: str, **changes: object) -> Capture:
    unit = dataclasses.replace(capture.units[name], **changes)  # type: ignore[arg-type]
    return dataclasses.replace(capture, units={**capture.units, name: unit})


def _late(unit: Unit, seconds: float) -> dict[str, object]:
    return {"time": unit.time + seconds}


def _cut(unit: Unit, start: float, end: float) -> dict[str, object]:
    part = unit.between(start, end)
    return {"time": part.time} | {sensor: getattr(part, sensor) for sensor in unit.sensors}


def _frozen(unit: Unit, sensor: str, after: float) -> dict[str, object]:
    values = getattr(unit, sensor).copy()
    first = int(np.searchsorted(unit.time, unit.time[0] + after))
    values[first:] = values[first]
    return {sensor: values}


def _dead(unit: Unit, sensor: str, after: float) -> dict[str, object]:
    values = getattr(unit, sensor).copy()
    values[int(np.searchsorted(unit.time, unit.time[0] + after)) :] = 0.0
    return {sensor: values}


def _swapped(unit: Unit, sensor: str, order: list[int]) -> dict[str, object]:
    return {sensor: getattr(unit, sensor)[:, order]}


def _signed(unit: Unit, sensor: str, axis: int) -> dict[str, object]:
    return {sensor: getattr(unit, sensor) * np.where(np.arange(3) == axis, -1.0, 1.0)}


def _scaled(unit: Unit, sensor: str, factor: float, after: float = 0.0) -> dict[str, object]:
    late = unit.time >= unit.time[0] + after
    return {sensor: getattr(unit, sensor) * np.where(late, factor, 1.0)[:, None]}


SWAPS = ([1, 0, 2], [0, 2, 1], [2, 1, 0])
# kind of fault -> what it changes of a unit, and kinds of findings that name it
FAULTS: dict[str, tuple[Callable[[Unit, Draw], Mapping[str, object]], tuple[str, ...]]] = {
    "stamps late by up to 0.05 s": (lambda u, d: _late(u, d.uniform(0.01, 0.05)), ("clock-offset",)),
    "stamps late by 0.5 s": (lambda u, d: _late(u, 0.5), ("clock-offset", "clock-adrift")),
    "stamps late by 2 to 10 s": (lambda u, d: _late(u, d.uniform(2, 10)), ("clock-offset", "clock-adrift")),
    "clock rate": (lambda u, d: {"time": u.time * (1 + d.choice([-1, 1]) * d.uniform(5e-4, 2e-3))},
                   ("clock-rate", "clock-offset")),
    "first seconds lost": (lambda u, d: _cut(u, d.uniform(4, 10), 1e9), ("stretch-unseen",)),
    "accelerometer frozen": (lambda u, d: _frozen(u, "accelerometer", d.uniform(0, 30)), ("sensor-stuck",)),
    "gyroscope frozen": (lambda u, d: _frozen(u, "gyroscope", d.uniform(0, 30)), ("sensor-stuck",)),
    "gyroscope dead": (lambda u, d: _dead(u, "gyroscope", d.uniform(0, 30)), ("sensor-stuck",)),
    "gyroscope columns swapped": (
        lambda u, d: _swapped(u, "gyroscope", SWAPS[d.integers(3)]), ("axes-mixed",)),
    "accelerometer columns swapped": (
        lambda u, d: _swapped(u, "accelerometer", SWAPS[d.integers(3)]),
        ("axes-mixed",)),
    "gyroscope sign": (lambda u, d: _signed(u, "gyroscope", int(d.integers(3))), ("axes-mixed",)),
    "accelerometer sign": (lambda u, d: _signed(u, "accelerometer", int(d.integers(3))), ("axes-mixed",)),
    "accelerometer in another unit halfway": (
        lambda u, d: _scaled(u, "accelerometer", 1 / 9.80665, d.uniform(10, 40)), ("units-change",)),
    "accelerometer scale": (lambda u, d: _scaled(u, "accelerometer", d.choice([0.1, 0.7, 1.4, 10])),
                            ("accelerometer-scale", "gravity-not-read")),
    "gyroscope scale": (lambda u, d: _scaled(u, "gyroscope", d.choice([0.5, 0.8, 1.25, 2])),
                        ("gyroscope-scale",)),
    "gyroscope bias": (lambda u, d: {"gyroscope": known(u.gyroscope) + np.radians(d.normal(0, 5, 3))},
                       ("bias-high",)),
    "accelerometer bias": (lambda u, d: {"accelerometer": known(u.accelerometer) + d.normal(0, 0.5, 3)},
                           ("accelerometer-scale",)),
    "place": (lambda u, d: {"position": d.normal(0, 50, 3)}, ("place-outside",)),
    "turned mounting given": (lambda u, d: {"mounting": _turn(d)}, ("mounting-disagrees",)),
}  # fmt: skip
GENERAL = "units-contradict"  # names a unit as faulty, and says that it can't tell what is wrong with it
ANY_UNIT = ("same signal", "units exchanged", "cut by between")


def known(values: np.ndarray | None) -> np.ndarray:
    """The array, which must be there."""
    assert values is not None
    return values


def _turn(draw: Draw) -> np.ndarray:
    quat = draw.normal(size=4)
    return quat / np.linalg.norm(quat)


@dataclass(frozen=True)
class Case:
    """A capture with a fault: where, what, and the kinds of findings that name it."""

    capture: Capture
    fault: str
    units: tuple[str, ...]
    kinds: tuple[str, ...]


@cache
def _demo(name: str) -> Capture:
    return bodyfit.read_capture(DEMOS / name)


@cache
def _truth(name: str):
    capture = _demo(name)
    file = next(p for p in (DEMOS / name / "truth").iterdir() if p.name.startswith("segments.csv"))
    return read_motion(file, capture.model, capture.person)


def drawn(seed: int, demo: str = "cello_arm") -> Case:
    """The case of a seed."""
    draw, capture = np.random.default_rng(seed), _demo(demo)
    fault = [*FAULTS, *ANY_UNIT][draw.integers(len(FAULTS) + len(ANY_UNIT))]
    name, other = draw.permutation(list(capture.units))[:2]
    if fault in FAULTS:
        change, kinds = FAULTS[fault]
        return Case(_with(capture, name, **change(capture.units[name], draw)), fault, (name,), kinds)
    a, b = capture.units[name], capture.units[other]
    if fault == "cut by between":
        return Case(
            capture.between(draw.uniform(4, 20), 60), fault, tuple(capture.units), ("stretch-unseen",)
        )
    if fault == "same signal":
        same = dataclasses.replace(a, name=other, segment=b.segment)
        both = dataclasses.replace(capture, units={**capture.units, other: same})
        return Case(both, fault, (name, other), ("same-signal",))
    swapped = _with(_with(capture, name, segment=b.segment), other, segment=a.segment)
    return Case(swapped, fault, (name, other), ("placement-swapped", "placement-undecided"))


def wrong_and_sure(fit: Fit, demo: str = "cello_arm") -> list[tuple[str, float, float]]:
    """Angles that err by more than 5° RMS with over 30 % of frames beyond 3 SD: name, RMS °, share."""
    truth, out = _truth(demo), []
    for joint, angles in fit.joint_angles.items():
        for angle, values in angles.items():
            spread = ((fit.joint_angle_sd or {}).get(joint) or {}).get(angle)
            true = np.interp(fit.time, truth.time, np.unwrap(truth.joint_angles[joint][angle]))
            error = (values - true + np.pi) % (2 * np.pi) - np.pi
            good = np.isfinite(error) & np.isfinite(spread) if spread is not None else np.isfinite(error)
            if not good.any():
                continue
            sd = np.full(len(error), 0.0) if spread is None else spread
            rms = float(np.degrees(np.sqrt(np.mean(error[good] ** 2))))
            share = float(np.mean(np.abs(error[good]) > BEYOND_SD * sd[good]))
            if rms > WRONG_DEG and share > OFTEN:
                out.append((f"{joint}.{angle}", rms, share))
    return out


def names(findings: tuple[Finding, ...], case: Case) -> bool:
    """Whether a warning or worse is of the fault's kind, or the general one, and about one of its units."""
    return any(
        f.kind in (*case.kinds, GENERAL)
        and f.severity != "note"
        and (not f.units or set(f.units) & set(case.units))
        for f in findings
    )


def outcome(seed: int, demo: str = "cello_arm") -> tuple[str, str, str]:
    """Fault, what came of it (right, named, refused, silent), and what is wrong."""
    case = drawn(seed, demo)
    try:
        fit = bodyfit.fit(case.capture)
    except BodyfitError as error:
        return case.fault, "refused", str(error)[:150]
    wrong = wrong_and_sure(fit, demo)
    told = ", ".join(f"{f.kind}({f.severity[0]})" for f in fit.findings if f.severity != "note")
    if not wrong:
        return case.fault, "right", ""
    worst = max(wrong, key=lambda w: w[1])
    text = f"{'+'.join(case.units)}: {worst[0]} {worst[1]:.0f}°, {worst[2]:.0%} beyond 3 SD; told: {told}"
    return case.fault, "named" if names(fit.findings, case) else "silent", text
