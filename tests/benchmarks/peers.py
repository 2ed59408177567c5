"""CPU time of bodyfit against general-purpose libraries on the same work, one core.

    python tests/benchmarks/peers.py [scipy] [gtsam] [pink] [--seconds 10]

scipy : `least_squares` on the whole nonlinear problem, same residuals, Jacobians and start, same optimum
gtsam : one linear step, the same weighted Jacobians as factors (multifrontal Cholesky, its own orderings)
pink : inverse kinematics frame by frame (pin-pink), one step a frame towards known rotations of all segments,
    against a whole fit, which also finds these rotations; in frames a second

What is missing is installed by pip into a folder that goes afterwards; bodyfit needs nothing of it. Figures
are the least of several rounds. Fifteen units at 100 Hz, the scripted minute of `long_capture`.
"""
# pyright: reportMissingImports=false

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from frozen_problem import Frozen, by_scipy, by_smoother
from long_capture import SENSORS, one_minute

from bodyfit.core.rotations import log
from bodyfit.estimator.residuals.base import Linearised
from bodyfit.estimator.solver.block_tridiagonal import solve
from bodyfit.fitting.fit import fit

# import name -> what pip installs; pin and numpy are bodyfit's own, and stay as they are
WANTED = {
    "gtsam": {"gtsam": ("gtsam",)},
    "pink": {"pink": ("pin-pink", "loop-rate-limiters"), "qpsolvers": ("qpsolvers",), "daqp": ("daqp",)},
}
ROUNDS = 5


def least(work: Callable[[], Any], rounds: int = ROUNDS) -> tuple[float, Any]:
    """CPU s of the quickest of some rounds, and what the work gave."""
    seconds, out = [], None
    for _ in range(rounds):
        before = time.process_time()
        out = work()
        seconds.append(time.process_time() - before)
    return min(seconds), out


def installed(peer: str, folder: str) -> None:
    """Installs what a peer lacks."""
    for module, packages in WANTED.get(peer, {}).items():
        if importlib.util.find_spec(module) is None:
            pip = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--target", folder]
            subprocess.run([*pip, *packages], check=True)
            importlib.invalidate_caches()


def against_scipy(seconds: float) -> None:
    """The whole nonlinear problem."""
    frozen = Frozen(_cut(seconds))
    ours, state = least(lambda: by_smoother(frozen))
    theirs, (other, evaluations) = least(lambda: by_scipy(frozen), 1)
    apart = np.abs(log(state.R @ np.swapaxes(other.R, -1, -2))).max()
    print(
        f"scipy least_squares: {theirs:.2f} s in {evaluations} evaluations, bodyfit {ours:.3f} s: "
        f"{theirs / ours:.0f} × (rotations {apart:.1e} rad apart)"
    )


def against_gtsam(seconds: float) -> None:
    """One linear step."""
    frozen = Frozen(_cut(seconds))
    parts, first = frozen.residuals(frozen.first), frozen.first
    slots, keyframes = first.slots, len(first.R)
    ours, step = least(lambda: solve(parts, slots, keyframes))
    units = first.R.shape[1]
    unit = np.concatenate([np.arange(units), np.arange(units), frozen.problem.moving, frozen.problem.placed])
    graph, at = factors(parts, unit, keyframes)
    import gtsam

    found = {}
    for name in ("Colamd", "Metis"):
        order = getattr(gtsam.Ordering, f"{name}GaussianFactorGraph")
        theirs, values = least(lambda order=order: graph.optimize(order(graph)))
        found[name] = theirs
        given = np.array(
            [[values.at(int(at[k, s, 0]))[at[k, s, 1] :][:3] for s in range(slots)] for k in (3, 7)]
        )
        apart = np.abs(given - step[[3, 7]]).max() / np.abs(step).max()
        print(f"gtsam, {name}: {theirs:.3f} s, bodyfit {ours:.3f} s (steps {apart:.1e} apart)")
    print(f"gtsam linear step: {min(found.values()) / ours:.1f} ×")


