"""Captures with fewer units than segments, and how far a fit of them is from the truth.

A person stands in the neutral pose as well as people do, then moves as in a recorded motion. Only the motion
is scored. Headings are counted after one turn of the whole body about the vertical, the same at all times.
"""

from __future__ import annotations

import dataclasses
import time as clock
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from recordings import DATA, TWO
from scipy.spatial.transform import Rotation, Slerp
from scores import Pair
from walking import walk

import bodyfit
from bodyfit.body.chain import BodyModel
from bodyfit.body.motion.chain_from_motion import person_from_legs
from bodyfit.body.motion.joint_angles import joint_angles, wrap
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.parts import Joint
from bodyfit.core.rotations import heading_towards
from bodyfit.estimator.uncertainty.segments import SegmentSureness
from bodyfit.files.motion.motion_file import read_motion
from bodyfit.recording.capture import Calibration, Capture
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate

MOTIONS = {  # what is done -> file
    "jumps": "01_01",
    "climb": "01_05",
    "sit": "01_08",
    "walk": "02_01",
    "walk2": "02_02",
    "run": "02_03",
    "jump": "02_04",
    "bend": "02_06",
    "sword": "02_08",
    "wash": "02_10",
}
LONG_S = 30.0  # s, of "long": strides of the first walk over and over
SIX = ("pelvis", "skull", "l_forearm", "r_forearm", "l_calf", "r_calf")
BOTH = ("l_{}", "r_{}")


def _sides(*parts: str) -> tuple[str, ...]:
    return tuple(side.format(part) for part in parts for side in BOTH)


@dataclass(frozen=True)
class Case:
    """A body model and the segments that carry a unit; all of them where none is named."""

    model: str
    worn: tuple[str, ...] = ()


CASES = {
    "six": Case("whole_body", SIX),
    "ten": Case("whole_body", ("pelvis", "thorax", *_sides("upperarm", "forearm", "thigh", "calf"))),
    "ten_head": Case("whole_body", ("pelvis", "skull", *_sides("upperarm", "forearm", "thigh", "calf"))),
    "ten_feet": Case("whole_body", ("pelvis", "thorax", *_sides("forearm", "thigh", "calf", "hindfoot"))),
    "ten_ends": Case("whole_body", ("pelvis", "skull", *_sides("upperarm", "forearm", "calf", "hindfoot"))),
    "ten_hands": Case("whole_body", ("pelvis", "thorax", *_sides("upperarm", "hand", "thigh", "calf"))),
    "ten_arms": Case("whole_body", ("pelvis", "skull", *_sides("upperarm", "forearm", "hand", "calf"))),
    "all": Case("whole_body"),
    "arm": Case("right_arm", ("thorax", "r_hand")),
    "leg": Case("right_leg", ("pelvis", "r_hindfoot")),
    "calf": Case("right_leg", ("pelvis", "r_thigh", "r_hindfoot")),
}
SENSORS = {"two": TWO, "three": None}

HOLD_S, PASS_S = 3.0, 1.5  # s, of the held pose, and from there into the motion
SLOWS_S, ROOT_SLOWS_S = 0.15, 0.5  # s, over which limbs and body gather the speed that the motion starts with
HELD_DEG = (3.0, 5.0, 3.0)  # how well trunk and legs are held: tilt, heading, tilt
MOUNTING_SD = np.radians(1.5)  # by which the units sit otherwise than the capture says
LOOSE, LOOSE_FACTOR = ("arm", "hand", "foot", "skull"), 2.0  # and what is held less well
BAND = 1.96  # standard deviations either side that hold 95 %
UNKNOWN = np.pi / 2  # rad, standard deviation from which an angle says that it is not known


# ---- motions ----


@cache
def motion(name: str, seed: int = 0) -> PoseSequence:
    """A recorded motion of the whole body, after the held pose; by what is done in it, or by its file.

    "sling:walk": the same with the right arm in a sling; "stiff:walk": with the right knee and ankle stiff.
    """
    odd, _, name = name.rpartition(":")
    file = MOTIONS.get("walk" if name == "long" else name, name)
    recorded = read_motion(DATA / "motions_isb" / f"{file}.parquet")
    if name == "long":
        recorded = walk(recorded, LONG_S, np.random.default_rng(seed))
    return after_neutral(with_oddity(odd, from_hips(recorded)), seed)


