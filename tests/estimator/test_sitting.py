"""Thighs without a unit on a seat: legs stay as they are, not drawn to how people stand and walk."""

# pyright: reportArgumentType=false

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from scripted_motion import person

import bodyfit
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.estimator.updates import joint_geometry, sitting
from bodyfit.recording.capture import Calibration
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate

RATE, SITS_S, SAT_S, SECONDS = 100.0, 6.0, 8.0, 18.0  # down within the two seconds between SITS_S and SAT_S
RIGID = SimulationSettings(soft_tissue_deg_per_g=0.0, soft_tissue_mm_per_g=0.0)
DEEP_DEG = 85.0  # of the thighs on the seat


def bench(deep: float = DEEP_DEG) -> PoseSequence:
    """Stands, sways to and fro over its feet, goes down to a seat, stays there."""
    model, time = person("lower_body"), np.arange(0.0, SECONDS, 1 / RATE)
    share = np.clip((time - SITS_S) / (SAT_S - SITS_S), 0, 1)
    down = share**3 * (10 - 15 * share + 6 * share**2)
    sway = np.clip((time - 3.5) / 0.5, 0, 1) * (time < SITS_S) * np.sin(np.pi * (time - 4.0)) ** 2

    def bent(degrees):
        return Rotation.from_rotvec(np.radians(degrees)[:, None] * [0.0, 0.0, 1.0])

    thigh, calf, pelvis = (
        bent(deep * down + 25 * sway),
        bent(-8 * down - 20 * sway),
        bent(-15 * down + 4 * sway),
    )
    turn = {"pelvis": pelvis}
    for side in "lr":
        turn |= {f"{side}_thigh": thigh, f"{side}_calf": calf, f"{side}_hindfoot": bent(0 * time)}
    centre = {name: model.joints[f"r_{name}"].centre_in_parent for name in ("hip", "knee", "talocrural")}
    reach = pelvis.apply(centre["hip"]) + thigh.apply(centre["knee"]) + calf.apply(centre["talocrural"])
    return PoseSequence(time, turn, model, np.array([0.0, 0.1, 0.0]) - reach * [1.0, 1.0, 0.0])


@pytest.fixture(scope="module")
def sat():
    worn = ("pelvis", "l_calf", "r_calf", "l_hindfoot", "r_hindfoot")
    still = (Calibration("still", 0.5, 3.0, "neutral"),)
    return simulate(bench(), worn, RIGID, 0, calibrations=still)


def fitted(monkeypatch, capture):
    """The fit, and when it took hips and knees for seated."""
    seen, real = [], joint_geometry.seated

    def kept(*given):
        seen.append(real(*given))
        return seen[-1]

    monkeypatch.setattr(joint_geometry, "seated", kept)
    return bodyfit.fit(capture, sensors={"accelerometer", "gyroscope"}), seen[-1]


def test_knees_of_who_sits_stay_bent(monkeypatch, sat):
    fit, seated = fitted(monkeypatch, sat.capture)
    time = np.linspace(fit.time[0], fit.time[-1], len(seated))
    assert seated[time > SAT_S + 1].all(1).mean() > 0.9 and not seated[time < SITS_S + 0.5].any()
    late = fit.time > SECONDS - 3
    knees = [fit.joint_angles[f"{side}_knee"]["flexion"][late].mean() for side in "lr"]
    monkeypatch.setattr(sitting, "RESTS", 0.0)
    without, none = fitted(monkeypatch, sat.capture)
    assert not none.any()
    drawn = [without.joint_angles[f"{side}_knee"]["flexion"][late].mean() for side in "lr"]
    true = np.radians(DEEP_DEG + 8.0)
    assert np.abs(np.subtract(knees, true)).max() < np.radians(25.0)
    assert np.abs(np.subtract(drawn, true)).min() > np.radians(
        55.0
    )  # the usual knee, of who stands and walks


def test_a_unit_rests_where_it_turns_little_for_a_while():
    step, time = 0.05, np.arange(0.0, 10.0, 0.05)
    turned = np.where(
        time < 5.0, 0.05 * np.sin(3 * time), 0.6 * np.sin(3 * time)
    )  # 0.15, then 1.8 rad/s at most
    R = Rotation.from_rotvec(turned[:, None] * [1.0, 0.0, 0.0]).as_matrix()[:, None]
    rests = sitting.at_rest(R, step)
    assert rests[(time > 0.5) & (time < 4.5)].all()
    assert rests[time > 5.5].mean() < 0.1
    moving = np.concatenate([R, np.roll(R, 100, axis=0)], axis=1)  # the other one rests when this one turns
    assert sitting.at_rest(moving, step)[1:].mean() < 0.2
