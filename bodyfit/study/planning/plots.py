"""A plan's chart as SVG that stretches: every set that was looked at, error against number of units."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape

from ..pages.parts import axis_labels
from ..pages.ticks import LogScale, Tick
from ..pages.whole_page import placed
from .result import PlanResult
from .set_result import SetResult

HEIGHT = 340  # px
LABELS = 9  # up the scale, at most
SPREAD = 0.7  # of a column's width, over which sets of as many units are spread by their axes
COLUMNS = 12  # numbers of units that are named below, at most, so that they stay apart on a phone


@dataclass(frozen=True)
class Measure:
    """What the chart's height stands for.

    Attributes
    ----------
    words : above the chart
    unit : behind a number
    limit : where the tolerance stands
    """

    words: str
    unit: str
    limit: float

    @classmethod
    def of(cls, tolerance_deg: Mapping[str, float]) -> Measure:
        """Degrees where every angle has the same tolerance, else per cent of each one's own."""
        limits = set(tolerance_deg.values())
        if len(limits) == 1:
            return cls("Error of the angle that is worst", "°", limits.pop())
        return cls("Error of the angle that is worst, in per cent of its tolerance", " %", 100.0)


def sets_chart(plan: PlanResult) -> str:
    """All sets, their error against their number of units, the tolerance as a line.

    Parameters
    ----------
    plan : with its results

    Returns
    -------
    HTML
    """
    measure, tolerance = Measure.of(plan.tolerance_deg), plan.tolerance_deg
    told = {
        r.worn: (measure.limit * r.worst_bound(tolerance), _simulated(r, plan, measure)) for r in plan.results
    }
    scale = LogScale.around([measure.limit, *(v for pair in told.values() for v in pair if v is not None)])
    place = _columns(plan.results)
    lines = [_level(_down(scale, float(t.text)), "grid") for t in scale.ticks(LABELS)]
    lines.append(_level(_down(scale, measure.limit), "limit"))
    dots = [_dots(r, *told[r.worn], place[r.worn], scale, r == plan.answer, measure) for r in plan.results]
    counts = sorted({r.worn.units for r in plan.results})
    some = counts[:: -(-len(counts) // COLUMNS)]
    labels = axis_labels([Tick((counts.index(n) + 0.5) / len(counts), str(n)) for n in some], "")
    marks = "".join(
        f'<span class="{placed("px", top=_down(scale, float(t.text)))}">{t.text}{measure.unit}</span>'
        for t in scale.ticks(LABELS)
    )
    said = f"{measure.words} against number of units, {len(plan.results)} sets; a table has the figures"
    return (
        f'<p class="small">{measure.words}; logarithmic.</p>'
        f'<div class="chart" role="img" aria-label="{said}">'
        f'<div class="gutter">{marks}</div><div class="field"><svg height="{HEIGHT}">{"".join(lines + dots)}'
        f'</svg></div>{labels}<div class="across">number of units</div></div>{_key(plan, measure)}'
    )


def _simulated(result: SetResult, plan: PlanResult, measure: Measure) -> float | None:
    """Of the angle that is worst, in the chart's measure."""
    if not result.error_deg:
        return None
    return measure.limit * max(e / plan.tolerance_deg[name] for name, e in result.error_deg.items())


def _columns(results: Sequence[SetResult]) -> dict[object, float]:
    """Where each set stands along the chart, as a share: a column a size, more axes to the right."""
    counts = sorted({r.worn.units for r in results})
    out = {}
    for number, units in enumerate(counts):
        alike = [r.worn for r in results if r.worn.units == units]
        least, most = min(w.axes for w in alike), max(w.axes for w in alike)
        for worn in alike:
            aside = SPREAD * ((worn.axes - least) / (most - least) - 0.5) if most > least else 0.0
            out[worn] = (number + 0.5 + aside) / len(counts)
    return out


def _down(scale: LogScale, value: float) -> float:
    """Px from the top."""
    return 8 + (HEIGHT - 16) * (1 - scale.at(value))


def _level(y: float, look: str) -> str:
    return f'<line class="{look}" x1="0" x2="100%" y1="{y:.1f}" y2="{y:.1f}"/>'


def _dots(
    result: SetResult,
    predicted: float,
    simulated: float | None,
    x: float,
    scale: LogScale,
    answer: bool,
    measure: Measure,
) -> str:
    """A set: what is predicted of it, and, where recordings of it were simulated, what came out."""
    at = f"{100 * x:.2f}%"
    name = f"{result.worn.name}: predicted {predicted:.1f}{measure.unit}"
    out = f'<circle class="guess" cx="{at}" cy="{_down(scale, predicted):.1f}" r="4">'
    if simulated is None:
        return f"{out}<title>{escape(name)}</title></circle>"
    name = escape(f"{name}, simulated {simulated:.1f}{measure.unit}")
    look, size = ("answer", 8) if answer else ("tried", 5)
    return (
        f"{out}<title>{name}</title></circle>"
        f'<circle class="{look}" cx="{at}" cy="{_down(scale, simulated):.1f}" r="{size}">'
        f"<title>{name}</title></circle>"
    )


def _key(plan: PlanResult, measure: Measure) -> str:
    """What the marks are."""
    marks = [
        (
            '<line class="limit" x1="0" x2="100%" y1="50%" y2="50%"/>',
            f"tolerance, {measure.limit:g}{measure.unit}",
        ),
        ('<circle class="guess" cx="50%" cy="50%" r="4"/>', "predicted"),
        ('<circle class="tried" cx="50%" cy="50%" r="5"/>', "simulated recordings, root mean square"),
    ]
    if plan.answer:
        marks.append(('<circle class="answer" cx="50%" cy="50%" r="7"/>', "the answer, simulated"))
    said = " · ".join(f'<svg aria-hidden="true">{drawn}</svg> {words}' for drawn, words in marks)
    return (
        f'<p class="key small">{said}. Within a column, sets with more sensor axes stand further right.</p>'
    )
