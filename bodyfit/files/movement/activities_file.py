"""activities.csv: one row a stretch of an activity."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from ...errors import OutputError
from ..plain.atomic_file import check_folder, whole_file

if TYPE_CHECKING:
    from pandas import DataFrame

FILE = "activities.csv"
COLUMNS = ("start_s", "end_s", "activity", "probability")


class StretchLike(Protocol):
    """What a row holds."""

    @property
    def start(self) -> float:
        """S."""
        ...

    @property
    def end(self) -> float:
        """S."""
        ...

    @property
    def activity(self) -> str:
        """Name."""
        ...

    @property
    def probability(self) -> float:
        """0 to 1."""
        ...


def activities_frame(stretches: Sequence[StretchLike]) -> DataFrame:
    """The timeline as a pandas table, columns as in activities.csv."""
    from pandas import DataFrame

    return DataFrame([(s.start, s.end, s.activity, s.probability) for s in stretches], columns=list(COLUMNS))


def write_activities(stretches: Sequence[StretchLike], out: str | Path) -> Path:
    """Path of activities.csv, now written whole to a folder.

    Parameters
    ----------
    stretches : in the order of time
    out : folder, made if missing

    Raises
    ------
    OutputError
        It can't be written; what stood there before is still there.
    """
    out = Path(out)
    check_folder(out, (FILE,))
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{out}: can't be made: {error.strerror}; choose another folder") from error
    rows = [",".join(COLUMNS)]
    rows += [f"{s.start:.3f},{s.end:.3f},{s.activity},{s.probability:.3f}" for s in stretches]
    with whole_file(out / FILE) as partial:
        partial.write_text("\n".join(rows) + "\n", "utf-8")
    return out / FILE
