"""Hard and soft iron of a magnetometer, from the capture's own motion.

Two things hold for a magnetometer without error in an even field: its norm is always the same, and seen in a
frame that the gyroscope carries along, the field stands still. The first gives the ellipsoid that is known
from compass calibration; the second is linear, and shows hard iron with far fewer attitudes. Both are put
into one least-squares problem with priors, whose covariance says what the attitudes have shown.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...core.robust import NORMAL_MEDIAN, huber
from ...core.rotations import apply, vector_norm

SPAN_S = 1.0  # between the readings that are compared: a turn that the gyroscope carries to within a degree
ALIKE_S = 2.0  # over which a disturbance from outside is alike, as `Weights.field_s`; by reasoning
HARD_SD = 1.0  # prior of hard iron, share of the norm
SOFT_SD = 0.03  # prior of soft iron and of scales against each other, each entry; chosen; not tried
NORM_SD = 1.0  # prior of the true norm, share of the median of the readings
NOISE = 0.03  # share of the norm; prior of the spread, which is then found; chosen; not tried
ROUNDS = 12  # chosen; not tried
START = np.r_[np.zeros(8), 1.0]  # no iron; by definition: nothing and the norm itself
# share of the norm: standard deviation of hard iron above which it is not applied; by reasoning: 1° in
# heading
SURE = 0.02
SURE_SHARE = 0.2  # or share of the hard iron itself, when it is large; chosen; not tried
# share of the spread that has to be left at most, else nothing is gained by it; chosen; not tried
BETTER = 0.8
LARGEST_SOFT = 0.3  # more is no soft iron but a fit gone wrong; by reasoning: ten times its prior


@dataclass(frozen=True, eq=False)
class MagnetometerCalibration:
    """What a magnetometer reads of the field beside it: reading = norm (1 + S)⁻¹ (field + h).

    Attributes
    ----------
    norm : in units of the readings, of the calibrated readings
    hard : (3,) h, share of the norm; hard_sd : (3,)
    soft : (3, 3) S, symmetric
    spread, spread_after : robust standard deviation of the norm, share of it
    turned : likewise, how far the field moves within a second in a frame that gyroscopes carry
    applies : attitudes show it well enough, and norm and turn spread less with it
    why_not : what was missing; empty where it applies
    """

    norm: float
    hard: np.ndarray
    hard_sd: np.ndarray
    soft: np.ndarray
    spread: float
    spread_after: float
    turned: float
    applies: bool
    why_not: str = ""

    def calibrated(self, field: np.ndarray, norm: float | None = None) -> np.ndarray:
        """Readings (N, 3) without hard and soft iron, their usual norm as it was or as given."""
        scale = 1.0 if norm is None else norm / self.norm
        return scale * (field @ (np.eye(3) + self.soft) - self.norm * self.hard)


def calibrate_magnetometer(
    field: np.ndarray, R: np.ndarray, step: float, known: np.ndarray | None = None
) -> MagnetometerCalibration:
    """Hard and soft iron of one magnetometer.

    Parameters
    ----------
    field : (N, 3) readings, unit frame, any unit
    R : (N, 3, 3) world_from_unit; its heading may drift as a gyroscope's does
    step : s between readings
    known : (N,) bool, readings that count

    Returns
    -------
    MagnetometerCalibration

    Notes
    -----
    With readings m in units of their median norm and c = (1 + S) m − h: |c| = ρ, and R_k c_k = R_j c_j for
    readings a second apart. Gauss–Newton in (h, S, ρ), Huber weights, priors h ~ 1, S ~ 0.03,
    ρ ~ 1 ± 1. S has no trace: a scale common to all axes is the norm's. The spread of either residual is
    found on the way; residuals are alike for two seconds, so they count less often.
    """
    ok = np.all(np.isfinite(field), axis=1) & (True if known is None else known)
    usual = float(np.median(np.linalg.norm(field[ok], axis=1))) if ok.any() else 1.0
    m, far = np.where(ok[:, None], field, usual) / usual, max(1, round(SPAN_S / step))
    pair = ok[far:] & ok[:-far]
    alike = max(1.0, ALIKE_S / step)
    p, H = START, np.eye(9)
    spreads = []
    for _ in range(ROUNDS):
        value, J, moved, K = _residuals(p, m, R, far, ok, pair)
        sd = _robust(value), _robust(moved)
        spreads.append(sd)
        H = np.diag(np.r_[np.full(3, HARD_SD), np.full(5, SOFT_SD), NORM_SD] ** -2.0)
        g = H @ (p - START)
        for v, by, s in ((value[:, None], J[:, None], sd[0]), (moved, K, sd[1])):
            w = huber(v, s) / (alike * s**2)
            weighted = (by * w[:, None, None]).reshape(-1, 9).T
            H += weighted @ by.reshape(-1, 9)
            g += weighted @ v.ravel()
        step_ = np.linalg.solve(H, g)
        p = p - step_
        if np.abs(step_).max() < 1e-6:
            break
    value, _, moved, _ = _residuals(p, m, R, far, ok, pair)
    return _judged(p, np.sqrt(np.diag(np.linalg.inv(H))), usual, spreads[0], (_robust(value), _robust(moved)))


_SOFT = np.array(  # symmetric, without trace: what a scale common to all axes does is the norm's part
    [
        [[1, 0, 0], [0, -1, 0], [0, 0, 0]],
        [[0, 0, 0], [0, 1, 0], [0, 0, -1]],
        [[0, 1, 0], [1, 0, 0], [0, 0, 0]],
        [[0, 0, 1], [0, 0, 0], [1, 0, 0]],
        [[0, 0, 0], [0, 0, 1], [0, 1, 0]],
    ],
    float,
)


def _residuals(p, m, R, far, ok, pair):
    """Norm residual (k,), Jacobian (k, 9); turn residual (l, 3), Jacobian (l, 3, 9)."""
    c = m @ (np.eye(3) + np.tensordot(p[3:8], _SOFT, 1)) - p[:3]
    by = np.zeros((len(m), 3, 9))
    by[:, :, :3] = -np.eye(3)
    by[:, :, 3:8] = np.einsum("nij,kj->kin", _SOFT, m)
    norm = vector_norm(c)
    J = np.einsum("ki,kij->kj", c / np.maximum(norm, 1e-9)[:, None], by)
    J[:, 8] = -1.0
    world, W = apply(R, c), R @ by
    return (norm - p[8])[ok], J[ok], (world[far:] - world[:-far])[pair], (W[far:] - W[:-far])[pair]


def _robust(v: np.ndarray) -> float:
    """Standard deviation of a component, from the median absolute value; never below a thousandth."""
    return max(1e-3, float(np.median(np.abs(v))) / NORMAL_MEDIAN) if v.size else NOISE


def _judged(p, sd, usual, before, after) -> MagnetometerCalibration:
    """The result, and whether it applies."""
    soft, sd, why = np.tensordot(p[3:8], _SOFT, 1), sd / abs(p[8]), []
    if sd[:3].max() > max(SURE, SURE_SHARE * np.linalg.norm(p[:3] / p[8])):
        why.append(
            f"hard iron is known to {100 * sd[:3].max():.0f} % of the field only, expected {100 * SURE:.0f} %"
        )
    if after[0] > BETTER * abs(p[8]) * before[0] or after[1] > abs(p[8]) * before[1]:
        why.append("the norm is no steadier with it")
    if np.abs(soft).max() > LARGEST_SOFT:
        why.append("what was found is no soft iron")
    return MagnetometerCalibration(
        usual * p[8],
        p[:3] / p[8],
        sd[:3],
        soft,
        before[0],
        after[0] / abs(p[8]),
        before[1],
        not why,
        "; ".join(why),
    )
