"""One case of a comparison: the recording solved in that way, and how far it lies from the reference."""

from __future__ import annotations

import dataclasses
import time as clock

from ...body.chain import BodyModel
from ...errors import BodyfitError
from ...fitting.fit import fit
from ...fitting.result import Fit
from ...recording.capture import Capture
from ..accuracy.recording_conditions import circumstances
from ..accuracy.reference import Reference, field_direction
from ..accuracy.score_motion import score_motion
from .cases import Case, full_case
from .moving_figure import at_times, moving_figure
from .result import CaseResult


def run_case(capture: Capture, case: Case, reference: Reference, align_clock: bool = False) -> CaseResult:
    """One case solved and compared; a refusal is a result too.

    Parameters
    ----------
    capture, case : what to solve, and how
    reference : what to compare with
    align_clock : take a constant offset of up to ±30 ms off the reference's clock

    Returns
    -------
    CaseResult
    """
    started = clock.perf_counter()
    try:
        solution = solved(capture, case)
        scores = score_motion(solution, reference, without_unit(capture, case), align_clock)
    except BodyfitError as error:
        return CaseResult(case, refused=" ".join(str(error).split()), seconds=_since(started))
    figure = _figure(solution, reference, scores["clock_offset_s"])
    return CaseResult(case, **scores, figure=figure, seconds=_since(started))


def without_unit(capture: Capture, case: Case) -> list[str]:
    """Segments of the body on which no unit is worn in this case."""
    worn = [unit.segment for name, unit in capture.units.items() if name not in case.leave_out]
    return [name for name in capture.model.segments if name not in worn]


def _figure(solution: Fit, reference: Reference, lag: float) -> dict[str, list]:
    """The solution to play; nothing where it can't be drawn."""
    if reference.drawn is None:
        return {}
    root = None
    if reference.drawn.root in reference.rotations:
        root = at_times(*reference.track(reference.drawn.root), solution.time + lag)
    return moving_figure(solution.time, solution.rotations, reference.drawn, root)


def solved(capture: Capture, case: Case) -> Fit:
    """The fit of a case."""
    return fit(capture, sensors=case.sensors, alone=not case.body, leave_out=case.leave_out)


def full_solution(capture: Capture, drawn: BodyModel | None = None) -> Reference:
    """The full case as what others are compared with, with its standard deviations."""
    found = solved(capture, full_case(capture))
    sd = found.joint_angle_sd or {}
    return told(capture, Reference(found.time, found.rotations, angle_sd=sd, drawn=drawn), found)


def told(capture: Capture, reference: Reference, full: Fit | None = None) -> Reference:
    """The reference with where the field points in its world, and how units were shaken.

    Parameters
    ----------
    capture : the recording
    reference : without these
    full : the full solution, which says how units sit; None: it is made; where it is refused the field
        stays unknown

    Returns
    -------
    Reference
    """
    try:
        full = full or solved(capture, full_case(capture))
        mounting = {name: M for name, (M, _) in full.mounting.items()}
    except BodyfitError:
        mounting = {}
    magnetic = field_direction(capture, reference, mounting)
    return dataclasses.replace(reference, magnetic=magnetic, meanwhile=circumstances(capture))


def _since(started: float) -> float:
    return round(clock.perf_counter() - started, 2)
