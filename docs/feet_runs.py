"""Running feet for `feet_study.py`: one recorded stride of a runner's foot, over and over, between standing.

The recorded foot never quite stands, as markers and rigid segments have it; here the ball of the foot does,
while it is within 2 cm of the ground, and the way between is led over. What units would have measured of that
is simulated.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from recordings import DATA
from scipy.ndimage import gaussian_filter1d
from scipy.spatial.transform import Rotation

from bodyfit.body.chain import BodyModel
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.motion.root_trajectory import SOLE
from bodyfit.body.parts import Segment
from bodyfit.files.motion.motion_file import read_motion
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import Simulated, simulate

RUNS = ("02_03", *(f"09_0{number}" for number in range(1, 9)))  # all of motions_isb over 2.5 m/s on average
FEET = ("l_hindfoot", "r_hindfoot")
STRIDE_S = (0.5, 0.95)  # s, of a runner's stride
LOW_M = 0.02  # m above its lowest, within which the ball stands
SLOW_M_S = 0.5  # m/s, of the ball at its slowest
SMOOTH_S = 0.008  # s, so that nothing has kinks
CLOSING = (0.3, 0.7)  # shares of the stride between which what its ends differ by is led over


def recorded_stride(motion: PoseSequence, foot: str) -> tuple[Rotation, np.ndarray, np.ndarray] | None:
    """A stride from mid-stance to mid-stance: rotations (n + 1), the ball's places, its place in the foot.

    None where the recording has no whole one.
    """
    length = motion.model.segments[foot].length
    assert length is not None and motion.positions is not None
    ball, turned = SOLE[1] * length, motion.rotations[foot]
    place = motion.positions[foot] + turned.apply(ball)
    speed = np.linalg.norm(np.gradient(place, motion.time, axis=0), axis=1)
    step = float(np.median(np.diff(motion.time)))
    around = round(0.5 * STRIDE_S[0] / step)
    calm = [
        k
        for k in range(1, len(speed) - 1)
        if speed[k] < SLOW_M_S and speed[k] == speed[max(0, k - around) : k + around + 1].min()
    ]
    if len(calm) < 2 or not STRIDE_S[0] < (calm[1] - calm[0]) * step < STRIDE_S[1]:
        return None
    return turned[calm[0] : calm[1] + 1], place[calm[0] : calm[1] + 1], ball


def standing(turned: Rotation, place: np.ndarray, held: bool) -> tuple[Rotation, np.ndarray]:
    """The stride so that its end goes over into its beginning; if `held`, the ball stands while it is low."""
    n = len(place) - 1
    share = np.clip((np.arange(n + 1) / n - CLOSING[0]) / (CLOSING[1] - CLOSING[0]), 0, 1)
    lead = (share**2 * (3 - 2 * share))[:, None]
    turned = turned * Rotation.from_rotvec(lead * (turned[-1].inv() * turned[0]).as_rotvec())
    place = place - lead * (place[-1] - place[0]) * [0, 1, 0]
    if not held:
        return turned, place
    low = place[:, 1] < place[0, 1] + LOW_M
    first, last = int(np.argmax(~low)), n - int(np.argmax(~low[::-1]))  # the swing
    off = np.zeros_like(place)
    off[:first], off[last + 1 :] = place[0] - place[:first], place[-1] - place[last + 1 :]
    flown = np.linspace(0, 1, last - first + 3)
    u = (flown**2 * (3 - 2 * flown))[:, None]
    off[first - 1 : last + 2] = (1 - u) * off[first - 1] + u * off[last + 1]
    return turned, place + off


def run(motion: PoseSequence, foot: str, count: int, rest_s: float, held: bool) -> PoseSequence | None:
    """`count` strides of one foot, standing before and after; None where no stride was recorded."""
    found = recorded_stride(motion, foot)
    if found is None:
        return None
    turned, place = standing(*found[:2], held)
    step, n = float(np.median(np.diff(motion.time))), len(place) - 1
    ahead = (place[-1] - place[0]) * [1, 0, 1]
    line = np.arange(count * n + 1)[:, None] / n * ahead
    q = np.concatenate([turned.as_quat()[:-1]] * count + [turned.as_quat()[:1]])
    beside = np.concatenate([place[:-1] - line[:n]] * count + [place[:1]])
    along = gaussian_filter1d(beside, SMOOTH_S / step, axis=0, mode="wrap") + line
    rest = max(1, round(rest_s / step))
    q, along = (np.concatenate([x[:1].repeat(rest, 0), x, x[-1:].repeat(rest, 0)]) for x in (q, along))
    R = Rotation.from_quat(q)
    model = BodyModel("foot", {"hindfoot": Segment("hindfoot")}, {})
    return PoseSequence(step * np.arange(len(q)), {"hindfoot": R}, model, along - R.apply(found[2]))


def simulated_runs(
    count: int = 20, rest_s: float = 1.0, tissue: float = 0.0, held: bool = True
) -> Iterator[tuple[str, Simulated]]:
    """Every runner's foot of which a whole stride was recorded; `tissue` in °/g and mm/g."""
    for name in RUNS:
        motion = read_motion(DATA / "motions_isb" / f"{name}.parquet")
        for foot in FEET:
            poses = run(motion, foot, count, rest_s, held)
            if poses is not None:
                settings = SimulationSettings(
                    sampling_frequency=200.0,
                    motion_cutoff=None,
                    soft_tissue_deg_per_g=tissue,
                    soft_tissue_mm_per_g=tissue,
                )
                yield f"{name} {foot}", simulate(poses, None, settings)
