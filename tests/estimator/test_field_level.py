"""Who is wrong, the field or the joint: disagreements divided by variances, and fits in a disturbed field."""
# pyright: reportCallIssue=false, reportArgumentType=false

from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.optimize import minimize

import bodyfit
from bodyfit.alignment.joint_centre import Ends
from bodyfit.calibration.magnetic.field_gate import FieldTrust
from bodyfit.estimator.problem.unknowns import State
from bodyfit.estimator.updates.field_level import admitted, divided
from bodyfit.recording.keyframe_averages import Averages
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate
from bodyfit.weights import Weights
from tests.scripted_motion import person, swung

GAP = 28  # keyframe after the pause, of 40
CHAIN = np.array([[0, 1], [1, 2], [2, 3]])
TWO = {"accelerometer", "gyroscope"}


def test_a_disturbed_field_gives_way_to_sure_joints():
    """One field of four, which strays by 15° in norm and dip, is 40° off; joints are known to 2°."""
    off, prior = np.radians([0.0, 40.0, 0.0, 0.0]), np.radians([2.0, 15.0, 2.0, 2.0]) ** 2
    body, level = divided(off, prior, CHAIN, np.full(3, np.radians(2.0) ** 2))
    assert np.degrees(np.abs(body)).max() < 1.0
    assert np.degrees(level[1]) == pytest.approx(np.hypot(15, 40), abs=1.5)
    assert np.degrees(level[[0, 2, 3]]).max() < 2.5


def test_a_joint_gives_way_to_two_clean_fields():
    """Both fields beyond a joint say 15°, and are as clean as a field can be."""
    off, prior = np.radians([0.0, 0.0, 15.0, 15.0]), np.radians([2.0, 2.0, 2.0, 2.0]) ** 2
    body, level = divided(off, prior, CHAIN, np.full(3, np.radians(2.0) ** 2))
    assert np.degrees(body[2] - body[1]) > 12.0
    assert np.degrees(level).max() < 4.0


def test_a_unit_without_magnetometer_goes_with_its_neighbours():
    off, prior = np.radians([5.0, 0.0, 5.0, 5.0]), np.array([1e-3, np.inf, 1e-3, 1e-3])
    body, level = divided(off, prior, CHAIN, np.full(3, 1e-3))
    np.testing.assert_allclose(np.degrees(body), 5.0, atol=0.01)
    assert np.isinf(level[1]) and np.isfinite(level[[0, 2, 3]]).all()


def test_division_is_the_least_of_its_own_cost():
    """The same by scipy's general minimiser: variances a₀ + c² and b₀ + Δx², at which x is stationary.

    x at fixed variances is the minimum of Σ c²/a + Σ Δx²/b; at the end it has to be its own argument.
    """
    rng = np.random.default_rng(3)
    off, a0, b0 = rng.normal(0, 0.1, 4), rng.uniform(0.002, 0.01, 4), rng.uniform(0.002, 0.01, 3)
    body, level = divided(off, a0, CHAIN, b0)
    a, b = level**2, b0 + np.diff(body) ** 2
    found = minimize(lambda x: np.sum((off - x) ** 2 / a) + np.sum(np.diff(x) ** 2 / b), body, tol=1e-12)
    np.testing.assert_allclose(body, found.x, atol=1e-3)


@cache
def made(iron: float):
    """A person whose arm swings; on each unit hard iron of `iron` T along each axis (standard deviation)."""
    poses = swung(person("right_arm"), 12.0)
    settings = SimulationSettings(magnetometer_bias_sd=iron, soft_tissue_deg_per_g=0.5)
    return simulate(poses, None, settings, seed=4)


