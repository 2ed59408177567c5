"""Three segments that swing from each other: a ball joint, then a hinge about Z."""

import numpy as np
from scipy.spatial.transform import Rotation

from bodyfit.body.chain import BodyModel
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.parts import Joint, Segment

PLACE = {"centre_in_parent": np.array([0.0, -0.4, 0.0]), "centre_in_child": np.zeros(3)}
AXIS = np.array([0.0, 0.0, 1.0])


def chain(known: bool) -> BodyModel:
    """The model, with its lengths and axis or with nothing but the tree and the types."""
    place = PLACE if known else {}
    hinge = Joint("bc", "b", "c", "hinge", axis=AXIS if known else None, **place)
    segments = {n: Segment(n, length=0.4 if known else None) for n in "abc"}
    return BodyModel("hinged_chain", segments, {"ab": Joint("ab", "a", "b", **place), "bc": hinge})


def swinging(seconds: float, size: float = 1.0, rate: float = 50.0, moving=None) -> PoseSequence:
    """Sums of sines between 0.2 and 0.6 Hz; `moving` (T,) fades them."""
    time, rng = np.arange(0.0, seconds, 1 / rate), np.random.default_rng(5)
    fade = 1.0 if moving is None else moving(time)

    def wave(most: float) -> np.ndarray:
        f, phase = rng.uniform(0.2, 0.6, 2), rng.uniform(0, 2 * np.pi, 2)
        return size * most * fade * np.sin(2 * np.pi * np.outer(time, f) + phase).mean(1)

    def turned() -> Rotation:
        return Rotation.from_euler("ZXY", np.stack([wave(s) for s in (0.9, 0.6, 0.6)], -1))

    a = turned()
    b = a * turned()
    c = b * Rotation.from_rotvec(wave(1.4)[:, None] * AXIS)
    sway = np.stack([wave(0.15), wave(0.05), wave(0.15)], -1)
    return PoseSequence(time, {"a": a, "b": b, "c": c}, chain(known=True), sway)
