"""How far a pose that was held askew turns a joint's third angle: a mounting is tilted for good by it."""

from __future__ import annotations

import numpy as np

from ...core.rotations import as_complex
from .pieces import Pieces

# cosine of a bend beyond which a swing turns a twist no more: towards half a turn the twist is not defined;
# chosen; not tried: limbs seldom bend by more than 120°
FARTHEST = -0.5


def third_askew(
    pieces: Pieces, up: tuple[np.ndarray, np.ndarray], pull: np.ndarray, tilt: np.ndarray, cardan: bool
) -> np.ndarray:
    """Mean square in each piece of what tilted mountings turn the third angle, or the twist, by.

    Parameters
    ----------
    pieces : S of them, over n keyframes
    up : (n, 3) of parent and child, length axis of the segment in the world, each unit's own heading
    pull : (S,) complex, see `arms.Arms`: its argument is the heading of the child against the parent
    tilt : (2,) rad, of both mountings about each horizontal axis
    cardan : whether the joint has Cardan angles Z-X-Y; else swing and twist

    Returns
    -------
    (S,) rad²

    Notes
    -----
    R = Rz(a) Rx(b) Ry(c) with exp(e_p) before it: dc = −e_px sin a / cos b, and a child's tilt turns c by
    tan b, next to nothing where the second angle is small: σ_p sin θ, θ between both lengths. In a swing by θ
    and a twist about the length, dt = e · (y + R y) / (1 + cos θ), of the child alike: σ tan(θ/2) each. So a
    forearm's pronation is turned by all of the upper arm's tilt when the elbow is at a right angle, and a
    straight leg's rotation by nothing.
    """
    parent, child = up
    turned = np.exp(1j * np.angle(pull))[pieces.of] * as_complex(child)
    cosine = parent[:, 1] * child[:, 1] + np.real(as_complex(parent).conj() * turned)
    cosine = np.clip(cosine, FARTHEST, 1.0)
    share = tilt[0] ** 2 * (1 - cosine**2) if cardan else (tilt @ tilt) * (1 - cosine) / (1 + cosine)
    return pieces.sums(share) / pieces.count
