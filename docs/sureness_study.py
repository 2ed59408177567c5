"""Whether joint angles are as sure as they say, how near they come to the bound, and what saying so costs.

`python docs/sureness_study.py` simulates 200 captures and fits the real recordings; a number after it takes
fewer captures. Printed: the share of joint angles inside their 95 % bands, the mean normalised error squared
eᵀ Σ⁻¹ e (three degrees of freedom, one time and one joint a capture, so that draws are independent), error
over the Cramér–Rao bound where the noise is what the weights say, and the time of fits with and without.
"""

from __future__ import annotations

import dataclasses
import math
import sys
import time as clock
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from unittest import mock

import numpy as np
import pandas as pd
import recordings
from mounting_honesty import bounds
from recordings import DATA, TWO
from scipy.spatial.transform import Rotation, Slerp
from scores import Pair, best_lag, ends_removed
from simulated import free_body, motion

import bodyfit
from bodyfit.body.motion.joint_angles import joint_angles, wrap
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.parts import Joint
from bodyfit.core.rotations import apply, log
from bodyfit.estimator.problem.estimate import Estimate
from bodyfit.estimator.uncertainty.joint_angles import relative_covariance
from bodyfit.files.motion.motion_file import read_motion
from bodyfit.fitting import accuracy
from bodyfit.recording.keyframe_averages import HALF_WINDOW_S
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import Simulated, simulate
from bodyfit.weights import Weights

BAND = 1.96  # standard deviations either side that hold 95 %
LONGEST_S = 20.0  # s, of one capture
SOFTEST = 3.0  # degrees per g; 5/3 mm per degree go with it, as in the default settings


@dataclass(frozen=True)
class Case:
    """One simulated capture.

    Attributes
    ----------
    inside : joint -> angle -> share of the frames inside the band
    parts : (3,) share inside of the rotation vector's components in the parent's segment frame
    squared : normalised error squared at one time and joint
    wide : share of angles that count as wholly unknown (next to gimbal lock, or nothing shows the heading)
    """

    motion: str
    softness: float
    inside: Mapping[str, Mapping[str, float]]
    parts: np.ndarray
    squared: float
    wide: float

    @property
    def share(self) -> float:
        """Inside, over all angles."""
        return float(np.mean([s for angles in self.inside.values() for s in angles.values()]))


# ---- simulated captures ----


def made(seed: int, weights: Weights) -> tuple[str, float, Simulated]:
    """A capture of a motion at a random softness; the mountings stated are off as the weights say."""
    rng = np.random.default_rng([seed, 41])
    paths = sorted(motion("x").parent.glob("*.parquet"))
    path, softness = paths[seed % len(paths)], rng.uniform(0.0, SOFTEST)
    settings = SimulationSettings(soft_tissue_deg_per_g=softness, soft_tissue_mm_per_g=5 / 3 * softness)
    poses = cut(read_motion(path), rng)
    out = simulate(poses, None, settings, seed, model=free_body(poses.model))
    return path.stem, softness, misstated(out, rng, weights.mounting)


def cut(poses: PoseSequence, rng: np.random.Generator) -> PoseSequence:
    """At most 20 s of a motion, from a random time."""
    length = poses.time[-1] - poses.time[0]
    start = poses.time[0] + rng.uniform(0.0, max(0.0, length - LONGEST_S))
    kept = (poses.time >= start) & (poses.time <= start + LONGEST_S)
    rotations = {name: R[kept] for name, R in poses.rotations.items()}
    return PoseSequence(poses.time[kept] - start, rotations, poses.model, poses.root_position[kept])


def misstated(made: Simulated, rng: np.random.Generator, sd: float) -> Simulated:
    """The capture with every stated mounting turned about a random axis."""
    units = {}
    for name, unit in made.capture.units.items():
        off = Rotation.from_rotvec(sd * rng.standard_normal(3))
        units[name] = dataclasses.replace(unit, mounting=(off * made.units[name].mounting).as_quat())
    return dataclasses.replace(made, capture=dataclasses.replace(made.capture, units=units))


