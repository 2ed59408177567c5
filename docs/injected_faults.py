"""Faults put into motions and captures on purpose, and which of them a review finds; writes its tables."""

from __future__ import annotations

import dataclasses
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests"))

from faults import FAULTS, tells  # noqa: E402

import bodyfit  # noqa: E402
from bodyfit.body.motion.poses import PoseSequence  # noqa: E402
from bodyfit.body.motion.smooth_curves import smooth_motion  # noqa: E402
from bodyfit.body.person import Person  # noqa: E402
from bodyfit.core.findings import Finding  # noqa: E402
from bodyfit.files.motion.motion_file import read_motion  # noqa: E402
from bodyfit.recording.capture import Capture, Unit  # noqa: E402

DATA = ROOT.parent / "shared" / "data" / "motions_isb"
CUTOFF_HZ = 6.0
SLIP_S = 45.0  # s, when a unit slips in the capture
PLACED = ("joint-range",)  # kinds that only count at the fault's own place when there is no fault


def motions() -> Iterator[tuple[str, PoseSequence]]:
    """Ten recorded motions, without the noise of their markers, and the truth of two demo captures."""
    for path in sorted(DATA.glob("*.parquet")):
        poses = read_motion(path, person=Person(1.75, 70.0))
        yield path.stem, smooth_motion(poses, CUTOFF_HZ).poses(poses.time)
    for name in ("parcel_lift", "steel_stairs"):
        capture = bodyfit.read_capture(ROOT / "demo_captures" / name)
        truth = ROOT / "demo_captures" / name / "truth" / "segments.csv.gz"
        yield name, read_motion(truth, capture.model, capture.person)


def in_motions() -> list[str]:
    """Rows: fault, found in how many motions, missed in which, false alarms without it."""
    there = list(motions())
    clean = {name: bodyfit.review(poses) for name, poses in there}  # type: ignore[arg-type]
    rows = []
    for fault_name, put in FAULTS.items():
        found, missed, false = 0, [], 0
        for name, poses in there:
            if "arm" in fault_name and "r_forearm" not in poses.model.segments:
                continue
            fault = put(poses)
            hit = any(tells(f, fault) for f in bodyfit.review(fault.poses))  # type: ignore[arg-type]
            found, missed = found + hit, missed + ([] if hit else [name])
            false += sum(_counts(f, fault.kinds) for f in clean[name])
        rows.append(
            f"| {fault_name} | {found} of {found + len(missed)} | {', '.join(missed) or '–'} | {false} |"
        )
    return rows


def _counts(finding: Finding, kinds: tuple[str, ...]) -> bool:
    at_knee = any(name.endswith("_knee") for name in finding.joints)
    return finding.severity != "note" and finding.kind in kinds and (finding.kind not in PLACED or at_knee)


def in_captures() -> list[str]:
    """Rows: fault in the units of steel_stairs, what the review then says and else not."""
    capture = bodyfit.read_capture(ROOT / "demo_captures" / "steel_stairs")
    cases = {"nothing": capture}
    slips = [(unit, axis) for unit in ("l_thigh_unit", "r_calf_unit") for axis in range(3)]
    for unit, axis in (*slips, ("l_hindfoot_unit", 1), ("pelvis_unit", 1)):
        what = f"{unit} slips by 30° about its {'XYZ'[axis]} axis at {SLIP_S:.0f} s"
        cases[what] = with_unit(capture, slipped(capture.units[unit], np.eye(3)[axis]))
    cases["foot units exchanged"] = exchanged(capture, "l_hindfoot_unit", "r_hindfoot_unit")
    cases["r_calf_unit's gyroscope clipped at 60 % of its largest"] = with_unit(
        capture, clipped(capture.units["r_calf_unit"])
    )
    told = {name: _told(case) for name, case in cases.items()}
    usual = told["nothing"]
    new = {name: {p: w for p, w in of.items() if p not in usual or of is usual} for name, of in told.items()}
    return [f"| {name} | {'; '.join(of.values()) or '–'} |" for name, of in new.items()]


def _told(capture: Capture) -> dict[tuple, str]:
    """Warnings and serious findings of a fit's review, kind and place -> the worst there in words."""
    worst: dict[tuple, Finding] = {}
    for finding in bodyfit.review(bodyfit.fit(capture)):
        if finding.severity != "note":
            worst.setdefault((finding.kind, finding.units, finding.joints, finding.segments), finding)
    return {place: f.what.split(";")[0] for place, f in worst.items()}


def with_unit(capture: Capture, unit: Unit) -> Capture:
    return dataclasses.replace(capture, units={**capture.units, unit.name: unit})


def slipped(
    unit: Unit, axis: np.ndarray, degrees: float = 30.0, seconds: float = 0.1, at: float = SLIP_S
) -> Unit:
    """The unit turned on its segment within a tenth of a second."""
    share = np.clip((unit.time - at) / seconds, 0, 1)
    turn = Rotation.from_rotvec(np.radians(degrees) * share[:, None] * axis).inv()
    during = (unit.time > at) & (unit.time < at + seconds)
    turned = {
        sensor: turn.apply(getattr(unit, sensor))
        for sensor in ("accelerometer", "gyroscope", "magnetometer")
        if sensor in unit.sensors
    }
    turned["gyroscope"] = turned["gyroscope"] + np.outer(during, np.radians(degrees) / seconds * axis)
    return dataclasses.replace(unit, **turned)


def exchanged(capture: Capture, one: str, other: str) -> Capture:
    """Two units taken for each other."""
    a, b = capture.units[one], capture.units[other]
    swap = {one: dataclasses.replace(a, segment=b.segment), other: dataclasses.replace(b, segment=a.segment)}
    return dataclasses.replace(capture, units={**capture.units, **swap})


def clipped(unit: Unit, share: float = 0.6) -> Unit:
    """The unit with a gyroscope whose scale ends at a share of what it saw."""
    assert unit.gyroscope is not None
    end = share * float(np.nanmax(np.abs(unit.gyroscope)))
    return dataclasses.replace(unit, gyroscope=np.clip(unit.gyroscope, -end, end))


def tables() -> str:
    """Both tables."""
    return "\n".join(
        [
            "| fault put into a motion | found | missed in | false |",
            "|---|---|---|---|",
            *in_motions(),
            "",
            "Put into the units of `steel_stairs` and fitted; what the review of the fit then says and does",
            "not say without the fault, the worst of each kind and place:",
            "",
            "| fault put into a capture | told |",
            "|---|---|",
            *in_captures(),
        ]
    )


if __name__ == "__main__":
    page = ROOT / "docs" / "findings.md"
    before, mark, _ = page.read_text(encoding="utf-8").partition("<!-- part: faults -->\n")  # the page's end
    page.write_text(f"{before}{mark}{tables()}\n" if mark else sys.exit(f"{page}: no mark"), encoding="utf-8")
