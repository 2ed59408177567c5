"""A foot without a unit: when it stands, and that its sole is level then."""

# pyright: reportArgumentType=false

import dataclasses

import numpy as np
from scipy.spatial.transform import Rotation
from scripted_motion import person

import bodyfit
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.estimator.updates import joint_geometry
from bodyfit.estimator.updates.standing import climbed, hanging
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate

RATE, STANDS_S, HANGS_S = 100.0, 8.0, 8.0
AWAY_DEG = -40.0  # toes down, of the foot that hangs


def bent(degrees):
    """Turns about the axis to the right, which bend forward where it is a thigh."""
    return Rotation.from_rotvec(np.radians(degrees)[:, None] * [0.0, 0.0, 1.0])


def legs(lying: bool = False) -> PoseSequence:
    """A right leg whose calf leans to and fro over a foot that stands, then swings with the foot hanging.

    Lying: the same, the whole leg turned onto its back.
    """
    model = person("right_leg")
    time = np.arange(0.0, STANDS_S + HANGS_S, 1 / RATE)
    later = 1 / (1 + np.exp(-8 * (time - STANDS_S)))  # 0 while standing, 1 after
    lean = 12.0 * np.sin(2 * np.pi * 0.35 * time) - 10.0
    swing = 25.0 * np.sin(2 * np.pi * 0.9 * time)
    calf = bent((1 - later) * lean + later * swing)
    thigh = calf * bent(20.0 + 8.0 * np.sin(2 * np.pi * 0.5 * time))
    foot = bent(later * AWAY_DEG)
    pelvis = Rotation.from_euler("YZ", np.stack([6 * np.sin(0.9 * time), 3 * np.sin(time)], -1), degrees=True)
    turn = {"pelvis": pelvis, "r_thigh": thigh, "r_calf": calf, "r_hindfoot": foot}
    hip, knee, ankle = (model.joints[f"r_{name}"].centre_in_parent for name in ("hip", "knee", "talocrural"))
    hanging = pelvis.apply(hip) + thigh.apply(knee) + calf.apply(ankle)
    held = np.array([0.0, 0.1, 0.0]) - hanging  # the ankle stays where it is
    root = held + later[:, None] * (np.array([0.0, 0.25, 0.0]) - 0.9 * (held - held[int(STANDS_S * RATE)]))
    over = Rotation.from_euler("Z", 90.0 if lying else 0.0, degrees=True)
    return PoseSequence(time, {name: over * R for name, R in turn.items()}, model, over.apply(root))


def capture_of(poses):
    worn = ("pelvis", "r_thigh", "r_calf")
    return simulate(poses, worn, SimulationSettings.perfect(), 0).capture


def stood(monkeypatch, capture, **asked):
    """The fit, and when it took the foot for standing."""
    seen, real = [], joint_geometry.standing

    def kept(*given):
        seen.append(real(*given))
        return seen[-1]

    monkeypatch.setattr(joint_geometry, "standing", kept)
    return bodyfit.fit(capture, sensors={"accelerometer", "gyroscope"}, **asked), seen[-1]


def tilt_deg(fit, start, end):
    """How far the vertical of the foot is from the world's, mean of some seconds, degrees."""
    at = (fit.time > start) & (fit.time < end)
    return np.degrees(np.arccos(fit.rotations["r_hindfoot"][at].as_matrix()[:, 1, 1])).mean()


def test_a_standing_foot_is_level_and_a_swinging_one_free(monkeypatch):
    capture = capture_of(legs())
    on, standing = stood(monkeypatch, capture)
    time = np.linspace(on.time[0], on.time[-1], len(standing))
    assert standing[(time > 0.5) & (time < STANDS_S - 1), 0].all()
    assert standing[time > STANDS_S + 1, 0].mean() < 0.05
    off, without = stood(monkeypatch, capture, usual_postures=False)
    assert not without.size
    assert tilt_deg(on, 0.5, STANDS_S - 1) < 5.0 < tilt_deg(off, 0.5, STANDS_S - 1)
    sd = [np.mean(fit.joint_angle_sd["r_talocrural"]["dorsiflexion"][: int(4 * RATE)]) for fit in (on, off)]
    assert sd[0] < 0.8 * sd[1]