# segment -> its parent, and how it is turned against it (deg, of a sequence)
ODDITIES = {
    "": {},
    "sling": {
        "r_upperarm": ("thorax", ("ZXY", (10.0, 5.0, 40.0))),
        "r_forearm": ("r_upperarm", ("ZXY", (90.0, 0.0, 80.0))),
        "r_hand": ("r_forearm", ("ZXY", (0.0, 0.0, 0.0))),
    },
    "stiff": {
        "r_calf": ("r_thigh", ("ZXY", (-5.0, 0.0, 0.0))),
        "r_hindfoot": ("r_calf", ("ZXY", (0.0, 0.0, 0.0))),
    },
}


def with_oddity(name: str, poses: PoseSequence) -> PoseSequence:
    """The motion of someone who holds some segments still against their neighbours all along."""
    rotations = dict(poses.rotations)
    for segment, (parent, (sequence, deg)) in ODDITIES[name].items():
        rotations[segment] = rotations[parent] * Rotation.from_euler(sequence, deg, degrees=True)
    return dataclasses.replace(poses, rotations=rotations)


def from_hips(poses: PoseSequence) -> PoseSequence:
    """The same motion with the pelvis' origin midway between the hip centres, as the body models have it."""
    joints, root = poses.model.joints, poses.model.root
    assert poses.root_position is not None
    middle = np.mean([joints[name].centre_in_parent for name in ("l_hip", "r_hip")], axis=0)
    moved = {
        name: dataclasses.replace(joint, centre_in_parent=np.asarray(joint.centre_in_parent) - middle)
        for name, joint in joints.items()
        if joint.parent == root
    }
    model = dataclasses.replace(poses.model, joints={**joints, **moved})
    position = poses.root_position + poses.rotations[root].apply(middle)
    return dataclasses.replace(poses, model=model, root_position=position)


def after_neutral(recorded: PoseSequence, seed: int) -> PoseSequence:
    """The motion, after a stretch in which its person held the neutral pose as well as people do.

    Times start at zero; the motion itself at HOLD_S + PASS_S.
    """
    rng = np.random.default_rng([seed, 17])
    dt = float(np.median(np.diff(recorded.time)))
    count = round((HOLD_S + PASS_S) / dt)
    back = dt * np.arange(count, 0, -1)  # s before the motion
    share = np.clip(1 - back / PASS_S, 0, 1)
    share = share**3 * (10 - 15 * share + 6 * share**2)
    facing = Rotation.from_euler("Y", _heading(recorded.rotations[recorded.model.root][0]))
    rotations = {
        name: _joined(_led(facing * _held(name, rng), R, back, share, dt), R)
        for name, R in recorded.rotations.items()
    }
    root = np.concatenate([_root_before(recorded, back, share, dt), recorded.root_position])
    start = HOLD_S + PASS_S
    time = np.concatenate([start - back, start + recorded.time - recorded.time[0]])
    return PoseSequence(time, rotations, recorded.model, root)


def _heading(R: Rotation) -> float:
    forward = R.apply([1.0, 0.0, 0.0])
    return float(np.arctan2(-forward[2], forward[0]))


def _held(segment: str, rng: np.random.Generator) -> Rotation:
    """How far a segment is from its place in the neutral pose."""
    sd = np.radians(HELD_DEG) * (LOOSE_FACTOR if segment.endswith(LOOSE) else 1.0)
    return Rotation.from_rotvec(sd * rng.standard_normal(3))


def _led(start: Rotation, R: Rotation, back: np.ndarray, share: np.ndarray, dt: float) -> Rotation:
    """From a rotation at rest into the first of the motion's, arriving with its speed."""
    speed = (R[0].inv() * R[6]).as_rotvec() / (6 * dt)
    before = R[0] * Rotation.from_rotvec(-np.outer(SLOWS_S * (1 - np.exp(-back / SLOWS_S)), speed))
    way = (start.inv() * before).as_rotvec()
    return start * Rotation.from_rotvec(share[:, None] * way)


