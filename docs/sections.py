"""The tables of validation.md, one function each."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence

import numpy as np
import recordings as real
import simulated as sim
from recordings import TWO
from scores import Pair, best_lag, ends_removed, frames_renamed, over_pairs
from tables import mean_and_parts, numbers, table

import bodyfit
from bodyfit.body.chain import BodyModel
from bodyfit.recording.capture import Capture
from bodyfit.weights import Weights

CHAINS = {"chain_rigid": "rigid mounting", "chain_soft": "foam mounting"}
SENSORS: dict[str, frozenset[str] | None] = {"accelerometer + gyroscope": TWO, "all sensors": None}
DEMOS = ("cello_arm", "steel_stairs", "parcel_lift")
MAIN_WEIGHTS = ("gyroscope", "joint_least", "joint_s", "hinge_s", "elastic_common", "field")
WALK = "01_05"  # motion that the weights are judged by too
BY_JOINT = {
    "soft_pair": "pair by itself",
    "free": "free",
    "scaled": "scaled",
    "free_worn": "free, as worn",
    "scaled_worn": "scaled, as worn",
}  # part of a simulated trial -> what it is called

Row = Sequence[str]


def mean(values) -> float:
    """Mean of numbers, as a float."""
    return float(np.mean(list(values)))


# ---- chain ----


def three_ways(pairs: Sequence[Pair]) -> tuple[list[float], list[float], list[float], float]:
    """Errors as they are, clock offset removed, mounting removed too; and the offset, s."""
    lag = best_lag(pairs)
    return over_pairs(pairs), over_pairs(pairs, lag), over_pairs(pairs, lag, ends_removed), lag


def chain_methods(name: str) -> dict[str, list[Pair]]:
    """What each method makes of a chain."""
    out = {f"with the body, {words}": real.chain_fitted(name, sensors=s) for words, s in SENSORS.items()}
    out |= {f"alone, {words}": real.chain_fitted(name, sensors=s, alone=True) for words, s in SENSORS.items()}
    out["vqf, accelerometer + gyroscope"] = real.chain_filtered(name, magnetometer=False)
    return out | {"vqf, all sensors": real.chain_filtered(name, magnetometer=True)}


def chain_row(words: str, pairs: Sequence[Pair]) -> Row:
    """One method."""
    as_is, clock, mounting, lag = three_ways(pairs)
    return [words, *map(mean_and_parts, (as_is, clock, mounting)), f"{1000 * lag:+.1f} ms"]


def chains() -> str:
    """Tables of both chains."""
    headings = ["", "as it is", "clock offset removed", "mounting removed too", "offset"]
    parts = []
    for name, words in CHAINS.items():
        rows = [chain_row(*one) for one in chain_methods(name).items()]
        parts.append(f"### `{name}`, {words}\n\n{table(headings, rows)}")
    return "\n\n".join(parts)


# ---- what each layer buys ----


def layer_choices(name: str) -> dict[str, tuple[Capture, dict]]:
    """Words -> a chain's capture, and options of the fit, from nothing known to all that is known."""
    chain = real.capture(name)
    stiff = dataclasses.replace(Weights(), elastic_common=1e-9, elastic_own=1e-9)
    joints, two = chain.model.joints, {"sensors": TWO}
    balls = {n: dataclasses.replace(joint, type="ball", axis=None) for n, joint in joints.items()}
    unknown = {n: dataclasses.replace(joint, axis=None) for n, joint in joints.items()}

    def with_joints(changed: Mapping) -> Capture:
        return dataclasses.replace(chain, model=BodyModel(chain.model.name, chain.model.segments, changed))

    return {
        "each unit alone": (chain, {**two, "alone": True}),
        "segments hang together (ball joints)": (with_joints(balls), two),
        "three of the joints are hinges, axes found from the motion": (
            with_joints(unknown),
            {**two, "weights": stiff},
        ),
        "their axes are declared": (chain, {**two, "weights": stiff}),
        "units may sit softly": (chain, two),
        "disturbed magnetometers used too": (chain, {}),
    }


def layers() -> str:
    """Table of what each part of the body model adds."""
    by_chain = [layer_choices(name) for name in CHAINS]
    rows = []
    for words in by_chain[0]:
        rigid, soft = (
            three_ways(real.chain_pairs_of(name, bodyfit.fit(choices[words][0], **choices[words][1])))
            for name, choices in zip(CHAINS, by_chain, strict=True)
        )
        rows.append([words, *numbers(map(mean, (rigid[1], soft[1], soft[2])))])
    headings = ["", "rigid mounting", "foam mounting", "foam, constant mounting error removed"]
    return table(headings, rows)


# ---- one unit ----


def single_rows() -> dict[str, list[float]]:
    """Recording -> total, heading, inclination with all sensors; inclination without; the same by vqf."""
    out = {}
    for name in real.names("single_"):
        ours = [*real.single_fitted(name), real.single_fitted(name, sensors=TWO)[2]]
        theirs = [*real.single_filtered(name, True), real.single_filtered(name, False)[2]]
        out[name] = [*ours, *theirs]
    return out


def singles() -> str:
    """Table of the single units."""
    rows = single_rows()
    rows["**mean**"] = list(np.mean(list(rows.values()), axis=0))
    words = ["total", "heading", "inclination", "inclination, acc + gyro"]
    headings = ["recording", *words, *(f"vqf: {word}" for word in words)]
    return table(headings, [[name, *numbers(values)] for name, values in rows.items()])


# ---- knee ----


def knee_row(words: str, sensors: frozenset[str] | None) -> Row:
    """Errors at no and at the best clock offset."""
    lag = real.knee_lag(sensors=sensors)
    at = [*real.knee_errors(0.0, sensors=sensors), *real.knee_errors(lag, sensors=sensors)]
    return [words, *numbers(at), f"{1000 * lag:+.1f} ms"]