def factors(parts: Sequence[Linearised], unit: np.ndarray, keyframes: int) -> tuple[Any, np.ndarray]:
    """A graph with one vector a unit and keyframe, and (K, slots, 2) key and place in it of each slot."""
    import gtsam

    units = int(unit.max()) + 1
    place = np.array([3 * int(np.sum(unit[:slot] == unit[slot])) for slot in range(len(unit))])
    size = 3 * np.bincount(unit, minlength=units)
    graph = gtsam.GaussianFactorGraph()
    for part in parts:
        root = np.sqrt(part.weight)
        for k, e in zip(*np.nonzero(root.any(-1)), strict=True):
            blocks: dict[int, np.ndarray] = {}
            for slot, shift, J in part.jacobians:
                s = int(np.asarray(slot)[e])
                A = blocks.setdefault((k + shift) * units + unit[s], np.zeros((J.shape[-2], size[unit[s]])))
                A[:, place[s] : place[s] + 3] += root[k, e, :, None] * J[k, e]
            b = -root[k, e] * part.value[k, e]
            terms = [x for key, A in blocks.items() for x in (int(key), A)]
            graph.add(gtsam.JacobianFactor(*terms, b, gtsam.noiseModel.Unit.Create(len(b))))
    key = np.arange(keyframes)[:, None] * units + unit
    return graph, np.stack([key, np.broadcast_to(place, key.shape)], -1)


def against_pink(seconds: float) -> None:
    """Inverse kinematics frame by frame, towards rotations that a fit has found."""
    import pinocchio as pin
    from pink import Configuration, solve_ik
    from pink.tasks import FrameTask

    ours, fitted = least(lambda: fit(_cut(seconds), sensors=SENSORS), 2)
    poses = fitted.poses
    model = poses.model.pinocchio()
    tasks = {name: FrameTask(name, position_cost=0.0, orientation_cost=1.0) for name in poses.model.segments}
    R = {name: rotation.as_matrix() for name, rotation in poses.rotations.items()}
    configuration = Configuration(model, model.createData(), pin.neutral(model))
    dt = float(np.median(np.diff(poses.time)))

    def follow(frame: int) -> None:
        for name, task in tasks.items():
            task.set_target(pin.SE3(R[name][frame], np.zeros(3)))
        turn = solve_ik(configuration, list(tasks.values()), dt, solver="daqp", damping=1e-6, limits=[])
        configuration.integrate_inplace(turn, dt)

    for _ in range(30):
        follow(0)
    before = time.process_time()
    for frame in range(len(poses.time)):
        follow(frame)
    theirs = time.process_time() - before
    reached = configuration.get_transform_frame_to_world("r_hand").rotation
    off = np.degrees(np.linalg.norm(log(reached.T @ R["r_hand"][-1])))
    count = len(poses.time)
    print(
        f"pin-pink: {count / theirs:.0f} frames/s, bodyfit's whole fit {count / ours:.0f} frames/s: "
        f"{theirs / ours:.1f} × (its hand ends {off:.2f}° off)"
    )


def _cut(seconds: float):
    """The start of the scripted minute."""
    capture = one_minute()
    begin = max(unit.time[0] for unit in capture.units.values())
    return capture.between(begin, begin + seconds)


PEERS = {"scipy": against_scipy, "gtsam": against_gtsam, "pink": against_pink}


def main(arguments: list[str]) -> None:
    """Runs the peers that are named, or all."""
    length = float(arguments[arguments.index("--seconds") + 1]) if "--seconds" in arguments else 10.0
    asked = [name for name in PEERS if name in arguments] or list(PEERS)
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    print(f"fifteen units at 100 Hz, {length:g} s, one core")
    with tempfile.TemporaryDirectory() as folder:
        sys.path.append(folder)
        for name in asked:
            installed(name, folder)
            PEERS[name](length)


if __name__ == "__main__":
    if set(sys.argv[1:]) - {*PEERS, "--seconds"} - set(sys.argv[-1:]):
        raise SystemExit(__doc__)
    main(sys.argv[1:])