def _joined(before: Rotation, after: Rotation) -> Rotation:
    return Rotation.concatenate([before, after])


def _root_before(recorded: PoseSequence, back: np.ndarray, share: np.ndarray, dt: float) -> np.ndarray:
    """(n, 3) m: standing on the ground that the motion starts on, then gathering its speed."""
    root, positions = recorded.root_position, recorded.positions
    assert root is not None and positions is not None
    speed = (root[6] - root[0]) / (6 * dt)
    path = root[0] - np.outer(ROOT_SLOWS_S * (1 - np.exp(-back / ROOT_SLOWS_S)), speed)
    feet = [name for name in positions if name.endswith("foot")]
    standing = min(positions[foot][0, 1] for foot in feet) + _leg(recorded.model)
    path[:, 1] = standing + share * (path[:, 1] - standing)
    return path


def _leg(model: BodyModel) -> float:
    """m, from the root's origin down to an ankle in the neutral pose."""
    down = {model.root: 0.0}
    for joint in model.joints.values():
        assert joint.centre_in_parent is not None
        down[joint.child] = down[joint.parent] - joint.centre_in_parent[1]
    return max(value for name, value in down.items() if name.endswith("foot"))


def part_of(poses: PoseSequence, model: BodyModel) -> PoseSequence:
    """The motion of a model's segments, on the true body."""
    assert poses.positions is not None
    segments = {name: poses.model.segments[name] for name in model.segments}
    joints = {name: poses.model.joints[name] for name in model.joints}
    kept = BodyModel(f"true {model.name}", segments, joints)
    rotations = {name: poses.rotations[name] for name in segments}
    return PoseSequence(poses.time, rotations, kept, poses.positions[kept.root])


# ---- captures ----


def made(case: Case, name: str, seed: int = 0, measured: bool = False) -> tuple[Capture, PoseSequence]:
    """The capture of a case's units during a motion, and the truth.

    Of the person only the stature is known, or, `measured`, every joint centre too.
    """
    whole = motion(name, seed)
    person, model = person_from_legs(whole.model), bodyfit.read_model(case.model)
    worn = case.worn or tuple(model.segments)
    still = (Calibration("still", 0.5, HOLD_S - 0.25, "neutral"),)
    out = simulate(
        part_of(whole, model),
        worn,
        SimulationSettings(soft_tissue_sags=True, stated_mounting_sd=MOUNTING_SD),
        seed,
        model=with_centres(model, whole.model) if measured else model,
        person=person,
        calibrations=still,
    )
    return out.capture, out.truth


def with_centres(model: BodyModel, true: BodyModel) -> BodyModel:
    """A model with the joint centres and lengths of the true body."""
    joints = {
        name: dataclasses.replace(joint, centre_in_parent=true.joints[name].centre_in_parent)
        for name, joint in model.joints.items()
    }
    segments = {
        name: dataclasses.replace(segment, length=true.segments[name].length)
        for name, segment in model.segments.items()
    }
    return dataclasses.replace(model, joints=joints, segments=segments)


# ---- scores ----


@dataclass(frozen=True, eq=False)
class Errors:
    """How far each segment is from the truth, at the times that count.

    Attributes
    ----------
    turn : segment -> (T,) rad, angle between found and true, one turn about the vertical taken off
    place : segment -> (T,) m, of its origin against the root's, likewise, as the fit has it
    on_true_body : the same from the found rotations on the true body, so that lengths are right
    offset : rad, that turn
    """

    turn: Mapping[str, np.ndarray]
    place: Mapping[str, np.ndarray]
    on_true_body: Mapping[str, np.ndarray]
    offset: float


@dataclass(frozen=True, eq=False)
class Bands:
    """Errors, (n,) rad, and the standard deviations that were told of them."""

    off: np.ndarray
    sd: np.ndarray

    @property
    def share(self) -> float:
        """Inside the 95 % bands; NaN where there is none."""
        return float(np.mean(np.abs(self.off) < BAND * self.sd)) if len(self.off) else float("nan")

    @property
    def half_deg(self) -> float:
        """Half their width, mean, degrees."""
        return (
            float(np.degrees(np.mean(np.minimum(BAND * self.sd, np.pi)))) if len(self.off) else float("nan")
        )

    @property
    def rms_z(self) -> float:
        """Root mean square of error over standard deviation, of what does not count as unknown."""
        known = self.sd < UNKNOWN
        return (
            float(np.sqrt(np.mean(np.square(self.off[known] / self.sd[known]))))
            if known.any()
            else float("nan")
        )


