"""One bounded least-squares step over many frames, solved stage by stage through casadi and HPIPM."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from scipy import sparse

from ....errors import CannotReconstructError

# frames; problems are padded to this times a power of two, so that few solvers are built; chosen; not tried
SHORTEST = 16
DAMPING = 1e-8  # rad²/rad², keeps a step finite where two axes of a joint coincide; chosen; not tried


def bounded_step(
    J: np.ndarray,
    values: np.ndarray,
    changes: np.ndarray,
    k: np.ndarray,
    low: np.ndarray,
    high: np.ndarray,
) -> np.ndarray:
    """The step x that makes Σ |vₜ + Jₜ xₜ|² + Σ kₜ² |cₜ + Jₜ xₜ − Jₜ₋₁ xₜ₋₁|² least, low ≤ x ≤ high.

    Parameters
    ----------
    J : (T, m, n) Jacobians
    values : (T, m) deviations v
    changes : (T + 1, m) change of the deviation from the frame before, c; the first is from a frame that is
        held, the last to one
    k : (T + 1,) weights of these changes, zero where there is no such frame
    low, high : (T, n)

    Returns
    -------
    (T, n) array

    Raises
    ------
    CannotReconstructError
        The solver gave up; the message says how.

    Notes
    -----
    As an optimal-control problem: state xₜ, control uₜ, xₜ₊₁ = xₜ + uₜ. Its cost grows with the number of
    frames, not with its cube. Solver: Frison & Diehl 2020, arXiv:2003.02547. casadi's other structured
    solver, fatrop, was tried on the same problems: as of casadi 3.8.2 it fails on them and prints matrices.
    """
    frames, _, n = J.shape
    stages = padded(frames)
    H, g = _costs(J, values, changes, k, stages)
    box = np.full((2, stages, 2 * n), np.inf) * np.array([-1.0, 1.0])[:, None, None]
    box[0, :frames, :n], box[1, :frames, :n] = low, high
    flat = slice(0, stages * 2 * n - n)  # the last stage has no control
    solver, H_pattern, A = _solver(n, stages)
    import casadi

    matrix = casadi.DM(H_pattern, np.concatenate([H[:-1].ravel(), H[-1, :n, :n].ravel()]))
    lbx, ubx = box[0].ravel()[flat], box[1].ravel()[flat]
    found = solver(h=matrix, g=g.ravel()[flat], a=A, lba=0, uba=0, lbx=lbx, ubx=ubx)
    if not solver.stats()["success"]:
        status = solver.stats().get("return_status")
        raise CannotReconstructError(_STATUS.get(status, f"HPIPM status {status}"))
    steps = np.append(found["x"].full().ravel(), np.zeros(n)).reshape(stages, 2 * n)[:frames, :n]
    return np.clip(steps, low, high)


# of HPIPM, in its order (Frison and Diehl 2020)
_STATUS = {  # of HPIPM, in its order
    1: "HPIPM reached its limit of iterations",
    2: "HPIPM's steps became too small",
    3: "HPIPM met a number that is none",
}


def padded(frames: int) -> int:
    """The next number of frames that a solver is built for.

    Parameters
    ----------
    frames : 1 or more

    Returns
    -------
    `SHORTEST` times a power of two
    """
    return SHORTEST * 2 ** max(0, int(np.ceil(np.log2(frames / SHORTEST))))


def _costs(
    J: np.ndarray, values: np.ndarray, changes: np.ndarray, k: np.ndarray, stages: int
) -> tuple[np.ndarray, np.ndarray]:
    """Hessians (stages, 2n, 2n) and gradients (stages, 2n) of state and control; beyond the frames u = 0."""
    frames, _, n = J.shape
    H, g = np.zeros((stages, 2 * n, 2 * n)), np.zeros((stages, 2 * n))
    H[frames - 1 :, n:, n:] = np.eye(n)
    with_control = np.concatenate([J[1:] - J[:-1], J[1:]], -1)  # change by state and by control
    weighted = k[1:-1, None, None] ** 2 * np.swapaxes(with_control, -1, -2)
    H[: frames - 1] = weighted @ with_control
    g[: frames - 1] = (weighted @ changes[1:-1, :, None])[..., 0]
    own, pull = np.ones(frames), values.copy()
    own[0] += k[0] ** 2
    own[-1] += k[-1] ** 2
    pull[0] += k[0] ** 2 * changes[0]
    pull[-1] -= k[-1] ** 2 * changes[-1]
    transposed = np.swapaxes(J, -1, -2)
    H[:frames, :n, :n] += own[:, None, None] * (transposed @ J)
    g[:frames, :n] += (transposed @ pull[..., None])[..., 0]
    H[:frames] += DAMPING * np.eye(2 * n)
    return H, g


@lru_cache(maxsize=8)
def _solver(n: int, stages: int) -> tuple[Any, Any, Any]:
    """Solver, pattern of its Hessian, and its dynamics xₜ + uₜ − xₜ₊₁ = 0, for n coordinates."""
    import casadi

    size = (2 * stages - 1) * n
    H = sparse.block_diag([np.ones((2 * n, 2 * n))] * (stages - 1) + [np.ones((n, n))])
    now, following = (sparse.eye_array(stages - 1, stages, k=k) for k in (0, 1))
    state, control = np.eye(n, 2 * n), np.eye(n, 2 * n, k=n)
    A = sparse.csc_array(sparse.kron(now, state + control) - sparse.kron(following, state))
    H, A = casadi.DM(sparse.csc_array(H)), casadi.DM(sparse.csc_array(A[:, :size]))
    layout = {"N": stages - 1, "nx": [n] * stages, "nu": [n] * (stages - 1) + [0], "ng": [0] * stages}
    options = {"print_time": False, "error_on_fail": False, **layout}
    solver = casadi.conic("bounded_step", "hpipm", {"h": H.sparsity(), "a": A.sparsity()}, options)
    return solver, H.sparsity(), A
