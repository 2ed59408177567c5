"""The folder of a fit: its files written together, all or none, and read back."""

from __future__ import annotations

import dataclasses
import errno
import os
import shutil
import tempfile
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import IO, Any

import numpy as np
from scipy.spatial.transform import Rotation

from ..body.chain import BodyModel
from ..core.progress import Progress
from ..errors import OutputError
from ..recording.trials import Trial
from ..results.fit_like import FitLike
from ..results.summary import Summary
from .account import account_of
from .motion.pose_tables import JointTable, write_joints, write_segments
from .plain.atomic_file import check_folder
from .plain.csv_text import csv_text
from .scene.gltf import write_pose
from .summary_file import summary_text


def read_mountings(summary: Summary) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Unit -> segment_from_unit (3, 3) and its covariance (3, 3), rad²; NaN where it was not finite."""
    return {
        name: (
            Rotation.from_quat(unit.mounting_quat_xyzw).as_matrix(),
            np.array(unit.mounting_covariance_rad2, float),
        )
        for name, unit in summary.units.items()
    }


def in_written_order(model: BodyModel, segments: Iterable[str]) -> BodyModel:
    """The model with segments in the order of segments.csv and joints in that of their children.

    Parameters
    ----------
    model : from summary.json, whose keys are sorted
    segments : names in the order of the table's columns
    """
    place = {name: number for number, name in enumerate(name for name in segments if name in model.segments)}
    joints = sorted(model.joints.values(), key=lambda joint: place[joint.child])
    return dataclasses.replace(
        model,
        segments={name: model.segments[name] for name in place},
        joints={joint.name: joint for joint in joints},
    )


def angle_sd_of(table: JointTable, model: BodyModel) -> dict[str, dict[str, np.ndarray]] | None:
    """Joint -> angle -> (T,) rad, or None: the table holds none."""
    named = {
        name: {a: table.angle_sd[f"{name}_{a}"] for a in joint.angles if f"{name}_{a}" in table.angle_sd}
        for name, joint in model.joints.items()
    }
    return {name: angles for name, angles in named.items() if angles} or None


TRIALS = "trials.csv"  # only of a capture of several trials
FILES = ("segments.csv", "joints.csv", "pose.glb", "summary.json")
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
MEGABYTE = 1e6  # bytes, by definition
Writer = Callable[[IO[bytes]], object]


def write_fit(
    fit: FitLike, out: str | Path, progress: Progress | None = None, inferred: bool = False
) -> tuple[Path, ...]:
    """Paths of segments.csv, joints.csv, pose.glb and summary.json, now written to a folder.

    Of a capture of several trials also trials.csv; one of an earlier fit goes.

    Parameters
    ----------
    fit : poses, standard deviations and summary
    out : folder, made if missing; other files in it are left alone
    progress : called with (files done, files in all, what comes next)
    inferred : whether joints.csv also holds joints with no unit on one side

    Raises
    ------
    OutputError
        The folder can't be made or written to, or the disk is full. What was there before is still there,
        unchanged; nothing half-written is left.

    Notes
    -----
    Files are written to a hidden folder inside `out`, hence on the same file system, flushed to the disk,
    and only then renamed.
    """
    out = Path(out)
    check_folder(out, (*FILES, TRIALS))
    writers = _writers(fit, () if inferred else fit.summary.inferred_joints)
    with _refused(out, writers), _made(out), _scratch(out) as scratch:
        for done, (name, write) in enumerate(writers.items()):
            if progress:
                progress(done, len(writers), f"writing {name}")
            _write_file(scratch / name, write)
        _move(writers, scratch, out)
    return tuple(out / name for name in writers)


def _writers(fit: FitLike, untold: Collection[str]) -> dict[str, Writer]:
    """File name -> what writes it to an open file, in the order of FILES; joints.csv without `untold`."""
    positions = fit.poses.positions
    angles = {name: of for name, of in fit.poses.joint_angles.items() if name not in untold}
    spread = {name: of for name, of in (fit.joint_angle_sd or {}).items() if name not in untold}
    writers: dict[str, Writer] = {
        "segments.csv": partial(
            write_segments, time=fit.poses.time, rotations=fit.poses.rotations, positions=positions
        ),
        "joints.csv": partial(write_joints, time=fit.poses.time, angles=angles, angle_sd=spread),
        "pose.glb": partial(
            write_pose, poses=fit.poses, told=account_of(fit.summary, fit.findings).as_text()
        ),
        "summary.json": lambda file: file.write(
            summary_text(fit.summary, fit.poses.model, fit.findings).encode()
        ),
    }
    if fit.trials:
        writers[TRIALS] = partial(_write_trials, trials=fit.trials)
    return writers


def _write_trials(file: IO[bytes], trials: Sequence[Trial]) -> None:
    """Name, first and last stamp of every trial."""
    rows = ((trial.name, f"{trial.start:.6f}", f"{trial.end:.6f}") for trial in trials)
    file.write(csv_text(("name", "start_s", "end_s"), rows).encode())


def _write_file(path: Path, write: Writer) -> None:
    with open(path, "wb") as file:
        write(file)
        file.flush()
        os.fsync(file.fileno())  # a full disk may show only here


def _move(names: Collection[str], scratch: Path, out: Path) -> None:
    """Renames all new files into place, or none: earlier ones step aside first and return on failure."""
    aside = scratch / "earlier"
    aside.mkdir()
    earlier = {*names, TRIALS}
    try:
        for name in earlier:
            if os.path.lexists(out / name):
                os.replace(out / name, aside / name)
        for name in names:
            os.replace(scratch / name, out / name)
    except BaseException:
        for name in earlier:
            if os.path.lexists(aside / name):
                os.replace(aside / name, out / name)
            elif name in names and not os.path.lexists(scratch / name):
                (out / name).unlink(missing_ok=True)
        raise


@contextmanager
def _scratch(out: Path) -> Iterator[Path]:
    """A hidden folder inside `out`, gone afterwards."""
    with tempfile.TemporaryDirectory(dir=out, prefix=".bodyfit-", ignore_cleanup_errors=True) as name:
        yield Path(name)


@contextmanager
def _made(out: Path) -> Iterator[None]:
    """`out` with its parents; those that were missing are removed again on failure."""
    missing = [path for path in (out, *out.parents) if not path.exists()]
    try:
        out.mkdir(parents=True, exist_ok=True)
        yield
    except BaseException:
        for path in missing:
            if path.is_dir() and not any(path.iterdir()):
                path.rmdir()
        raise


@contextmanager
def _refused(out: Path, writers: Mapping[str, Writer]) -> Iterator[None]:
    """Operating-system refusals as OutputError; for a full disk it says how much room the files need."""
    try:
        yield
    except OutputError:
        raise
    except OSError as problem:
        if problem.errno not in FULL:
            raise OutputError(
                f"{out}: can't be written to ({problem.strerror or problem}); nothing was changed there. "
                "Choose another folder"
            ) from problem
        need = sum(_size(write) for write in writers.values()) / MEGABYTE
        free = shutil.disk_usage(next(path for path in (out, *out.absolute().parents) if path.exists())).free
        raise OutputError(
            f"{out}: the disk is full ({problem.strerror}): the {len(writers)} files need {need:.1f} MB, "
            f"{free / MEGABYTE:.1f} MB are free; nothing was changed there. Make room or choose another "
            "folder"
        ) from problem


def _size(write: Writer) -> int:
    """Bytes that a writer would write."""
    counter = _Counter()
    write(counter)  # type: ignore[arg-type]
    return counter.count


class _Counter:
    """A file that keeps only the number of bytes written to it."""

    count = 0

    def write(self, data: Any) -> int:
        self.count += memoryview(data).nbytes
        return memoryview(data).nbytes