@dataclass(frozen=True, eq=False)
class Score:
    """One capture fitted.

    Attributes
    ----------
    worn : segments with a unit
    angles, heading, tilt : bands of the joint angles next to a segment without a unit, and of the segments
        without one
    worn_heading, worn_tilt : of the segments with one
    warned : kinds of what the fit warns of, with the units; nothing of that is so in these captures
    seconds : of the processor
    variance : segment -> (T,) rad², of its turn about all three axes, as the fit has it
    """

    errors: Errors
    worn: frozenset[str]
    angles: Bands
    heading: Bands
    tilt: Bands
    worn_heading: Bands
    worn_tilt: Bands
    warned: tuple[str, ...] = ()
    seconds: float = 0.0
    variance: Mapping[str, np.ndarray] = field(default_factory=dict)

    @property
    def expected_deg(self) -> float:
        """What information there is lets expect as root mean square of all segments and times, degrees.

        By the fit's own covariance, so as good as its bands are. NaN where there is none.
        """
        return float(np.degrees(np.sqrt(_mean([*self.variance.values()], False))))

    def turn_deg(self, worn: bool | None = None, squared: bool = False) -> float:
        """Mean or root mean square over segments and times, degrees: of all, of those with a unit or without.

        NaN where there is none.
        """
        chosen = [e for s, e in self.errors.turn.items() if worn is None or (s in self.worn) == worn]
        return float(np.degrees(_mean(chosen, squared)))

    def place_cm(self, true_body: bool = False, squared: bool = False) -> float:
        """Mean or root mean square over all segments but the root, and times, cm."""
        places = self.errors.on_true_body if true_body else self.errors.place
        return 100 * _mean(list(places.values()), squared)


def _mean(values: Sequence[np.ndarray], squared: bool) -> float:
    if not values:
        return float("nan")
    return float(np.sqrt(np.mean(np.square(values))) if squared else np.mean(values))


def true_at(truth: PoseSequence, time: np.ndarray) -> tuple[dict[str, Rotation], dict[str, np.ndarray]]:
    """True rotations, and origins against the root's, at other times."""
    positions, root = truth.positions, truth.model.root
    assert positions is not None
    rotations = {name: Slerp(truth.time, R)(time) for name, R in truth.rotations.items()}
    places = {
        name: np.stack([np.interp(time, truth.time, axis) for axis in (p - positions[root]).T], -1)
        for name, p in positions.items()
    }
    return rotations, places


def counted(truth: PoseSequence, time: np.ndarray) -> np.ndarray:
    """(T,) bool, whether a time lies in the motion itself."""
    return (time >= HOLD_S + PASS_S) & (time <= truth.time[-1]) & (time >= truth.time[0])


def common_heading(found: Mapping[str, Rotation], true: Mapping[str, Rotation]) -> float:
    """The turn about the vertical that, put on the truth, brings it closest to what was found, rad."""
    ours, theirs = (np.concatenate([R[s].as_matrix() for s in found]) for R in (found, true))
    return heading_towards(theirs, ours)


def errors_of(found: PoseSequence, truth: PoseSequence) -> Errors:
    """Errors of a motion at its times within the truth's motion."""
    ok = counted(truth, found.time)
    true, places = true_at(truth, found.time[ok])
    ours = {name: R[ok] for name, R in found.rotations.items()}
    offset = common_heading(ours, true)
    back = Rotation.from_euler("Y", -offset)
    turn = {name: (true[name].inv() * back * ours[name]).magnitude() for name in ours}
    rightly = PoseSequence(found.time, found.rotations, truth.model)
    return Errors(turn, *(_place_errors(p, places, ok, back) for p in (found, rightly)), offset)


