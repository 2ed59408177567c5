"""How constants enter the residuals: derivatives against differences of the residuals' own values."""

import dataclasses

import numpy as np
import pytest
from estimated import estimated
from hinged_chain import chain, swinging

from bodyfit.core.rotations import exp
from bodyfit.estimator.linearise import linearise
from bodyfit.estimator.uncertainty.held_parameters import information_beforehand, with_constants
from bodyfit.recording.keyframe_averages import averages
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate

TURNING = 0.1  # of a derivative: R at a keyframe stands for R averaged about it, while it turns by 0.4 rad


@pytest.fixture(scope="module")
def found():
    settings = SimulationSettings.perfect(sampling_frequency=50.0)
    capture = simulate(swinging(10.0), None, settings, model=chain(known=False)).capture
    out = estimated(capture, sensors={"accelerometer", "gyroscope"})[1]
    return dataclasses.replace(out, body=dataclasses.replace(out.body, elastic=0 * out.body.elastic))


def residuals(found, **changes):
    """Name -> Linearised, at what was found or somewhat beside it."""
    f = dataclasses.replace(found, **changes)
    return {p.name: p for p in linearise(f.problem, f.state, f.body, f.average, f.trust)}


def derivative(found, name, constant):
    """(K', E, m) the derivative of a residual by one constant; zero where it does not enter."""
    f = found
    parts = with_constants(list(residuals(f).values()), f.problem, f.state, f.body, f.average)
    at, J = {p.name: p for p in parts}[name].constants or (np.zeros(0), np.zeros(0))
    return np.sum(J * (at == constant)[None, :, None, :], -1)


def difference(found, name, changed, h):
    """The same by central differences; `changed(h)` gives what is replaced in the estimate."""
    ahead, behind = (residuals(found, **changed(x))[name].value for x in (h, -h))
    return (ahead - behind) / (2 * h)


def close(ours, theirs, share=1e-6):
    """Away from the ends, where averages are one-sided or not known."""
    ours, theirs = ours[3:-3], theirs[3:-3]
    assert np.abs(theirs).max() > 1e-3
    np.testing.assert_allclose(ours, theirs, atol=share * np.abs(theirs).max())


@pytest.mark.parametrize("constant", range(12))
def test_lever_arms(found, constant):
    def changed(h):
        levers = found.body.levers.copy()
        levers.reshape(-1)[constant] += h
        return {"body": dataclasses.replace(found.body, levers=levers)}

    name = "joint-centre agreement"
    close(derivative(found, name, constant), difference(found, name, changed, 1e-3))


ENTERED = [(n, c) for n in ("joint-centre agreement", "gravity") for c in range(9)]
ENTERED += [("velocity gain", c) for c in range(3)]  # only the root's velocity is an unknown


@pytest.mark.parametrize(("name", "component"), ENTERED)
def test_constant_errors_of_accelerometers(found, name, component):
    """An error e is taken off the reading: f − e, in the unit's frame."""
    unit, axis = divmod(component, 3)
    problem, state = found.problem, found.state
    assert list(problem.moving) == [0]

    def changed(h):
        force = problem.signals.specific_force.copy()
        force[:, unit, axis] -= h
        signals = dataclasses.replace(problem.signals, specific_force=force)
        return {"average": averages(signals, problem.turns, state.R)}

    ours = derivative(found, name, 12 + component)
    close(ours, difference(found, name, changed, 1e-2), TURNING)


@pytest.mark.parametrize("end", [0, 1])
@pytest.mark.parametrize("axis", range(3))
def test_hinge_axes(found, end, axis):
    """Either direction turns by Exp(a), a in its unit's frame; along the axis itself nothing changes."""
    assert list(found.body.axes) == [1]

    def changed(h):
        directions = found.body.axes[1].directions.copy()
        directions[end] = exp(h * np.eye(3)[axis]) @ directions[end]
        turned = dataclasses.replace(found.body.axes[1], directions=directions)
        return {"body": dataclasses.replace(found.body, axes={1: turned})}

    ours = derivative(found, "hinge axis", 21 + 3 * end + axis)
    theirs = difference(found, "hinge axis", changed, 1e-4)
    np.testing.assert_allclose(ours, theirs, atol=1e-6)
    along = found.body.axes[1].directions[end]
    assert np.abs(theirs).max() > 0.1 or abs(along[axis]) > 0.9


def test_only_accelerometers_are_allowed_for_and_not_found(found):
    information, allowed = information_beforehand(found.problem, found.body)
    assert information.shape == (27, 27)
    assert list(np.flatnonzero(allowed)) == list(range(12, 21))
    given = found.problem.weights.accelerometer_constant
    np.testing.assert_allclose(np.diag(information)[allowed], 1 / given**2)
    assert not information[np.ix_(allowed, ~allowed)].any()


def test_other_residuals_have_none(found):
    f = found
    parts = with_constants(list(residuals(f).values()), f.problem, f.state, f.body, f.average)
    entered = {p.name for p in parts if p.constants is not None}
    assert entered == {"joint-centre agreement", "gravity", "velocity gain", "hinge axis"}