def worst_joint(iron: float, **options) -> float:
    """Largest root mean square error of a joint, degrees."""
    m = made(iron)
    fit, model = bodyfit.fit(m.capture, **options), m.truth.model
    out = []
    for j in model.joints.values():
        found = fit.rotations[j.parent].inv() * fit.rotations[j.child]
        true = m.truth.rotations[j.parent].inv() * m.truth.rotations[j.child]
        at = np.searchsorted(m.truth.time, np.clip(fit.time, m.truth.time[0], m.truth.time[-1]))
        angle = (true[np.clip(at, 0, len(true) - 1)].inv() * found).magnitude()
        out.append(np.degrees(np.sqrt(np.mean(angle**2))))
    return max(out)


@pytest.mark.parametrize("iron", [0.0, 6e-6, 20e-6])
def test_hard_iron_does_not_make_a_body_worse_than_without_magnetometers(iron):
    """By more than 0.05°; counted like a clean field, hard iron of 6 µT makes it worse by 0.15°."""
    assert worst_joint(iron) < worst_joint(iron, sensors=TWO) + 0.05


def two_stretches(iron_deg: float):
    """Two units of one joint before and after a pause; in each both see north elsewhere, alike but for iron.

    The second unit's field after the pause is `iron_deg` off, and half again as strong.
    """
    keys, gap = 40, GAP
    m = np.zeros((keys, 2, 3))
    for at, heading in ((slice(0, gap), [0.3, 0.3]), (slice(gap, keys), [-1.0, -1.0 + np.radians(iron_deg)])):
        m[at, :, 0], m[at, :, 2] = 0.5 * np.cos(heading), -0.5 * np.sin(heading)
    m[..., 1] = -np.sqrt(0.75)
    if iron_deg:
        m[gap:, 1] *= 1.5
    lost = np.zeros((keys - 1, 2), bool)
    lost[gap - 2 : gap] = True
    yes, full = np.ones((keys, 2), bool), np.ones(2, bool)
    sensors = dict.fromkeys(("accelerometer", "gyroscope", "magnetometer"), full)
    problem = SimpleNamespace(
        signals=SimpleNamespace(lost=lost, key_step=0.125, has=sensors, units=["a", "b"]),
        ties=[SimpleNamespace(parent=0, child=1)],
        weights=Weights(),
        levelled=full,
        field_norm=np.full(2, np.nan),
        moving=np.array([0]),
        placed=np.zeros(0, int),
        alike=lambda seconds: max(1.0, seconds / 0.125),
    )
    zeros = np.zeros((keys, 1, 3))
    state = State(np.tile(np.eye(3), (keys, 2, 1, 1)), np.zeros((keys, 2, 3)), zeros, zeros[:, :0])
    force = 5.0 * np.ones((keys, 2, 3))  # the joint is shaken: it shows headings well
    average = Averages(force, np.zeros((keys, 2, 3, 3)), m, yes, yes)
    body = SimpleNamespace(
        ends=Ends(np.array([[0, 1]])), levers=np.zeros((1, 2, 3)), joint_sd=np.array([0.2])
    )
    trust = FieldTrust(yes, full, np.radians(60.0), {}, np.zeros((keys, 2)), np.zeros(keys))
    return admitted(problem, state, body, average, trust)


def test_each_stretch_is_turned_to_north_by_itself():
    state, average, trust = two_stretches(iron_deg=0.0)
    heading = np.arctan2(-average.field[..., 2], average.field[..., 0])
    np.testing.assert_allclose(heading, 0.0, atol=1e-6)
    turned = np.arctan2(state.R[..., 0, 2], state.R[..., 0, 0])
    np.testing.assert_allclose(turned[:GAP], -0.3, atol=1e-6)
    np.testing.assert_allclose(turned[GAP:], 1.0, atol=1e-6)
    np.testing.assert_allclose(trust.lasting, 0.125 * np.repeat([GAP, 40 - GAP], [GAP, 40 - GAP]))


def test_iron_after_a_pause_is_not_held_against_the_field_before_it():
    _, _, trust = two_stretches(iron_deg=40.0)
    level = np.degrees(trust.level)
    assert level[:GAP].max() < 5.0
    assert level[GAP:, 1].min() > 30.0