def _place_errors(
    found: PoseSequence, true: Mapping[str, np.ndarray], ok: np.ndarray, back: Rotation
) -> dict[str, np.ndarray]:
    positions, root = found.positions, found.model.root
    if positions is None:
        return {}
    return {
        name: np.linalg.norm(back.apply((p - positions[root])[ok]) - true[name], axis=1)
        for name, p in positions.items()
        if name != root
    }


def score(fit: bodyfit.Fit, truth: PoseSequence, worn: Sequence[str], seconds: float = 0.0) -> Score:
    """A fit held against the truth.

    The heading of segments is held against the root's at the first frame, as its bands say; where a field is
    trusted, against north.
    """
    segments = list(fit.poses.model.segments)
    bare = [name for name in segments if name not in worn]
    start = _start_heading(fit, truth)
    return Score(
        errors_of(fit.poses, truth),
        frozenset(worn),
        angle_bands(fit, truth, bare),
        *(_segment_bands(fit, truth, bare, part, start) for part in ("heading", "tilt")),
        *(_segment_bands(fit, truth, list(worn), part, start) for part in ("heading", "tilt")),
        tuple(f"{f.kind} {' '.join(f.units)}" for f in fit.findings if f.severity != "note"),
        seconds,
        {name: turn_variance(sd)[counted(truth, fit.time)] for name, sd in fit.segment_sd.items()},
    )


def turn_variance(sd: SegmentSureness) -> np.ndarray:
    """(T,) rad² about all axes; a heading that is not known at all is anywhere, π / √3."""
    return np.minimum(sd.heading, np.pi / np.sqrt(3)) ** 2 + 2 * sd.inclination**2


def angle_bands(fit: bodyfit.Fit, truth: PoseSequence, bare: Sequence[str]) -> Bands:
    """Of the joint angles next to a segment without a unit."""
    ok = counted(truth, fit.time)
    true, _ = true_at(truth, fit.time[ok])
    off, told = [np.zeros(0)], [np.zeros(0)]
    for joint in fit.poses.model.joints.values():
        sd = (fit.joint_angle_sd or {}).get(joint.name, {})
        if not {joint.parent, joint.child} & set(bare):
            continue
        theirs = joint_angles(joint, (true[joint.parent].inv() * true[joint.child]).as_matrix())
        for angle, spread in sd.items():
            off.append(wrap(fit.joint_angles[joint.name][angle][ok] - theirs[angle]))
            told.append(spread[ok])
    return Bands(np.concatenate(off), np.concatenate(told))


def _start_heading(fit: bodyfit.Fit, truth: PoseSequence) -> float:
    """Heading error that is not counted, rad: the root's at the first frame, or none where north is known."""
    if fit.summary.heading.to_north:
        return 0.0
    first = int(np.argmax(fit.time >= truth.time[0]))
    true, _ = true_at(truth, fit.time[first : first + 1])
    root = fit.poses.model.root
    return float(_heading_error(fit.rotations[root][first : first + 1] * true[root].inv())[0])


def _heading_error(E: Rotation) -> np.ndarray:
    """Of the turn about the vertical that is nearest, rad."""
    q = E.as_quat()
    return wrap(2 * np.arctan2(q[:, 1], q[:, 3]))


def _segment_bands(
    fit: bodyfit.Fit, truth: PoseSequence, names: Sequence[str], part: str, start: float
) -> Bands:
    """Of segments' heading, or of both components of their tilt."""
    ok = counted(truth, fit.time)
    true, _ = true_at(truth, fit.time[ok])
    off, told = [np.zeros(0)], [np.zeros(0)]
    for name in names:
        if name not in fit.segment_sd:
            continue
        E = Rotation.from_euler("Y", -start) * fit.rotations[name][ok] * true[name].inv()
        turned, sd = _parts(E, fit.segment_sd[name], part)
        off.append(turned.ravel())
        told.append(np.repeat(sd[ok], turned.shape[1]))
    return Bands(np.concatenate(off), np.concatenate(told))


def _parts(E: Rotation, sd: SegmentSureness, part: str) -> tuple[np.ndarray, np.ndarray]:
    """(T, 1 or 2) rad of an error, and the standard deviation of each."""
    vector = E.as_rotvec()
    return (vector[:, [1]], sd.heading) if part == "heading" else (vector[:, [0, 2]], sd.inclination)


