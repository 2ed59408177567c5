"""The motion nearest to a given one while joint angles stay within bounds."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from ....errors import CannotReconstructError
from .bounded_step import bounded_step, padded
from .free_chain import LONGEST_STEP, Bounds, Chain, Charts, charts_at, deviation, moved, within

# s; a deviation of 1 rad weighs as much as one that changes by 1 rad within this time; chosen; not tried
SETTLING_S = 0.1
SETTLED = 6  # settling times after which a correction is over: exp(−6) of it is left; by reasoning
# frames × coordinates solved at once; more where that is too short for corrections to settle; chosen; not
# tried
WINDOW = 2304
# rad, largest step; each is about a fifth of the last; by reasoning: 6e-4° is below the digits of a table
CONVERGED = 1e-5
MOST_ITERATIONS = 50  # by reasoning: seven suffice at that pace


def settling_frames(time: np.ndarray) -> int:
    """Number of frames within which a correction has died out.

    Parameters
    ----------
    time : (T,) s

    Returns
    -------
    frames, 0 for a single one
    """
    return int(np.ceil(SETTLED * SETTLING_S / np.median(np.diff(time)) - 1e-6)) if len(time) > 1 else 0


def nearest_within(
    chain: Chain,
    bounds: Mapping[str, Bounds],
    matrices: Mapping[str, np.ndarray],
    time: np.ndarray,
    held: tuple[bool, bool],
    tell: Callable[[int], None] = lambda frames: None,
) -> np.ndarray:
    """The motion within the bounds whose segments turn least from the given one, and most evenly.

    Parameters
    ----------
    chain : L segments that may move
    bounds : joint name -> bounds; joints left out are free
    matrices : segment -> (T, 3, 3) world_from_segment, of the chain and of the parent of its top
    time : (T,) s
    held : whether the first and the last frame stay as given
    tell : called with the number of frames that are solved

    Returns
    -------
    (T, L, 3, 3) parent_from_child, exactly within the bounds at every frame that is not held

    Raises
    ------
    CannotReconstructError
        The solver failed, or its steps did not die out.

    Notes
    -----
    With Dₜ = R R_givenᵀ of each segment: Σₜ ½ |Dₜ − 1|² + Σₜ ½ |Dₜ₊₁ − Dₜ|² (τ/Δt)², summed over segments, is
    made least; ½ |D − 1|² = 4 sin²(φ/2) ≈ φ² for a deviation by φ rad, and τ is `SETTLING_S`. So the segments
    at both ends of a joint share a correction, others stay, and it comes and goes like exp(−|t|/τ). Gauss and
    Newton's iterations in joint coordinates, of which each obeys the bounds. What is longer than a window is
    solved in several: each goes on from the last, which had looked ahead until corrections settle.
    """
    base, given_local, given = _given(chain, matrices)
    rest = np.tile(_REST, len(chain.segments))
    ahead = settling_frames(time)
    size = padded(max(WINDOW // (3 * len(chain.segments)), 3 * ahead))
    start, stop = int(held[0]), len(time) - int(held[1])
    local = given_local.copy()
    while start < stop:
        end = min(start + size, stop)
        now, last = slice(start, end), slice(start - 1, start)
        k = np.concatenate([[0.0], SETTLING_S / np.diff(time), [0.0]])[start : end + 1]
        before = deviation(chain, base[last], local[last], local[last], given[last])[0][0] if start else rest
        window = _Window(chain, bounds, base[now], given[now], k, before, rest)
        local[now] = window.solved(within(chain, bounds, given_local[now]))
        start = stop if end == stop else end - ahead
        tell(start - int(held[0]))
    return local


# D of a segment that stays as given; by definition: |D|² is half the squared Frobenius norm
_REST = np.eye(3).ravel() / np.sqrt(2)


def _given(chain: Chain, matrices: Mapping[str, np.ndarray]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(T, 3, 3) of the top's parent, (T, L, 3, 3) of joints and of segments."""
    world = np.stack([matrices[name] for name in chain.segments], 1)
    top = chain.joints[0]
    base = np.broadcast_to(np.eye(3), world[:, 0].shape) if top is None else matrices[top.parent]
    above = np.stack([base if parent < 0 else world[:, parent] for parent in chain.parents], 1)
    return base, np.swapaxes(above, -1, -2) @ world, world


@dataclass(frozen=True, eq=False)
class _Point:
    """Where the iteration is: joint rotations, coordinates about them, deviation, its Jacobian, the sum."""

    local: np.ndarray
    charts: Charts
    D: np.ndarray
    J: np.ndarray
    cost: float


@dataclass(frozen=True, eq=False)
class _Window:
    """T frames to solve, between two others that stay.

    Attributes
    ----------
    chain, bounds : as for `nearest_within`
    base : (T, 3, 3) of the top's parent
    given : (T, L, 3, 3) of the segments
    k : (T + 1,) τ/Δt before each frame and after the last, zero at the ends of the motion
    before, rest : (9 L,), D of the frame before, and of the one after, taken as given
    """

    chain: Chain
    bounds: Mapping[str, Bounds]
    base: np.ndarray
    given: np.ndarray
    k: np.ndarray
    before: np.ndarray
    rest: np.ndarray

    def solved(self, local: np.ndarray) -> np.ndarray:
        """(T, L, 3, 3) joint rotations where the sum is least, from others within the bounds.

        A step that does not lower the sum is not taken; the next may go a quarter as far.
        """
        point, longest = self.at(local), LONGEST_STEP
        for _ in range(MOST_ITERATIONS):
            step = self.step(point, longest)
            size = float(np.abs(step).max())
            new = self.at(moved(self.chain, self.bounds, point.local, point.charts, step))
            lower = new.cost <= point.cost * (1 + 1e-12)
            point, longest = (new, min(2 * longest, LONGEST_STEP)) if lower else (point, size / 4)
            if size < CONVERGED:
                return point.local
        raise CannotReconstructError(f"its steps are still {size:.1e} rad after {MOST_ITERATIONS} iterations")

    def at(self, local: np.ndarray) -> _Point:
        """Everything at these joint rotations."""
        charts = charts_at(self.chain, self.bounds, local)
        D, J = deviation(self.chain, self.base, local, charts.axes, self.given)
        terms = D - self.rest, self.k[:, None] * self.changes(D)
        return _Point(local, charts, D, J, 0.5 * sum(float(np.sum(term**2)) for term in terms))

    def changes(self, D: np.ndarray) -> np.ndarray:
        """(T + 1, 9 L) change of D before each frame and after the last."""
        return np.diff(np.concatenate([self.before[None], D, self.rest[None]]), axis=0)

    def step(self, point: _Point, longest: float) -> np.ndarray:
        """(T, L, 3) rad, what the linearised problem asks for, no coordinate by more than `longest`."""
        charts, flat = point.charts, (len(point.D), -1)
        low = np.maximum(charts.low, -longest).reshape(flat)
        high = np.minimum(charts.high, longest).reshape(flat)
        x = bounded_step(point.J, point.D - self.rest, self.changes(point.D), self.k, low, high)
        return x.reshape(charts.low.shape) * charts.axes.any(-2)