def knee() -> str:
    """Table of the knee."""
    angles = ["flexion", "adduction", "rotation"]
    headings = ["", *angles, *(f"{angle}, clock offset removed" for angle in angles), "offset"]
    return table(headings, [knee_row(*one) for one in SENSORS.items()])


# ---- pendulums and robot arms ----


def rig_rows(pairs_of, names: Sequence[str], magnetometer: bool) -> list[Row]:
    """Every recording with the body and alone."""
    choices = {
        "with the body, acc + gyro": {"sensors": TWO},
        "alone, acc + gyro": {"sensors": TWO, "alone": True},
    }
    if magnetometer:
        choices |= {"with the body, all sensors": {}}
    rows = []
    for name in names:
        for words, options in choices.items():
            pairs = pairs_of(name, **options)
            ways = (over_pairs(pairs, 0.0, change) for change in (None, frames_renamed, ends_removed))
            rows.append([f"`{name}`", words, *map(mean_and_parts, ways)])
    return rows


def rigs() -> str:
    """Table of pendulums and robot arms."""
    headings = ["recording", "", "as it is", "axes renamed", "mounting removed"]
    rows = rig_rows(real.pendulum_pairs, real.names("pendulum_"), magnetometer=True)
    return table(headings, rows + rig_rows(real.robot_pairs, real.names("robot_arm_"), magnetometer=False))


# ---- whole body, simulated ----


def over_joints(trial: sim.Trial) -> list[float]:
    """Means over 14 joints: soft tissue by itself, free body, scaled body, both again as worn."""
    return [mean(getattr(trial, part).values()) for part in BY_JOINT]


def motion_row(name: str, by_softness: Sequence[Sequence[sim.Trial]]) -> Row:
    """One motion, mean over the seeds."""
    out, seconds = [], 0.0
    for trials in by_softness:
        own = [trial for trial in trials if trial.motion == name]
        seconds = own[0].seconds
        out += [mean(trial.soft_turn for trial in own), *np.mean([over_joints(t) for t in own], axis=0)]
    return [f"`{name}`", f"{seconds:.1f}", *numbers(out)]


def motion_means(by_softness: Sequence[Sequence[sim.Trial]]) -> list[float]:
    """Means over motions and seeds, in the order of the columns."""
    out = []
    for trials in by_softness:
        turn = mean(trial.soft_turn for trial in trials)
        out += [turn, *np.mean([over_joints(t) for t in trials], axis=0)]
    return out


def motions(by_softness: Sequence[Sequence[sim.Trial]]) -> str:
    """Table by motion."""
    words = ("unit on bone", *BY_JOINT.values())
    headings = ["motion", "s", *(f"{s:g}°/g: {word}" for s in sim.SOFTNESS for word in words)]
    names = sorted({trial.motion for trial in by_softness[0]})
    rows = [motion_row(name, by_softness) for name in names]
    return table(headings, [*rows, ["**mean**", "", *numbers(motion_means(by_softness))]])


def motions_by_joint(by_softness: Sequence[Sequence[sim.Trial]]) -> str:
    """Table by joint."""
    headings = ["joint", *(f"{s:g}°/g: {word}" for s in sim.SOFTNESS for word in BY_JOINT.values())]
    rows = []
    for joint in by_softness[0][0].free:
        parts = [
            [mean(getattr(t, part)[joint] for t in trials) for part in BY_JOINT] for trials in by_softness
        ]
        rows.append([joint, *numbers(np.ravel(parts))])
    return table(headings, rows)


# ---- demo captures ----


def demo_row(name: str, words: str, options: Mapping) -> Row:
    """One demo capture, one choice of sensors."""
    pairs = sim.demo_pairs(name, **options)
    as_is, removed = (over_pairs(list(pairs.values()), 0.0, c) for c in (None, ends_removed))
    worst = int(np.argmax(as_is))
    return [
        f"`{name}`",
        words,
        *numbers([mean(as_is), as_is[worst]]),
        list(pairs)[worst],
        *numbers([mean(removed), max(removed)]),
    ]


def demos() -> str:
    """Table of the demo captures."""
    choices: dict[str, dict] = {f"with the body, {words}": {"sensors": s} for words, s in SENSORS.items()}
    choices["alone, all sensors"] = {"alone": True}
    headings = ["capture", "", "mean", "worst", "joint", "mounting removed: mean", "worst"]
    return table(headings, [demo_row(n, *choice) for n in DEMOS for choice in choices.items()])


# ---- weights ----


def five_figures(weights: Weights | None = None) -> list[float]:
    """What the weights are judged by: two chains, the knee, single units, and fifteen simulated ones."""
    rigid, soft = (three_ways(real.chain_fitted(n, sensors=TWO, weights=weights)) for n in CHAINS)
    knee_flexion = real.knee_errors(0.0, sensors=TWO, weights=weights)[0]
    total = mean(real.single_fitted(name, weights=weights)[0] for name in real.names("single_"))
    body = mean(sim.free_errors(sim.motion(WALK), weights).values())
    return [mean(rigid[1]), mean(soft[2]), knee_flexion, total, body]


def weights_table() -> str:
    """Halved and doubled weights."""
    rows = [["as they are", *numbers(five_figures())]]
    for name in MAIN_WEIGHTS:
        for factor, words in ((0.5, "halved"), (2.0, "doubled")):
            changed = dataclasses.replace(Weights(), **{name: factor * getattr(Weights(), name)})
            rows.append([f"`{name}` {words}", *numbers(five_figures(changed))])
    headings = ["", "`chain_rigid`", "`chain_soft`", "knee flexion", "`single_*` total", f"motion `{WALK}`"]
    return table(headings, rows)