def run(
    case: Case,
    name: str,
    seed: int = 0,
    sensors: str = "two",
    measured: bool = False,
    usual_postures: bool = True,
) -> Score:
    """One case simulated, fitted and scored."""
    capture, truth = made(case, name, seed, measured)
    before = clock.process_time()
    fit = bodyfit.fit(capture, sensors=SENSORS[sensors], usual_postures=usual_postures)
    seconds = clock.process_time() - before
    return score(fit, truth, [str(unit.segment) for unit in capture.units.values()], seconds)


# ---- what is possible ----

LEVELS = ("lengths", "mean", "neutral", "parent")


def level(kind: str, case: Case, name: str, seed: int = 0) -> Score:
    """Perfect units on a case's segments, and the others put where a plain rule says, on the person's model.

    "lengths": every segment true, so only lengths are wrong. Others: a segment without a unit keeps a
    constant turn against the nearest segments with one; between several it takes their mean. "mean": the true
    mean of that turn over the motion, which nobody knows; "neutral": that of the neutral pose; "parent": that
    of the neutral pose, against the next segment with a unit towards the root.
    """
    capture, truth = made(case, name, seed)
    worn = [str(unit.segment) for unit in capture.units.values()]
    ok = counted(truth, truth.time)
    true = {s: R[ok] for s, R in truth.rotations.items()}
    found = {
        s: true[s] if s in worn or kind == "lengths" else _ruled(kind, s, worn, true, truth.model)
        for s in true
    }
    poses = PoseSequence(truth.time[ok], found, capture.model.scaled(capture.person))
    none = Bands(np.zeros(0), np.zeros(0))
    return Score(errors_of(poses, truth), frozenset(worn), none, none, none, none, none)


def _ruled(
    kind: str, segment: str, worn: Sequence[str], true: Mapping[str, Rotation], model: BodyModel
) -> Rotation:
    """A segment that keeps its turn against the nearest ones with a unit."""
    near = _upwards(segment, worn, model) if kind == "parent" else nearest(segment, worn, model)
    guesses = []
    for other in near:
        turn = (true[other].inv() * true[segment]).mean() if kind == "mean" else Rotation.identity()
        guesses.append((true[other] * turn).as_matrix())
    U, _, Vt = np.linalg.svd(np.mean(guesses, axis=0))
    U[:, :, 2] *= np.sign(np.linalg.det(U @ Vt))[:, None]
    return Rotation.from_matrix(U @ Vt)


def nearest(segment: str, worn: Sequence[str], model: BodyModel) -> list[str]:
    """The segments with a unit that are the fewest joints away."""
    neighbours: dict[str, set[str]] = {name: set() for name in model.segments}
    for joint in model.joints.values():
        neighbours[joint.parent].add(joint.child)
        neighbours[joint.child].add(joint.parent)
    seen, edge = {segment}, {segment}
    while not edge & set(worn):
        edge = set().union(*(neighbours[name] for name in edge)) - seen
        seen |= edge
    return sorted(edge & set(worn))


def _upwards(segment: str, worn: Sequence[str], model: BodyModel) -> list[str]:
    """The next segment with a unit towards the root; without one, the nearest of all."""
    parent = {joint.child: joint.parent for joint in model.joints.values()}
    at: str | None = segment
    while at is not None and at not in worn:
        at = parent.get(at)
    return [at] if at else nearest(segment, worn, model)


# ---- the real chain ----


def pair_bands(fit: bodyfit.Fit, pair: Pair, joint: Joint, lag: float) -> Bands:
    """Of a joint's angles against a reference whose clock is late by `lag`."""
    found, true = pair.matched(lag)
    ours, theirs = (joint_angles(joint, R.as_matrix()) for R in (found, true))
    sd = {a: s[pair.covered(lag)] for a, s in (fit.joint_angle_sd or {}).get(joint.name, {}).items()}
    off = [wrap(ours[a] - theirs[a]) for a in sd]
    return Bands(np.concatenate([np.zeros(0), *off]), np.concatenate([np.zeros(0), *sd.values()]))
