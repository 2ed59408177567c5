"""How joint angles lie and change in the recorded motions, beside their published ranges; prints a table.

    python docs/posture_study.py

By joint angle, left and right taken together (right signs): the range and stiffness of the model; mean and SD
over the motions, each counted alike; SD of the means of motions, and within motions; the time after which the
correlation within a motion falls below 1/e; root mean square change within 0.1 s and 1 s. Then the same of
the rotation vector between neighbours, which no gimbal disturbs. Last, of the walks in a published band of
children's and adolescents' gait, mean and SD over the cycle.

These are for judging a prior of posture. Nothing is set on them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import few_units as few
import numpy as np
import pandas as pd
from recordings import DATA
from tables import table

from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.motion.smooth_curves import smooth_motion
from bodyfit.body.parts import Joint
from bodyfit.files.model.model_file import read_model
from bodyfit.files.motion.motion_file import read_motion

RATE = 50.0  # Hz
LONGEST_S = 8.0  # s, up to which correlations are followed
LONG_S = 10.0  # s, from which a motion counts for them
STEPS_S = (0.1, 1.0)
HEADINGS = (
    "angle",
    "range °",
    "stiffness °",
    "mean °",
    "SD °",
    "SD of means °",
    "SD within °",
    "1/e s",
    "change in 0.1 s °",
    "in 1 s °",
)
GAIT = {  # published band -> joint angle
    ("HipAngles", "X"): "hip flexion",
    ("HipAngles", "Y"): "hip adduction",
    ("HipAngles", "Z"): "hip internal_rotation",
    ("KneeAngles", "X"): "knee flexion",
    ("AnkleAngles", "X"): "talocrural dorsiflexion",
}


def motions() -> dict[str, PoseSequence]:
    """All recorded motions, evenly sampled, without the noise of markers."""
    out = {}
    for name, file in few.MOTIONS.items():
        poses = read_motion(DATA / "motions_isb" / f"{file}.parquet")
        smooth = smooth_motion(poses, 6.0)
        out[name] = smooth.poses(np.arange(smooth.start, smooth.end, 1 / RATE))
    return out


def by_angle(there: Mapping[str, PoseSequence]) -> dict[str, list[np.ndarray]]:
    """Joint angle -> (T,) degrees of each motion and side."""
    out: dict[str, list[np.ndarray]] = {}
    for poses in there.values():
        for name, joint in poses.model.joints.items():
            for angle in joint.angles:
                values = np.degrees(np.unwrap(poses.joint_angles[name][angle]))
                out.setdefault(f"{plain(name)} {angle}", []).append(values)
    return out


def by_vector(there: Mapping[str, PoseSequence]) -> dict[str, list[np.ndarray]]:
    """The same of the rotation vector between neighbours, parent frame; left sides mirrored."""
    out: dict[str, list[np.ndarray]] = {}
    for poses in there.values():
        for name, joint in poses.model.joints.items():
            vector = np.degrees(
                (poses.rotations[joint.parent].inv() * poses.rotations[joint.child]).as_rotvec()
            )
            vector = vector * (-1, -1, 1) if name.startswith("l_") else vector
            for axis in range(3):
                out.setdefault(f"{plain(name)} {'XYZ'[axis]}", []).append(vector[:, axis])
    return out


def plain(name: str) -> str:
    """Without the side."""
    return name.removeprefix("l_").removeprefix("r_")


def figures(series: Sequence[np.ndarray]) -> list[float]:
    """Mean, SD, SD of means, SD within, correlation time, change in steps; motions counted alike."""
    means = np.array([x.mean() for x in series])
    within = np.sqrt(np.mean([x.var() for x in series]))
    changes = []
    for step in STEPS_S:
        n = round(step * RATE)
        changes.append(np.sqrt(np.mean([np.mean((x[n:] - x[:-n]) ** 2) for x in series])))
    return [
        means.mean(),
        np.hypot(within, means.std()),
        means.std(),
        within,
        correlation_time(series),
        *changes,
    ]


def correlation_time(series: Sequence[np.ndarray]) -> float:
    """Lag at which the correlation within long motions falls below 1/e, s; infinite where it does not."""
    count = round(LONGEST_S * RATE)
    total = np.zeros(count)
    for x in series:
        x = x - x.mean()
        if len(x) >= LONG_S * RATE:
            total += [np.mean(x[: len(x) - lag] * x[lag:]) for lag in range(count)]
    below = np.flatnonzero(total < total[0] / np.e)
    return below[0] / RATE if len(below) else np.inf


def row(name: str, series: Sequence[np.ndarray], joint: Joint | None = None) -> list[str]:
    """Cells of one angle."""
    angle = name.split(" ")[1]
    limits = joint.range.get(angle) if joint else None
    stiff = joint.stiffness.get(angle) if joint else None
    known = "–" if limits is None else " to ".join(f"{np.degrees(x):.0f}" for x in limits)
    mean, sd, of_means, within, lasts, *changes = figures(series)
    degrees = [f"{x:.0f}" for x in (mean, sd, of_means, within)]
    return [
        name,
        known,
        "–" if stiff is None else f"{np.degrees(stiff):.0f}",
        *degrees,
        f"{lasts:.1f}",
        *(f"{x:.1f}" for x in changes),
    ]


def gait() -> list[list[str]]:
    """Published gait: mean over the cycle, SD over the cycle, half the published band."""
    bands = pd.read_csv(DATA.parent / "references" / "gait_norms_schwartz2008.csv")
    rows = []
    for (quantity, axis), name in GAIT.items():
        own = bands[(bands.quantity == quantity) & (bands.axis == axis) & (bands.speed == "Free")]
        middle = 0.5 * (own.lower + own.upper)
        rows.append(
            [name, *(f"{x:.0f}" for x in (middle.mean(), middle.std(), 0.5 * (own.upper - own.lower).mean()))]
        )
    return rows


def main() -> None:
    """Prints the tables."""
    there, model = motions(), read_model("whole_body")
    joints = {plain(name): joint for name, joint in model.joints.items()}
    print(table(HEADINGS, [row(n, s, joints[n.split(" ")[0]]) for n, s in by_angle(there).items()]))
    print(table(HEADINGS, [row(n, s) for n, s in by_vector(there).items()]))
    print(table(["published gait, free speed", "mean °", "SD over the cycle °", "half the band °"], gait()))


if __name__ == "__main__":
    main()
