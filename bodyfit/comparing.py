"""One recording solved in several ways: the cases, and how far each lies from truth or full solution."""

from __future__ import annotations

import dataclasses
import time as clock
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from . import __version__
from .body import BodyModel
from .capture import SENSORS, Capture
from .circumstances import Circumstances, circumstances
from .errors import BodyfitError, InputError, suggest
from .fitting import Fit, fit
from .motion_scores import score_motion
from .reference import Reference, field_direction
from .stick_figures import at_times, stick_figure
from .turn_scores import Score

SETS = (
    ("accelerometer",),
    ("gyroscope",),
    ("magnetometer",),
    ("orientation",),
    ("accelerometer", "magnetometer"),
    ("gyroscope", "magnetometer"),
    ("accelerometer", "gyroscope"),
    ("accelerometer", "gyroscope", "magnetometer"),
)
CLOSE_DEG = 1.0  # within which an error counts as close to the least one
SHORT = {"accelerometer": "acc", "gyroscope": "gyro", "magnetometer": "mag", "orientation": "fused"}


@dataclass(frozen=True)
class Case:
    """One way to solve a recording.

    Attributes
    ----------
    sensors : names of the sensors used, in the order of `bodyfit.capture.SENSORS`
    body : with the body model, or each unit by itself
    leave_out : units treated as not worn
    """

    sensors: tuple[str, ...]
    body: bool = True
    leave_out: tuple[str, ...] = ()

    @property
    def short(self) -> str:
        """The sensors in short, for tables."""
        return "+".join(SHORT[name] for name in self.sensors)

    @property
    def name(self) -> str:
        """The case in words."""
        without = f", without {' and '.join(self.leave_out)}" if self.leave_out else ""
        return f"{' + '.join(self.sensors)}, {'with the body' if self.body else 'each unit alone'}{without}"


@dataclass(frozen=True)
class CaseResult:
    """What came of one case; plain data.

    Attributes
    ----------
    case : that was run
    joints : joint -> how far its rotation is from the reference's
    overall : mean over the joints, axis and its errors taken over all of them; None: refused
    across : "<upper> to <lower>" -> the same for two segments that only segments without a unit lie between
    inferred : segment without a unit -> the same for its rotation in the world, headings made to agree
    curve : "time_s" and "all", each joint by name -> root mean square error in degrees, by stretch of time
    parts : of `curve["all"]`, "heading", "inclination", "about field", "across field", as far as known
    figure : the motion to play, see `stick_figure`, its root turned as the reference's; empty: none
    clock_offset_s : taken off the reference's clock
    seconds : that it took
    refused : why there is no solution; empty: there is one
    """

    case: Case
    joints: Mapping[str, Score] = field(default_factory=dict)
    overall: Score | None = None
    across: Mapping[str, Score] = field(default_factory=dict)
    inferred: Mapping[str, Score] = field(default_factory=dict)
    curve: Mapping[str, Sequence[float | None]] = field(default_factory=dict)
    parts: Mapping[str, Sequence[float | None]] = field(default_factory=dict)
    figure: Mapping[str, list] = field(default_factory=dict)
    clock_offset_s: float = 0.0
    seconds: float = 0.0
    refused: str = ""

    def as_data(self) -> dict[str, Any]:
        """As plain mappings, lists and numbers."""
        return dataclasses.asdict(self)

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> CaseResult:
        """The result that `as_data` wrote; KeyError or TypeError where it is something else."""
        case = data["case"]
        parts = {
            "case": Case(tuple(case["sensors"]), case["body"], tuple(case["leave_out"])),
            **{kind: _scores(data[kind]) for kind in ("joints", "across", "inferred")},
            "overall": None if data["overall"] is None else Score(**data["overall"]),
        }
        return cls(**{**data, **parts})


