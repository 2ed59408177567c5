"""One capture of a batch, on whichever process or machine: read, fitted, reviewed, its files as bytes."""

from __future__ import annotations

import dataclasses
import tempfile
import time
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from ...core.fingerprints import fingerprint
from ...core.workers.work import Tell
from ...errors import BodyfitError, InputError
from ...files.capture.folder import read_capture
from ...files.findings_file import FILE, write_findings
from ...files.fit_folder import write_fit
from ...fitting.fit import fit
from ...fitting.result import Fit
from ...results.joints import AngleFigures
from ...version import __version__
from ..report.page import write_report
from ..review.review import CAUTION, review
from .result import DONE, FAILED, Row

LONGEST_REASON = 400  # characters of a reason in batch.csv: common practice, a few lines on a screen


@dataclass(frozen=True)
class Options:
    """How every capture of a batch is fitted, as `bodyfit.fit` takes it."""

    sensors: tuple[str, ...] | None = None
    strict_ranges: bool = False
    assign: str = "given"
    usual_postures: bool = True


@dataclass(frozen=True)
class Piece:
    """One capture to fit: its name in the output, where it lies, the key of what is there already."""

    name: str
    capture: str
    key: str = ""


@dataclass(frozen=True)
class Fitted:
    """What came of a piece: its row, and its files; None where what is there already still holds."""

    row: Row
    files: dict[str, bytes] | None


def fit_one(options: Options, piece: Piece, tell: Tell) -> Fitted:
    """One capture fitted; what is wrong with it becomes a row with its reason.

    Parameters
    ----------
    options : how
    piece : which
    tell : takes (done, total, what)
    """
    started = time.perf_counter()
    failed = Row(piece.name, piece.capture, FAILED)
    try:
        with here(piece.capture) as path:
            tell(0, 0, "reading")
            capture = read_capture(path)
        key = fingerprint(capture, options)
        failed = dataclasses.replace(failed, key=key, title=capture.title, model=capture.model.name)
        if key == piece.key:
            return Fitted(failed, None)
        sensors = None if options.sensors is None else set(options.sensors)
        found = fit(
            capture,
            sensors=sensors,
            strict_ranges=options.strict_ranges,
            assign=options.assign,
            usual_postures=options.usual_postures,
            progress=tell,
        )
        files, findings = _files(found, tell)
    except BodyfitError as error:
        return Fitted(_with_reason(failed, str(error), started), {})
    except Exception as error:  # one capture that trips a defect must not end the study
        last = traceback.extract_tb(error.__traceback__)[-1]
        where = f"{Path(last.filename).name}:{last.lineno}"
        return Fitted(
            _with_reason(failed, f"defect in bodyfit, {where}: {type(error).__name__}: {error}", started), {}
        )
    return Fitted(_done(failed, found, findings, started), files)


def _with_reason(row: Row, reason: str, started: float) -> Row:
    """The row of a failure."""
    line = " ".join(reason.split())[:LONGEST_REASON]
    return dataclasses.replace(row, reason=line, seconds=time.perf_counter() - started)


def _done(row: Row, found: Fit, findings: dict[str, int], started: float) -> Row:
    """The row of a capture that was fitted."""
    ranges = {
        name: {angle: told for angle, its in joint.angles.items() if (told := _range(its)) is not None}
        for name, joint in found.summary.joints.items()
        if name not in found.inferred_joints
    }
    return dataclasses.replace(
        row,
        state=DONE,
        seconds=time.perf_counter() - started,
        findings=findings,
        iterations=found.summary.solver.iterations,
        converged=found.summary.solver.converged,
        ranges=ranges,
    )


def _range(told: AngleFigures) -> tuple[float, float] | None:
    return None if told.min_deg is None or told.max_deg is None else (told.min_deg, told.max_deg)


def _files(found: Fit, tell: Tell) -> tuple[dict[str, bytes], dict[str, int]]:
    """Name -> bytes of all files of a fit, and how many findings of each severity a review has."""
    with tempfile.TemporaryDirectory(prefix="bodyfit-") as scratch:
        out = Path(scratch)
        write_fit(found, out)
        tell(0, 0, "reviewing")
        findings = review(found)
        write_findings(findings, out / FILE, __version__, CAUTION, found.start_time)
        tell(0, 0, "writing the report")
        write_report(out)
        words = [finding.severity for finding in findings]
        counts = {word: words.count(word) for word in ("serious", "warning", "note")}
        return {path.name: path.read_bytes() for path in sorted(out.iterdir())}, counts


@contextmanager
def here(capture: str) -> Iterator[str]:
    """The capture as a path of this machine; one at an fsspec address is copied here while the block runs.

    Raises
    ------
    InputError
        It can't be fetched, or fsspec is not installed.
    """
    if "://" not in capture:
        yield capture
        return
    try:
        import fsspec
    except ImportError:
        raise InputError(f"{capture}: needs fsspec, which is not installed: 'bodyfit[cluster]'") from None
    with tempfile.TemporaryDirectory(prefix="bodyfit-") as scratch:
        try:
            system, path = fsspec.url_to_fs(capture)
            system.get(path.rstrip("/"), scratch + "/capture", recursive=True)
        except (OSError, ValueError, ImportError) as error:
            raise InputError(f"{capture}: cannot be fetched: {error}; expected a folder there") from error
        yield scratch + "/capture"
