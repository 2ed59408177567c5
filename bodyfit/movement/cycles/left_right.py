"""One quantity, left against right: difference with its standard deviation, and the symmetry index."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

LEAST_SUM = 1e-12  # under a quotient of two ranges, by reasoning


@dataclass(frozen=True)
class LeftRight:
    """A quantity of strides, left against right.

    Attributes
    ----------
    quantity : e.g. "stride_time" or "knee_flexion_range"
    unit : "s", "m", "m/s", "share" (0 to 1) or "rad", of all but the counts and the index
    left, right : mean over strides
    left_sd, right_sd : between strides, n - 1; NaN where there is one stride
    left_count, right_count : strides in which the quantity is known
    difference, difference_sd : left less right of the means
    index, index_sd : %, 100 (L - R) / ((L + R) / 2); 0 is alike, positive: the left is larger
    """

    quantity: str
    unit: str
    left: float
    right: float
    left_sd: float
    right_sd: float
    left_count: int
    right_count: int
    difference: float
    difference_sd: float
    index: float
    index_sd: float


def left_right(
    quantity: str,
    unit: str,
    left: np.ndarray,
    right: np.ndarray,
    of_fit: tuple[float, float] = (0.0, 0.0),
) -> LeftRight:
    """Left against right.

    Parameters
    ----------
    quantity, unit : what it is
    left, right : (n,), (m,) values of single strides, one at least of either
    of_fit : variance that all strides of a side share, which does not average out

    Returns
    -------
    LeftRight

    Notes
    -----
    :math:`s_d^2 = s_l^2 / n_l + s_r^2 / n_r` (Welch 1947, doi:10.1093/biomet/34.1-2.28, from memory), with
    the variance of the fit added to either side. Symmetry index of Robinson, Herzog & Nigg 1987, J.
    Manipulative Physiol. Ther. 10:172 (from memory), :math:`SI = 100 (L - R) / ((L + R) / 2)`, its standard
    deviation by linear propagation: :math:`s_{SI} = 400 \\sqrt{R^2 s_L^2 + L^2 s_R^2} / (L + R)^2`.
    """
    L, R = float(np.mean(left)), float(np.mean(right))
    sd = [float(np.std(values, ddof=1)) if len(values) > 1 else np.nan for values in (left, right)]
    squares = [s**2 / len(values) + own for s, values, own in zip(sd, (left, right), of_fit, strict=True)]
    total = max(L + R, LEAST_SUM)
    index_sd = 400.0 / total**2 * np.sqrt(R**2 * squares[0] + L**2 * squares[1])
    return LeftRight(
        quantity, unit, L, R, sd[0], sd[1], len(left), len(right), L - R, float(np.sqrt(sum(squares))),
        200.0 * (L - R) / total, float(index_sd),
    )  # fmt: skip
