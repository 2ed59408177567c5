"""The folder of a fit: its files written together, all or none, and read back."""

from __future__ import annotations

import csv
import errno
import io
import json
import os
import shutil
import tempfile
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import IO, Any, Protocol

import numpy as np
from scipy.spatial.transform import Rotation

from ..body.chain import BodyModel
from ..body.motion.poses import PoseSequence
from ..core.findings import Finding
from ..core.progress import Progress
from ..errors import InputError, OutputError
from ..recording.trials import Trial
from .model.model_file import model_from_data
from .motion.pose_tables import read_joints, write_joints, write_segments
from .plain.atomic_file import check_folder
from .plain.json_text import summary_text
from .plain.readable import check_readable
from .scene.gltf import write_pose
from .summary_shapes import check_summary

MOST_BYTES = 50e6  # of a summary.json: those of the demos take some 100 kB; by reasoning
AGAIN = "Give the folder that `bodyfit fit … --out` wrote, or fit the capture again"


def read_summary(path: Path) -> dict[str, Any]:
    """The content of a summary.json.

    Raises
    ------
    InputError
        The file is missing or not JSON.
    """
    try:
        check_readable(path, MOST_BYTES)
    except InputError as error:
        raise InputError(f"{error}; {AGAIN}") from None
    try:
        summary = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise InputError(f"{path}: no such file; {AGAIN}") from None
    except (ValueError, RecursionError) as error:
        raise InputError(f"{path}: not valid JSON: {error}; {AGAIN}") from None
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from None
    if not isinstance(summary, dict):
        raise InputError(f"{path}: found {type(summary).__name__}, expected an object; {AGAIN}")
    check_summary(path, summary, AGAIN)
    return summary


def body_of_summary(path: Path, summary: Mapping[str, Any]) -> BodyModel:
    """The scaled body that the fit used."""
    if "body" not in summary:
        raise InputError(f"{path}: no key 'body', which tells the body that was used; {AGAIN}")
    body = summary["body"]
    if isinstance(body, Mapping) and body.get("source") == "":  # earlier versions wrote an unknown source so
        body = {key: value for key, value in body.items() if key != "source"}
    return model_from_data(body, path, "body")


def read_mountings(path: Path, summary: Mapping[str, Any]) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Unit -> segment_from_unit (3, 3) and its covariance (3, 3), rad²; NaN where it was not finite.

    Parameters
    ----------
    path : of the summary.json, for messages
    summary : its content; units of earlier versions, which wrote no covariance, are left out

    Raises
    ------
    InputError
        An entry is not a quaternion, or not a 3 by 3 covariance.
    """
    out = {}
    for name, unit in (summary.get("units") or {}).items():
        if "mounting_covariance_rad2" not in unit:
            continue
        try:
            turn = Rotation.from_quat(unit["mounting_quat_xyzw"]).as_matrix()
            out[name] = turn, np.array(unit["mounting_covariance_rad2"], float).reshape(3, 3)
        except (KeyError, TypeError, ValueError) as error:
            raise InputError(f"{path}: units.{name}: its mounting can't be read: {error}; {AGAIN}") from None
    return out


def findings_of_summary(path: Path, summary: Mapping[str, Any]) -> tuple[Finding, ...]:
    """Findings that the fit wrote, in its order.

    Raises
    ------
    InputError
        One of them is not a finding.
    """
    try:
        return tuple(Finding.from_data(data) for data in summary.get("findings") or ())
    except (AttributeError, TypeError, ValueError) as error:
        raise InputError(f"{path}: findings: one can't be read: {error}; {AGAIN}") from None


def trials_of_summary(path: Path, summary: Mapping[str, Any]) -> tuple[Trial, ...]:
    """Trials that the fit wrote.

    Raises
    ------
    InputError
        One of them is not a trial.
    """
    try:
        return tuple(Trial.from_data(data) for data in (summary.get("sampling") or {}).get("trials") or ())
    except (AttributeError, KeyError, TypeError, ValueError) as error:
        raise InputError(f"{path}: sampling.trials: one can't be read: {error}; {AGAIN}") from None


def read_angle_sd(out: Path, model: BodyModel) -> dict[str, dict[str, np.ndarray]] | None:
    """Joint -> angle -> (T,) rad, or None: joints.csv holds none."""
    path = out / "joints.csv"
    spread = read_joints(path).angle_sd if path.is_file() else {}
    if not spread:
        return None
    named = {
        name: {angle: spread[f"{name}_{angle}"] for angle in joint.angles if f"{name}_{angle}" in spread}
        for name, joint in model.joints.items()
    }
    return {name: angles for name, angles in named.items() if angles}


TRIALS = "trials.csv"  # only of a capture of several trials
FILES = ("segments.csv", "joints.csv", "pose.glb", "summary.json")
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
MEGABYTE = 1e6  # bytes, by definition
Writer = Callable[[IO[bytes]], object]


class FitLike(Protocol):
    """What a fit's folder holds of it."""

    @property
    def poses(self) -> PoseSequence:
        """The motion."""
        ...

    @property
    def summary(self) -> Mapping[str, Any]:
        """The content of summary.json."""
        ...

    @property
    def joint_angle_sd(self) -> Mapping[str, Mapping[str, np.ndarray]] | None:
        """Joint -> angle -> (T,) rad, or None."""
        ...

    @property
    def trials(self) -> Sequence[Trial]:
        """Recordings that the capture was joined from; empty: it is one."""
        ...


def inferred_joints(summary: Mapping[str, Any]) -> tuple[str, ...]:
    """Joints that a fit only inferred, no unit being on one side of them; of earlier versions none."""
    return tuple(name for name, joint in (summary.get("joints") or {}).items() if joint.get("inferred"))


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
    writers = _writers(fit, () if inferred else inferred_joints(fit.summary))
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
        "pose.glb": partial(write_pose, poses=fit.poses),
        "summary.json": lambda file: file.write(summary_text(fit.summary).encode()),
    }
    if fit.trials:
        writers[TRIALS] = partial(_write_trials, trials=fit.trials)
    return writers


def _write_trials(file: IO[bytes], trials: Sequence[Trial]) -> None:
    """Name, first and last stamp of every trial."""
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(("name", "start_s", "end_s"))
    rows.writerows((trial.name, f"{trial.start:.6f}", f"{trial.end:.6f}") for trial in trials)
    file.write(text.getvalue().encode())


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