def solved(capture, **options) -> tuple[bodyfit.Fit, Estimate, np.ndarray]:
    """A fit, what the smoother found in it, and the covariance of each joint's rotation at the keyframes."""
    kept: list[tuple[Estimate, np.ndarray]] = []

    def keep(found: Estimate) -> np.ndarray:
        kept.append((found, relative_covariance(found)))
        return kept[-1][1]

    with mock.patch.object(accuracy, "relative_covariance", keep):
        fit = bodyfit.fit(capture, **options)
    return fit, *kept[-1]


def case(seed: int, weights: Weights) -> Case:
    """One capture fitted without magnetometer, and held against its truth."""
    name, softness, simulated = made(seed, weights)
    fit, found, covariance = solved(simulated.capture, sensors=TWO, weights=weights)
    inside, wide, parts, squared = {}, [], [], []
    for i, tie in enumerate(found.problem.ties):
        joint, true = tie.joint, simulated.truth
        pair = pair_of(fit, joint, true.time, true.rotations)
        shares = within(fit, pair, joint)
        inside[joint.name] = {angle: float(held.mean()) for angle, held in shares.items()}
        wide.append(np.mean([sd > 3.0 for sd in fit.joint_angle_sd[joint.name].values()]))
        off, S = errors_at_keyframes(pair, found, covariance[:, i])
        sd = np.sqrt(np.diagonal(S, axis1=1, axis2=2))
        parts.append((np.abs(off) < BAND * sd).mean(0))
        squared.append(np.einsum("ki,ki->k", off, np.linalg.solve(S, off[..., None])[..., 0]))
    rng = np.random.default_rng([seed, 43])
    one = squared[rng.integers(len(squared))]
    return Case(name, softness, inside, np.mean(parts, 0), float(rng.choice(one)), float(np.mean(wide)))


def pair_of(fit: bodyfit.Fit, joint: Joint, time: np.ndarray, true: Mapping[str, Rotation]) -> Pair:
    """Found and true rotation of a joint."""
    found = fit.rotations[joint.parent].inv() * fit.rotations[joint.child]
    return Pair(fit.time, found, time, true[joint.parent].inv() * true[joint.child])


def within(fit: bodyfit.Fit, pair: Pair, joint: Joint, lag: float = 0.0, nearest=None) -> dict:
    """Angle -> (k,) bool, whether the truth lies in the band, at the times that the reference covers."""
    found, true = pair.matched(lag)
    if nearest is not None:
        true = nearest(found, true)
    assert fit.joint_angle_sd is not None
    ours, theirs = (joint_angles(joint, R.as_matrix()) for R in (found, true))
    sd = {a: s[pair.covered(lag)] for a, s in fit.joint_angle_sd[joint.name].items()}
    return {a: np.abs(wrap(ours[a] - theirs[a])) < BAND * sd[a] for a in sd}


