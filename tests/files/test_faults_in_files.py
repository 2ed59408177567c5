"""From files to findings by the command: faults in demo captures and in a fit's files are told."""

from __future__ import annotations

import dataclasses
import importlib.util
import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from faults import FAULTS, tells

import bodyfit
from bodyfit.calibration.magnetic.field_gate import FieldTrust
from bodyfit.commands.main import main
from bodyfit.core.findings import Finding
from bodyfit.estimator.estimate import how_sure
from bodyfit.estimator.problem.estimate import Estimate
from bodyfit.estimator.solver.residual_pieces import Residuals
from bodyfit.files.capture.writer import write_capture
from bodyfit.files.findings_file import read_findings
from bodyfit.files.motion.motion_file import read_motion
from bodyfit.fitting import track as fitting
from bodyfit.recording.capture import Capture

ROOT = Path(__file__).resolve().parents[2]
DEMOS = ROOT / "demo_captures"
ENTRY = ("clipping", "unit-slipped", "placement-swapped")  # of the intake, beside the review's own kinds
OWN = ("joint-range", "unit-slip", "rotation-jump", "sides-swapped", "rate-plateau", "interpenetration")
FAULT_KINDS = {*OWN, "root-jump", *ENTRY}


def script() -> Any:
    """docs/injected_faults.py, which puts faults into the samples of a unit."""
    spec = importlib.util.spec_from_file_location("injected_faults", ROOT / "docs" / "injected_faults.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["injected_faults"] = module
    spec.loader.exec_module(module)
    return module


def run(*words: str | Path) -> None:
    result = CliRunner().invoke(main, [str(word) for word in words])
    assert result.exit_code == 0, result.output


def warned(out: Path) -> list[Finding]:
    return [f for f in read_findings(out / "findings.json") if f.severity != "note"]


def from_samples(capture: Capture, folder: Path) -> list[Finding]:
    """What a capture that was written to files, fitted and reviewed by the command is warned of."""
    write_capture(capture, folder / "capture")
    run("fit", folder / "capture", "--out", folder / "out")
    run("review", folder / "out")
    return warned(folder / "out")


# --- clean ones


@pytest.mark.parametrize("name", ["cello_arm", "steel_stairs", "parcel_lift"])
def test_a_clean_capture_is_warned_of_none_of_these(fitted_demo, name):
    assert [f.what for f in warned(fitted_demo(name)) if f.kind in FAULT_KINDS] == []


def test_stretches_of_the_field_bent_by_stairs_are_told(fitted_demo):
    """Where the raw norm is a fifth off the Earth's, nine tenths of the time are in a finding."""
    told = read_findings(fitted_demo("steel_stairs") / "findings.json")
    truth = json.loads((DEMOS / "steel_stairs" / "truth" / "truth.json").read_text())
    unit = bodyfit.read_capture(DEMOS / "steel_stairs").units["r_hindfoot_unit"]
    (finding,) = [f for f in told if f.kind == "field-untrusted" and f.units == (unit.name,)]
    spans = finding.stretches
    assert (finding.start, finding.end) in spans and len(spans) > 3
    assert unit.magnetometer is not None
    norm = np.linalg.norm(unit.magnetometer, axis=1) / truth["magnetic_field"]["norm"]
    bent = np.abs(norm - 1) > 0.2
    inside = np.any([(unit.time >= a) & (unit.time <= b) for a, b in spans], axis=0)
    assert bent.mean() > 0.1 and inside[bent].mean() > 0.9
    assert inside.mean() < 0.6  # and not all of the capture


def test_errors_lie_inside_the_bands_in_a_bent_field_and_out_of_it(fitted_demo):
    """95 % of ± 1.96 standard deviations, against the truth that came with the capture."""
    fit = bodyfit.read_fit(fitted_demo("steel_stairs"))
    truth = read_motion(DEMOS / "steel_stairs" / "truth" / "segments.csv.gz", fit.poses.model)
    units = fit.summary.units.values()
    bent = np.any(
        [(fit.time >= a) & (fit.time <= b) for unit in units for a, b in unit.field_untrusted_s], axis=0
    )
    assert fit.joint_angle_sd is not None and 0.2 < bent.mean() < 0.6
    within, sizes = [], []
    for joint, angles in fit.joint_angle_sd.items():
        for angle, sd in angles.items():
            true = np.interp(fit.time, truth.time, np.unwrap(truth.joint_angles[joint][angle]))
            within.append(np.abs(fit.joint_angles[joint][angle] - true) <= 1.96 * sd)
            sizes.append(np.degrees(np.median(sd)))
    assert np.mean(within, axis=0)[bent].mean() >= 0.95
    assert np.mean(within, axis=0)[~bent].mean() >= 0.95
    assert max(sizes) < 15  # a band that holds everything would be of no use


def test_headings_are_less_sure_where_the_field_is_bent(monkeypatch):
    """A foot by itself: its heading's standard deviation against that with the field trusted throughout."""
    solved: list[Estimate] = []
    monkeypatch.setattr(fitting, "_without_samples", lambda found: solved.append(found) or found)
    capture = bodyfit.read_capture(DEMOS / "steel_stairs")
    others = [name for name in capture.units if not name.endswith("hindfoot_unit")]
    bodyfit.fit(capture, alone=True, leave_out=others)
    assert len(solved) == 2
    for found in solved:
        doubted = ~found.trust.trusted[:, 0]
        everywhere = dataclasses.replace(found.trust, trusted=np.ones_like(found.trust.trusted))
        real, naive = (_heading_sd(found, trust) for trust in (found.trust, everywhere))
        wider = real / naive
        assert wider[doubted].mean() > 1.1 and wider.min() >= 1.0
        assert wider[doubted].mean() > wider[~doubted].mean() + 0.02


def _heading_sd(found: Estimate, trust: FieldTrust) -> np.ndarray:
    """(K + 1,) rad."""
    problem, state, body, average = found.problem, found.state, found.body, found.average
    residuals = Residuals(problem, state, body, average, trust)
    rotation, _ = how_sure(problem, state, body, average, residuals)
    return np.sqrt(rotation[:, 0, 1, 1])


# --- faults in a fit's files


def test_faults_put_into_a_fits_files_are_told(fitted_demo, tmp_path):
    """Three at different places of one motion; each by itself: tests/study/test_review.py."""
    fit = bodyfit.read_fit(fitted_demo("parcel_lift"))
    faults = []
    for name in ("knee bent backwards by 20°", "forearm through the trunk", "2 m jump of the root"):
        faults.append(FAULTS[name](faults[-1].poses if faults else fit.poses))
    dataclasses.replace(fit, poses=faults[-1].poses).write(tmp_path)
    run("review", tmp_path)
    told = warned(tmp_path)
    assert [any(tells(finding, fault) for finding in told) for fault in faults] == [True] * 3


# --- faults in samples


CLIMB_S = 40.0  # of the stairs, up and a part of the way down: what is told does not hang on the rest


def climb() -> Capture:
    return bodyfit.read_capture(DEMOS / "steel_stairs").between(0.0, CLIMB_S)


def test_a_slip_about_the_knees_flexion_axis_is_told_once(tmp_path):
    inject, capture, at = script(), climb(), CLIMB_S / 2
    slipped = inject.slipped(capture.units["r_calf_unit"], np.array([0.0, 0.0, 1.0]), at=at)
    told = from_samples(inject.with_unit(capture, slipped), tmp_path)
    (slip,) = [f for f in told if f.kind in ("unit-slipped", "unit-slip")]
    assert slip.units == ("r_calf_unit",) and slip.start == pytest.approx(at, abs=0.5)
    assert slip.value == pytest.approx(30, abs=10)


def test_exchanged_feet_are_told(tmp_path):
    inject, capture = script(), climb()
    told = from_samples(inject.exchanged(capture, "l_hindfoot_unit", "r_hindfoot_unit"), tmp_path)
    swapped = [f for f in told if f.kind in ("sides-swapped", "placement-swapped")]
    assert swapped and {"l_talocrural", "r_talocrural"} <= {*swapped[0].joints}


def test_a_clipped_gyroscope_is_told_where_it_is_clipped(tmp_path):
    inject, capture = script(), climb()
    whole = capture.units["r_calf_unit"]
    cut = inject.clipped(whole)
    told = from_samples(inject.with_unit(capture, cut), tmp_path)
    (clip,) = [f for f in told if f.kind == "clipping"]
    assert whole.gyroscope is not None and cut.gyroscope is not None
    when = whole.time[np.any(whole.gyroscope != cut.gyroscope, axis=1)]
    assert clip.units == ("r_calf_unit",)
    assert clip.start == pytest.approx(when[0], abs=0.1) and clip.end == pytest.approx(when[-1], abs=0.1)
