"""Invented inspections for the tests of what is printed and drawn of them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from bodyfit.core.findings import Finding, worst_first
from bodyfit.recording.capture import Unit
from bodyfit.study.inspection.result import Candidate, Inspection, UnitInspection, timelines

FINDINGS = worst_first(
    [
        Finding(
            "placement-swapped", "serious", "l_calf_unit and r_calf_unit fit each other's segments better",
            "swap their segments in setup.toml, or run with --assign auto",
            units=("l_calf_unit", "r_calf_unit"), joints=("l_knee", "r_knee"), value=0.997, threshold=0.9,
            source="probability that asks for a repair", harm_deg=40.0,
        ),
        Finding(
            "field-untrusted", "warning", "the magnetic field is 32 % stronger than the Earth's",
            "keep away from iron, or leave the magnetometer out", units=("pelvis_unit",),
            start=12.0, end=31.5, value=32.0, threshold=10.0, measure="%", harm_deg=12.0,
            source="World Magnetic Model 2025",
            handled="heading is not taken from it there",
        ),
        Finding(
            "clock-offset", "warning", "its clock is 47.2 ms ahead of the others", "synchronise the units",
            units=("r_thigh_unit",), value=47.2, threshold=5.0, measure="ms", harm_deg=3.0,
            handled="taken off",
        ),
        Finding(
            "clipped", "note", "11 accelerometer samples at full scale", "set a wider full scale",
            units=("r_hindfoot_unit",), start=40.21, end=40.32, value=11, measure="samples", harm_deg=0.4,
        ),
        Finding("gap", "note", "no samples for 0.19 s", "move the receiver nearer", units=("l_calf_unit",),
                start=41.0, end=41.19, harm_deg=0.1),
    ]
)  # fmt: skip


def example(units: Mapping[str, Unit], findings: tuple[Finding, ...] = FINDINGS) -> Inspection:
    """An inspection of real signals with invented results, the last unit without any."""
    start = min(unit.time[0] for unit in units.values())
    end = max(unit.time[-1] for unit in units.values())
    rng = np.random.default_rng(5)
    shown = [_unit(unit, float(start), float(end), rng) for unit in units.values()]
    last = list(units.values())[-1]
    shown[-1] = UnitInspection(last.name, None, tuple(sorted(last.sensors)))
    return Inspection(
        "A capture",
        "invented",
        "whole_body",
        float(start),
        float(end),
        units=tuple(shown),
        findings=findings,
        versions={"bodyfit": "0.1.0", "numpy": np.__version__},
        wall_time=4.2,
    )


def _unit(unit: Unit, start: float, end: float, rng: np.random.Generator) -> UnitInspection:
    span = end - start
    share = float(rng.uniform(0.9, 0.999))
    other = {"l_": "r_", "r_": "l_"}.get(str(unit.segment)[:2], "the_other_") + str(unit.segment)[2:]
    return UnitInspection(
        unit.name,
        unit.segment,
        tuple(sorted(unit.sensors)),
        frequency=100.0,
        gaps=((start + 0.3 * span, start + 0.3 * span + 0.19), (start + 0.7 * span, start + 0.72 * span)),
        clipped=((start + 0.5 * span, start + 0.5 * span + 0.1),),
        clipped_share=float(rng.uniform(0, 0.002)),
        clock_offset=float(rng.normal(0, 0.02)),
        clock_offset_sd=float(rng.uniform(0.0005, 0.004)),
        clock_rate=float(rng.normal(0, 3e-5)),
        gyroscope_noise=float(np.radians(rng.uniform(0.004, 0.015))),
        accelerometer_noise=float(rng.uniform(8e-4, 2.5e-3)),
        field_trusted=((start, start + 0.2 * span), (start + 0.45 * span, end)),
        field_trusted_share=0.75,
        mounting_source="still pose and motion",
        mounting_sd=(0.02, float(rng.uniform(0.02, 0.2)), 0.015),
        candidates=(Candidate(str(unit.segment), share), Candidate(other, 1 - share)),
        **timelines(unit, start, end),
    )
