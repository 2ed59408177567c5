"""A plan made on several cores, each piece of work kept as soon as it is finished."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from ...core.fingerprints import fingerprint
from ...core.progress import Progress
from ...core.workers.pool import results_of, worker_pool
from ...core.workers.work import Tell
from .answer import Plan
from .question import Question
from .search import Job, done, search

Found = Sequence[Mapping[str, float]]
Kept = tuple[Callable[[str], Found | None], Callable[[str, Found], None]]


def plan(
    question: Question,
    jobs: int = 1,
    *,
    scheduler: str | None = None,
    kept: Kept | None = None,
    progress: Progress | None = None,
    about: Mapping[str, Any] | None = None,
) -> Plan:
    """The smallest set of worn units that meets the tolerances, fewest units first, then fewest axes.

    Parameters
    ----------
    question : motion, tolerances (rad), how good and how well worn the units are
    jobs : processes; with more than one, a script that calls this needs `if __name__ == "__main__":`
    scheduler : address of a Dask cluster that does the work instead
    kept : functions that read what was kept under a key (None: nothing) and keep it; None: nothing is kept
    progress : called as progress(done, total, what)
    about : what was assumed, in words, for print and page

    Returns
    -------
    Plan
        Its `answer` is None where no set was shown to be enough; `nearest` is then what comes nearest.

    Raises
    ------
    InputError
        The motion lacks a joint centre, or is too short for a recording.

    Notes
    -----
    How it is found: `bodyfit.study.planning.search.search`. Same question, same plan, whatever `jobs` is.
    """
    read, write = kept or (lambda key: None, lambda key, found: None)
    common = common_key(question)
    with worker_pool(_done, question, jobs, scheduler=scheduler) as pool:

        def work(wanted: Sequence[Job]) -> list[Found]:
            keys = {job: key_of(common, job) for job in wanted}
            have = {job: found for job in wanted if (found := read(keys[job])) is not None}
            missing = [job for job in wanted if job not in have]
            for job, found in results_of(pool.run(missing)):
                write(keys[job], found)
                have[job] = found
            return [have[job] for job in wanted]

        return search(question, work, progress, about)


def _done(question: Question, job: Job, tell: Tell) -> Found:
    """A job done; it is too short to tell of its progress."""
    return done(question, job)


def common_key(question: Question) -> str:
    """A hash of what all jobs of a question share."""
    shared = (question.motion, question.settings, question.mounting_sd, question.tolerance, question.seed)
    return fingerprint(*shared)


def key_of(common: str, job: Job) -> str:
    """A hash of everything that a job's result depends on; `common` is `common_key` of the question."""
    return fingerprint(common, job)[:32]
