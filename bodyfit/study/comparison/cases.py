"""The ways in which one recording is solved for a comparison."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from ...errors import InputError, suggest
from ...recording.capture import SENSORS, SHORT, Capture

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


@dataclass(frozen=True)
class Case:
    """One way to solve a recording.

    Attributes
    ----------
    sensors : names of the sensors used, in the order of `bodyfit.recording.capture.SENSORS`
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
    def in_full(self) -> str:
        """The sensors in words."""
        return " + ".join(self.sensors)

    @property
    def name(self) -> str:
        """The case in words."""
        without = f", without {' and '.join(self.leave_out)}" if self.leave_out else ""
        return f"{self.in_full}, {'with the body' if self.body else 'each unit alone'}{without}"


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


def _ordered(names: Collection[str]) -> tuple[str, ...]:
    return tuple(name for name in SENSORS if name in names)