def test_in_someone_who_lies_no_foot_stands(monkeypatch):
    _, standing = stood(monkeypatch, capture_of(legs(lying=True)))
    assert standing.shape[1] == 1 and not standing.any()


def test_a_joint_left_out_of_the_usual_postures_takes_the_floor_along(monkeypatch):
    capture = capture_of(legs())
    model = capture.model.without_usual_postures(["r_talocrural"])
    _, standing = stood(monkeypatch, dataclasses.replace(capture, model=model))
    assert not standing.size


def lifts(*heights: float, step: float = 0.1, bias: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """When an ankle is still, and its upward acceleration: rests of 1 s, and 1 s to each next height."""
    t = np.arange(0.0, 1.0, step)
    ways = [high * 2 * np.pi * np.sin(2 * np.pi * t) for high in np.diff(heights)]  # h (t − sin 2πt / 2π)
    rest = np.zeros(len(t))
    upward = np.concatenate([rest, *(part for way in ways for part in (way, rest))])
    still = np.concatenate([rest == 0, *(part for _ in ways for part in (rest > 0, rest == 0))])
    return still, upward + bias


def test_heights_come_back_though_the_accelerometer_is_off():
    still, upward = lifts(0.0, 0.3, 0.3, 0.1, bias=0.05)  # 0.05 m/s² over 7 s would be 1.2 m
    height = climbed(still[:, None], upward[:, None], 0.1)[:, 0]
    middles = [height[i] for i in (5, 25, 45, 65)]
    np.testing.assert_allclose(middles, [0.0, 0.3, 0.3, 0.1], atol=0.02)


def test_of_two_still_feet_the_higher_hangs_until_it_is_down():
    left, right = lifts(0.0, 0.25, 0.25, 0.0), lifts(0.0, 0.0, 0.0, 0.0)
    still, upward = (np.stack(pair, -1) for pair in zip(left, right, strict=True))
    out = hanging(still, climbed(still, upward, 0.1))
    assert not out[:, 1].any()
    assert not out[:10, 0].any() and not out[60:, 0].any()
    assert out[still[:, 0] & (np.arange(len(out)) > 19) & (np.arange(len(out)) < 50), 0].all()


def test_small_errors_of_many_steps_do_not_add_up():
    rising = lifts(*(0.03 * k for k in range(12))), lifts(*[0.0] * 12)  # 3 cm off at each step, 33 cm in all
    still, upward = (np.stack(pair, -1) for pair in zip(*rising, strict=True))
    assert not hanging(still, climbed(still, upward, 0.1)).any()


def one_leg_raised() -> PoseSequence:
    """Standing on both legs, then the left thigh is raised by 60° and held, its calf upright throughout."""
    model, time = person("lower_body"), np.arange(0.0, 7.0, 1 / RATE)
    raised = bent(60.0 / (1 + np.exp(-8 * (time - 2.5))))
    sway = bent(1.5 * np.sin(2 * np.pi * 0.4 * time))
    turn = {
        name: raised if name == "l_thigh" else sway * bent(n + np.sin(time + n))
        for n, name in enumerate(model.segments)
    }
    level = {name: bent(0.0 * time) for name in model.segments if name.endswith("foot")}
    down = [model.joints[f"r_{name}"] for name in ("hip", "knee", "talocrural")]
    standing = sum(turn[joint.parent].apply(joint.centre_in_parent) for joint in down)
    return PoseSequence(time, turn | level, model, np.array([0.0, 0.1, 0.0]) - standing)


def test_a_foot_that_hangs_still_is_not_taken_for_standing(monkeypatch):
    worn = ("pelvis", "l_calf", "r_calf")
    capture = simulate(one_leg_raised(), worn, SimulationSettings.perfect(), 0).capture
    fit, standing = stood(monkeypatch, capture)
    time = np.linspace(fit.time[0], fit.time[-1], len(standing))
    feet = [joint.child for joint in capture.model.joints.values() if joint.child.endswith("hindfoot")]
    left, right = (standing[:, feet.index(f"{side}_hindfoot")] for side in "lr")
    assert left[time < 1.8].all() and right[time < 6.0].all()
    assert not left[(time > 3.5) & (time < 6.0)].any()