@dataclass(frozen=True)
class Comparison:
    """All cases of one recording.

    Attributes
    ----------
    title : of the capture
    against : what errors are counted from
    to_truth : whether that is a reference; else it is the full solution
    results : one a case, in the order of the cases
    lines : pairs of points that a line joins in every figure
    truth : the reference's figure, as those of the results; empty: it can't be drawn
    meanwhile : shaking and field over time; None: unknown
    version : of bodyfit
    """

    title: str
    against: str
    to_truth: bool
    results: tuple[CaseResult, ...]
    lines: Sequence[tuple[int, int]] = ()
    truth: Mapping[str, list] = field(default_factory=dict)
    meanwhile: Circumstances | None = None
    version: str = __version__

    def as_data(self) -> dict[str, Any]:
        """As plain mappings, lists and numbers, without the figures, which are for the page."""
        data = {name: getattr(self, name) for name in ("title", "against", "to_truth", "version")}
        results = [dataclasses.replace(result, figure={}).as_data() for result in self.results]
        return {**data, "in_short": self.in_short, "results": results}

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
        from .formats.comparison import write_comparison

        write_comparison(self, Path(out))

    @property
    def in_short(self) -> str:
        """The set that errs least, and what else comes close to it; empty where there is no solution."""
        whole = [r for r in self.results if r.overall is not None and not r.case.leave_out]
        if not self.to_truth:
            whole = [r for r in whole if r.case != self.full]
        if not whole:
            return ""
        ranked = sorted(whole, key=lambda r: r.overall.rmse_deg)  # type: ignore[union-attr]
        best, limit = ranked[0], ranked[0].overall.rmse_deg + CLOSE_DEG  # type: ignore[union-attr]
        near = [_with_error(r) for r in ranked[1:] if r.overall.rmse_deg <= limit]  # type: ignore[union-attr]
        first = "Least error" if self.to_truth else "Nearest to the full solution"
        close = (
            f"Within {CLOSE_DEG:g}° of that: {'; '.join(near)}."
            if near
            else "None else comes within 1° of that."
        )
        return f"{first}: {_with_error(best)}. {close}"

    @property
    def full(self) -> Case | None:
        """The case with every sensor and unit, with the body."""
        whole = [r.case for r in self.results if r.case.body and not r.case.leave_out]
        return max(whole, key=lambda case: len(case.sensors), default=None)


def full_case(capture: Capture) -> Case:
    """The case with every sensor and unit that a capture has, with the body."""
    carried = set().union(*(unit.sensors for unit in capture.units.values()))
    return Case(tuple(name for name in SENSORS if name in carried))


def cases_of(
    capture: Capture,
    words: Sequence[str] | None = None,
    leave_out_each: bool = False,
    subsets: Sequence[Sequence[str]] = (),
) -> tuple[Case, ...]:
    """What is to be solved.

    Parameters
    ----------
    capture : decides which sensors there are
    words : sensor sets such as "accelerometer+gyroscope", "acc+gyro" or "all"; None: all that make sense
    leave_out_each : also every unit left out, one at a time
    subsets : also these units left out together; units are left out with each set in `words`, else with
        every sensor

    Returns
    -------
    cases : each set with the body and without, then units left out, with the body and every sensor

    Raises
    ------
    InputError
        A word or a unit that there is not.
    """
    full = full_case(capture)
    if words is None:
        sets = [s for s in map(_ordered, SETS) if set(s) <= set(full.sensors)]
    else:
        sets = [sensors_of(word, full.sensors) for word in words]
    left = [[name] for name in capture.units if leave_out_each] + [list(names) for names in subsets]
    for name in (name for names in left for name in names):
        if name not in capture.units:
            raise InputError(f"leave out: no unit {name!r} in the capture; {suggest(name, capture.units)}")
    fewer = [full.sensors] if words is None else sets
    without = [Case(s, True, tuple(sorted(set(names)))) for s in fewer for names in left]
    whole = dict.fromkeys([*sets, full.sensors])
    return tuple(dict.fromkeys([*(Case(s, body) for s in whole for body in (True, False)), *without]))


def sensors_of(word: str, carried: Collection[str]) -> tuple[str, ...]:
    """The sensor set that a word such as "acc+gyro" names.

    Raises
    ------
    InputError
        A part is not the beginning of one sensor that the capture has.
    """
    if word.strip() == "all":
        return _ordered(carried)
    found = []
    for part in word.split("+"):
        named = [name for name in carried if part.strip() and name.startswith(part.strip())]
        if len(named) != 1:
            raise InputError(
                f"sets: found {part.strip()!r} in {word!r}; {suggest(part.strip(), (*carried, 'all'))}; "
                "sensors of one set are joined by +"
            )
        found.append(named[0])
    return _ordered(found)


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
    return stick_figure(solution.time, solution.rotations, reference.drawn, root)


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


def _scores(data: Mapping[str, Any]) -> dict[str, Score]:
    return {name: Score(**score) for name, score in data.items()}


def _with_error(result: CaseResult) -> str:
    body = "with the body" if result.case.body else "alone"
    return f"{result.case.short} {body} {result.overall.rmse_deg:.2f}°" if result.overall else ""


def _ordered(names: Collection[str]) -> tuple[str, ...]:
    return tuple(name for name in SENSORS if name in names)


def _since(started: float) -> float:
    return round(clock.perf_counter() - started, 2)
