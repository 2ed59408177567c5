"""A comparison made on several cores, each case kept as soon as it is finished."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from ...body.chain import BodyModel
from ...core.fingerprints import fingerprint
from ...core.progress import Progress
from ...core.workers.pool import results_of, worker_pool
from ...core.workers.work import Tell
from ...recording.capture import Capture
from ..accuracy.recording_conditions import circumstances
from ..accuracy.reference import Reference, check_reference
from .cases import Case, cases_of, full_case
from .files import write_comparison
from .moving_figure import at_times, moving_figure, parts_of
from .result import CaseResult, ComparisonResult
from .run_case import full_solution, run_case, told

Kept = tuple[Callable[[str], CaseResult | None], Callable[[str, CaseResult], None]]
Given = tuple[Capture, Reference, bool]


class Comparison(ComparisonResult):
    """All cases of one recording, which can write themselves."""

    def write(self, out: str | Path) -> None:
        """Writes comparison.csv, comparison.json and comparison.html to a folder.

        Parameters
        ----------
        out : folder, made if missing

        Raises
        ------
        OutputError
            One can't be written; nothing half-written is left.
        """
        write_comparison(self, Path(out))


def compare(
    capture: Capture,
    reference: Reference | None = None,
    sets: Sequence[str] | None = None,
    leave_out: Sequence[Sequence[str]] = (),
    leave_out_each: bool = False,
    *,
    align_clock: bool = False,
    usual_postures: bool = True,
    jobs: int = 1,
    scheduler: str | None = None,
    drawn: BodyModel | None = None,
    kept: Kept | None = None,
    progress: Progress | None = None,
) -> Comparison:
    """One recording solved with every set of sensors, with the body and each unit alone, and compared.

    Parameters
    ----------
    capture : the recording
    reference : what errors are counted from; None: the solution with every sensor and unit
    sets : sensor sets such as "acc+gyro" or "all"; None: all that make sense
    leave_out : also without the units of each of these, with every sensor or those of `sets`
    leave_out_each : also without each unit in turn
    align_clock : take a constant offset of up to ±30 ms off the reference's clock
    usual_postures : believe where joints beside segments without a unit usually are
    jobs : processes; with more than one, a script that calls this needs `if __name__ == "__main__":`
    scheduler : address of a Dask cluster that does the work instead
    drawn : the body with every joint centre (m), to draw motions with; None: the capture's own where it
        knows them all, else none are drawn
    kept : functions that read what was kept under a key (None: nothing) and keep it; None: nothing is kept
    progress : called as progress(done, total, what)

    Returns
    -------
    Comparison
        Errors in degrees, of each joint's rotation. A set that can't be solved is listed with the reason.

    Raises
    ------
    InputError
        A sensor set or unit that the capture does not have, or a reference that shows none of its joints or
        of its time.
    CannotReconstructError
        Without a reference: the recording can't be solved with every sensor.
    """
    if not usual_postures:
        capture = dataclasses.replace(capture, model=capture.model.without_usual_postures())
    cases = cases_of(capture, sets, leave_out_each, leave_out)
    drawn = drawn or _own_body(capture)
    if reference is not None:
        check_reference(capture, reference)
        reference = dataclasses.replace(reference, drawn=drawn)
    where = (jobs, scheduler)
    common = fingerprint(capture, reference, align_clock)
    keys = {case: fingerprint(common, case)[:32] for case in cases}

    def given() -> Given:
        against = full_solution(capture, drawn) if reference is None else told(capture, reference)
        return capture, against, align_clock

    results = _results(keys, given, where, kept, progress)
    return Comparison(
        capture.title,
        "the full solution" if reference is None else "the reference",
        reference is not None,
        results,
        [] if drawn is None else parts_of(drawn),
        _measure(capture, results, reference, drawn),
        circumstances(capture),
    )


def _results(
    keys: Mapping[Case, str],
    given: Callable[[], Given],
    where: tuple[int, str | None],
    kept: Kept | None,
    progress: Progress | None,
) -> tuple[CaseResult, ...]:
    """A result of each case: kept under its key from an earlier run, or new and kept at once."""
    read, write = kept or (lambda key: None, lambda key, result: None)
    say = progress or (lambda done, total, what: None)
    jobs, scheduler = where
    done = {case: result for case, key in keys.items() if (result := read(key)) is not None}
    missing = [case for case in keys if case not in done]
    say(len(done), len(keys), "comparing")
    if missing:
        with worker_pool(_run, given(), min(jobs, len(missing)), scheduler=scheduler) as pool:
            for case, result in results_of(pool.run(missing)):
                write(keys[case], result)
                done[case] = result
                say(len(done), len(keys), f"finished {case.name}")
    return tuple(done[case] for case in keys)


def _run(given: Given, case: Case, tell: Tell) -> CaseResult:
    capture, reference, align_clock = given
    return run_case(capture, case, reference, align_clock)


def _own_body(capture: Capture) -> BodyModel | None:
    """The capture's body, scaled, where every joint centre is known."""
    body = capture.model.scaled(capture.person)
    known = all(joint.centre_in_parent is not None for joint in body.joints.values())
    return body if known else None


def _measure(
    capture: Capture, results: Sequence[CaseResult], truth: Reference | None, drawn: BodyModel | None
) -> Mapping[str, list]:
    """The figure of what others are compared with; empty where it can't be drawn."""
    if truth is None:
        return next(result.figure for result in results if result.case == full_case(capture))
    if drawn is None or not set(drawn.segments) <= set(truth.rotations):
        return {}
    time = truth.time[truth.rows(*drawn.segments)]
    turns = {name: at_times(*truth.track(name), time) for name in drawn.segments}
    return moving_figure(time, turns, drawn) if len(time) else {}
