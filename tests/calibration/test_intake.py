"""The intake as a whole: what it repairs, in which order it tells, what it refuses, whose gates it uses."""
# pyright: reportOptionalOperand=false, reportOptionalMemberAccess=false

import dataclasses

import numpy as np
import pytest

from bodyfit.calibration.intake import examine
from bodyfit.errors import CannotReconstructError, InputError
from bodyfit.fitting.fit import fit
from bodyfit.recording.capture import Capture
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate
from bodyfit.weights import Weights
from tests.scripted_motion import PLACE, person, swung

ANYTHING = Weights(field_norm=1e3, field_dip=np.pi, field_turn=2 * np.pi)
RANK = {"serious": 0, "warning": 1, "note": 2}


@pytest.fixture(scope="module")
def capture() -> Capture:
    settings = SimulationSettings(soft_tissue_deg_per_g=0.0)
    return simulate(swung(person("right_arm"), 24.0), None, settings, seed=2, place=PLACE).capture


@pytest.fixture(scope="module")
def near_a_magnet(capture) -> Capture:
    """The first unit reads another field in the middle eight seconds."""
    name, unit = next(iter(capture.units.items()))
    at = (unit.time > 8.0) & (unit.time < 16.0)
    spoilt = np.where(at[:, None], unit.magnetometer + np.array([60e-6, 20e-6, 0.0]), unit.magnetometer)
    return _with(capture, name, magnetometer=spoilt)


def _with(capture, name, **changes):
    return dataclasses.replace(
        capture, units={**capture.units, name: dataclasses.replace(capture.units[name], **changes)}
    )


def untrusted(findings):
    return {unit for f in findings if f.kind == "field-untrusted" for unit in f.units}


def test_the_gates_of_the_weights_are_those_of_the_intake(near_a_magnet):
    name = next(iter(near_a_magnet.units))
    usual, loose = examine(near_a_magnet), examine(near_a_magnet, weights=ANYTHING)
    assert name in untrusted(usual.findings) and usual.field.share[name] < 0.75
    assert not untrusted(loose.findings) and loose.field.share[name] == pytest.approx(1.0)


def test_the_source_of_a_finding_names_the_gates_that_were_used(near_a_magnet):
    tight = examine(near_a_magnet, weights=Weights(field_norm=0.07, field_dip=np.radians(8.0)))
    (source,) = {f.source for f in tight.findings if f.kind == "field-untrusted"}
    assert source.startswith("norm within 7 %, dip within 8°")


def test_the_weights_of_a_fit_reach_the_intake(near_a_magnet):
    name = next(iter(near_a_magnet.units))
    assert name in untrusted(fit(near_a_magnet).findings)
    assert not untrusted(fit(near_a_magnet, weights=ANYTHING).findings)


def test_a_late_clock_is_set_right_before_axes_and_field_are_looked_at(capture):
    late = list(capture.units)[-1]
    found = examine(_with(capture, late, time=capture.units[late].time + 0.15))
    shift = found.capture.units[late].time - capture.units[late].time
    others = [found.capture.units[n].time - capture.units[n].time for n in capture.units if n != late]
    np.testing.assert_allclose(shift - np.mean([o.mean() for o in others]), 0.0, atol=0.01)
    assert late in {unit for f in found.findings if f.kind.startswith("clock") for unit in f.units}
    assert not [f for f in found.findings if f.kind == "axes-mixed" and f.severity == "serious"]


def test_without_a_body_nothing_is_compared_over_joints(capture):
    found = examine(capture, with_body=False)
    assert found.clocks is None and found.placement is None
    assert examine(capture).clocks is not None


def test_findings_come_worst_first(near_a_magnet):
    late = list(near_a_magnet.units)[-1]
    spoilt = _with(near_a_magnet, late, time=near_a_magnet.units[late].time + 0.15)
    ranks = [RANK[f.severity] for f in examine(spoilt).findings]
    assert len(set(ranks)) > 1 and ranks == sorted(ranks)


def test_an_unknown_word_and_a_unit_without_a_segment_are_refused(capture):
    with pytest.raises(InputError, match="assign: found 'automatic'"):
        examine(capture, assign="automatic")
    name = next(iter(capture.units))
    nowhere = _with(capture, name, segment=None)
    with pytest.raises(CannotReconstructError, match=name):
        examine(nowhere)
    assert examine(nowhere, refuse=False).capture.units[name].segment is None


def test_a_unit_without_a_segment_is_placed_where_its_motion_says(capture):
    name = list(capture.units)[-1]
    placed = examine(_with(capture, name, segment=None), assign="auto").capture
    assert placed.units[name].segment == capture.units[name].segment


@pytest.mark.parametrize("sensor", ["accelerometer", "gyroscope"])
def test_swapped_columns_are_named_before_the_fit(capture, sensor):
    name = "r_forearm_unit"
    swapped = getattr(capture.units[name], sensor)[:, [1, 0, 2]]
    intake = examine(_with(capture, name, **{sensor: swapped}))
    told = [f for f in intake.findings if f.kind == "axes-mixed"]
    assert [f.units for f in told] == [(name,)]
    assert f"give units.{name} {sensor} the columns [y, x, z] of" in told[0].advice
    assert name in intake.doubted and "axes-mixed" not in {f.kind for f in examine(capture).findings}