def errors_at_keyframes(pair: Pair, found: Estimate, S: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(k, 3) rotation vector from the truth to what was found, parent's segment frame; its covariance."""
    at = found.problem.signals.key_time
    ends = max(pair.time[0], pair.true_time[0]), min(pair.time[-1], pair.true_time[-1])
    ok = (at >= ends[0]) & (at <= ends[1])
    ours, theirs = Slerp(pair.time, pair.found)(at[ok]), Slerp(pair.true_time, pair.true)(at[ok])
    return (ours * theirs.inv()).as_rotvec(), S[ok]


def coverage(count: int, weights: Weights) -> list[Case]:
    """All simulated captures; prints what they show."""
    cases = [case(seed, weights) for seed in range(count)]
    print(
        f"{count} simulated captures, mountings stated with an error of {math.degrees(weights.mounting):g}°"
    )
    shares = np.array([c.share for c in cases])
    print(f"  joint angles inside ±{BAND} SD: {100 * shares.mean():.1f} % (of all frames, joints, captures)")
    low, high = np.percentile(shares, [5, 95])
    print(f"  captures, 5th to 95th percentile: {100 * low:.1f} to {100 * high:.1f} %")
    print(
        "  wholly unknown (gimbal lock, or a heading that nothing shows):",
        f"{100 * np.mean([c.wide for c in cases]):.2f} %",
    )
    squared = np.array([c.squared for c in cases])
    low, high = bounds(count)
    print(f"  normalised error squared: {squared.mean():.2f}; 95 % bounds {low:.2f} to {high:.2f}; ", end="")
    print(f"median {np.median(squared):.2f} (of chi square: 2.37)")
    parts = np.mean([c.parts for c in cases], 0)
    print("  rotation vector in the parent frame, X, Y, Z inside:", *(f"{100 * p:.1f}" for p in parts), "%")
    table = pd.DataFrame([(c.motion, min(int(c.softness), 2), c.share, c.squared) for c in cases])
    for column, label in ((0, "motion"), (1, "degrees per g, from")):
        groups = table.groupby(column)[[2, 3]].mean()
        text = ", ".join(f"{k}: {100 * r[2]:.1f} % ({r[3]:.1f})" for k, r in groups.iterrows())
        print(f"  by {label}: {text}")
    for joint in cases[0].inside:
        angles = {a: np.mean([c.inside[joint][a] for c in cases]) for a in cases[0].inside[joint]}
        print(f"    {joint}: " + ", ".join(f"{a} {100 * s:.1f}" for a, s in angles.items()))
    return cases


# ---- real recordings ----


def recorded() -> None:
    """Prints the share inside the bands of the real recordings, the reference's clock set right."""
    print("real recordings, angles inside the 95 % bands")
    for name in ("chain_rigid", "chain_soft"):
        for label, sensors in (("with magnetometers", None), ("without", TWO)):
            fit = recordings.fitted(name, sensors)
            pairs = recordings.chain_pairs_of(name, fit)
            _say(f"{name} {label}", fit, pairs)
            _say(f"{name} {label}, constant turns at either end removed", fit, pairs, ends_removed)
    for name in recordings.names("pendulum"):
        fit = recordings.fitted(name, TWO)
        _say(
            f"{name}, constant turns removed", fit, recordings.pendulum_pairs(name, sensors=TWO), ends_removed
        )
    for name in recordings.names("robot"):
        fit = recordings.fitted(name, TWO)
        _say(f"{name}, constant turns removed", fit, recordings.robot_pairs(name, sensors=TWO), ends_removed)
    knee()


def _say(label: str, fit: bodyfit.Fit, pairs: list[Pair], nearest=None) -> None:
    lag, joints = best_lag(pairs), list(fit.poses.model.joints.values())
    shares = [within(fit, pair, joint, lag, nearest) for pair, joint in zip(pairs, joints, strict=True)]
    share = [np.mean([held.mean() for held in angles.values()]) for angles in shares]
    by_joint = ", ".join(f"{j.name} {100 * s:.1f}" for j, s in zip(joints, share, strict=True))
    print(f"  {label}: {100 * np.mean(share):.1f} % ({by_joint}; lag {1000 * lag:.0f} ms)")


def knee() -> None:
    """Prints the same for the knee; the reference's zero is another, so offsets are taken out."""
    fit, lag = recordings.fitted("knee_landing"), recordings.knee_lag()
    table = pd.read_csv(DATA / "knee_landing" / "reference_knee.csv")
    assert fit.joint_angle_sd is not None
    out = {}
    for angle, (column, sign) in recordings.KNEE.items():
        true = np.interp(fit.time + lag, table.time_s, sign * table[column], left=np.nan, right=np.nan)
        error = np.unwrap(fit.joint_angles["l_knee"][angle]) - np.radians(true)
        ok = np.isfinite(error)
        sd = fit.joint_angle_sd["l_knee"][angle]
        out[angle] = np.mean(np.abs(error - error[ok].mean())[ok] < BAND * sd[ok])
    text = ", ".join(f"{a} {100 * s:.1f}" for a, s in out.items())
    print(f"  knee_landing, offsets removed: {100 * np.mean(list(out.values())):.1f} % ({text})")


# ---- efficiency ----

BENIGN = SimulationSettings.perfect(
    gyroscope_noise_density=math.radians(0.1),
    gyroscope_bias_sd=math.radians(0.3),
    accelerometer_noise_density=0.02,
    accelerometer_bias_sd=0.03,
)
ALIKE_S = HALF_WINDOW_S / 0.75  # s over which white noise is alike after the averages' Hann window
MATCHED = Weights(
    gyroscope=math.radians(0.1),
    gyroscope_scale=0.0,
    bias_at_start=math.radians(0.3),
    bias_walk=math.radians(0.001),
    joint_least=0.002,
    joint_s=ALIKE_S,
    accelerometer_constant=0.03,
)


def efficiency(settings: SimulationSettings, weights: Weights) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Squared error and variance of inclination and heading between units, over all joints, by motion."""
    for path in sorted(motion("x").parent.glob("*.parquet")):
        poses = read_motion(path)
        simulated = simulate(poses, None, settings, 0, model=free_body(poses.model))
        _, found, _ = solved(simulated.capture, sensors=TWO, weights=weights)
        error, variance = between_units(simulated, found)
        halves = [np.mean(x[..., [0, 2]]) for x in (error**2, variance)]
        yield np.array(halves), np.array([np.mean(x[..., 1]) for x in (error**2, variance)])


def between_units(made: Simulated, found: Estimate) -> tuple[np.ndarray, np.ndarray]:
    """(k, J, 3) error of a child unit against its parent's, world frame, and what the smoother says of it."""
    at = found.problem.signals.key_time
    ok = (at >= made.truth.time[0]) & (at <= made.truth.time[-1])
    names = [name for name in found.problem.signals.units]
    true = [Slerp(made.truth.time, made.units[name].rotation)(at[ok]) for name in names]
    errors = []
    for tie in found.problem.ties:
        P, C = (found.state.R[ok][:, unit] for unit in (tie.parent, tie.child))
        relative = (true[tie.parent].inv() * true[tie.child]).as_matrix()
        errors.append(apply(P, log(np.swapaxes(P, -1, -2) @ C @ np.swapaxes(relative, -1, -2))))
    return np.stack(errors, 1), np.diagonal(found.relative[ok], axis1=-2, axis2=-1)


def print_efficiency() -> None:
    """Prints error over bound: the bound is the smoother's covariance where it ended."""
    print("error over the bound, root mean squares over motions, joints, times")
    for rate in (100.0, 200.0):
        for constant in (0.03, 0.0):
            settings = dataclasses.replace(BENIGN, sampling_frequency=rate, accelerometer_bias_sd=constant)
            weights = dataclasses.replace(MATCHED, accelerometer_constant=max(constant, 1e-5))
            label = f"{rate:.0f} Hz, accelerometers constantly off by {constant} m/s²"
            _print_ratios(label, np.array(list(efficiency(settings, weights))))


def _print_ratios(label: str, found: np.ndarray) -> None:
    """Of (motion, part, error and variance)."""
    by_motion = np.sqrt(found[..., 0] / found[..., 1])
    for p, part in enumerate(("inclination", "heading")):
        e, s = np.degrees(np.sqrt(found[:, p].mean(0)))
        print(f"  {label}, {part}: {e:.3f}° over {s:.3f}°, {e / s:.2f}; by motion {by_motion[:, p].round(2)}")


# ---- cost ----


def nothing(problem, state, body, average, parts) -> tuple[np.ndarray, np.ndarray]:
    """In place of `how_sure`."""
    K, U = state.R.shape[:2]
    return np.zeros((K, U, 3, 3)), np.broadcast_to(np.eye(3), (K, len(problem.ties), 3, 3))


def cost(name: str = "01_01", rounds: int = 3) -> None:
    """Prints how long fits take with covariance and without, least of a few."""
    from bodyfit.estimator import estimate

    poses = read_motion(motion(name))
    capture = simulate(poses, None, SimulationSettings(), 0, model=free_body(poses.model)).capture
    times: dict[str, list[float]] = {"with": [], "without": []}
    for _ in range(rounds):
        times["with"].append(seconds(partial(bodyfit.fit, capture, sensors=TWO)))
        with mock.patch.object(estimate, "how_sure", nothing):
            times["without"].append(seconds(partial(bodyfit.fit, capture, sensors=TWO)))
    with_, without = min(times["with"]), min(times["without"])
    length = poses.time[-1] - poses.time[0]
    print(
        f"cost, 15 units, {length:.0f} s: {with_:.1f} s with, {without:.1f} s without, {with_ / without:.2f}"
    )


def seconds(run) -> float:
    """How long something takes."""
    before = clock.perf_counter()
    run()
    return clock.perf_counter() - before


def main(count: int = 200) -> None:
    """Prints everything."""
    coverage(count, Weights())
    recorded()
    print_efficiency()
    cost()


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
