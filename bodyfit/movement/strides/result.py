"""What happened, stride by stride: events, strides, where each foot went, and what is not known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from ...core.cards import Card, Shown, counted
from ...core.findings import Finding, Findings, counted_findings
from .averages import averages

CAUTION = (
    "Not a medical device: no gait diagnosis, no fall detection; no decision on treatment or return to work "
    "or sport without a licensed professional."
)


@dataclass(frozen=True)
class Event:
    """One instant of a stride.

    Attributes
    ----------
    time, time_sd : s
    side : "left", "right" or "none"
    event : heel_strike, foot_flat, heel_off, toe_off or mid_swing
    """

    time: float
    time_sd: float
    side: str
    event: str


@dataclass(frozen=True)
class Stride:
    """One stride, from heel strike to the next of the same foot; None: not known.

    Attributes
    ----------
    side : "left", "right" or "none"
    start, foot_flat, toe_off, mid_swing, end : s; heel strikes at both ends
    length, length_sd : m, horizontal, from flat foot to flat foot
    stance_share : of the stride's time
    double_support_share : likewise, both feet on the ground; zero in running
    toe_clearance : m, lowest of the toe in mid-swing
    height_change : m, of the ground, positive up
    turn : rad, of the foot, positive to the left
    """

    side: str
    start: float
    foot_flat: float | None
    toe_off: float | None
    mid_swing: float | None
    end: float
    length: float | None
    length_sd: float | None
    stance_share: float | None
    double_support_share: float | None
    toe_clearance: float | None
    height_change: float | None
    turn: float | None

    @property
    def duration(self) -> float:
        """Seconds."""
        return self.end - self.start

    @property
    def speed(self) -> float | None:
        """Metres per second, or None."""
        return None if self.length is None else self.length / self.duration


@dataclass(frozen=True, eq=False, repr=False)
class FootTrack(Shown):
    """Where a worn unit or a fitted foot went.

    Attributes
    ----------
    side : "left", "right" or "none"
    time : (K,) s
    place : (K, 3) m, +Y up, from where it started; its heading is its own and drifts unless a body was fitted
    """

    side: str
    time: np.ndarray
    place: np.ndarray

    def _card(self) -> Card:
        way = float(np.sum(np.linalg.norm(np.diff(self.place[:, [0, 2]], axis=0), axis=1)))
        return Card(
            f"Path of a foot, {self.side}", (f"{counted(len(self.time), 'instant')}, {way:.1f} m long",)
        )


@dataclass(frozen=True, eq=False, repr=False)
class Strides(Shown):
    """All strides of a recording.

    Attributes
    ----------
    events, strides : in the order of time
    tracks : side -> where the foot went
    found_from : what they were found from, in words
    findings : what to be wary of, most harmful first
    """

    events: tuple[Event, ...]
    strides: tuple[Stride, ...]
    tracks: Mapping[str, FootTrack] = field(default_factory=dict)
    found_from: str = ""
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "findings", Findings(self.findings))

    def _card(self) -> Card:
        facts = (f"from {self.found_from}", f"findings {counted_findings(self.findings)}")
        heads, rows = averages(self.stride_rows(), self.tracks)
        number = counted(len(self.strides), "stride")
        return Card(f"{number}, {counted(len(self.events), 'event')}", facts, heads, rows)

    def to_frame(self) -> Any:
        """The strides as a pandas table, one row each.

        Returns
        -------
        pandas.DataFrame with the columns of strides.csv; NaN where a value is not known
        """
        from ...files.movement.column_tables import by_column, frame
        from ...files.movement.stride_files import STRIDE_COLUMNS, WORDS

        return frame(by_column(self.stride_rows(), STRIDE_COLUMNS, WORDS))

    def events_frame(self) -> Any:
        """The events as a pandas table, one row each.

        Returns
        -------
        pandas.DataFrame with the columns of events.csv
        """
        from ...files.movement.column_tables import by_column, frame
        from ...files.movement.stride_files import EVENT_COLUMNS, WORDS

        return frame(by_column(self.event_rows(), EVENT_COLUMNS, WORDS))

    def write(self, out: str | Path) -> tuple[Path, ...]:
        """Writes events.csv and strides.csv to a folder.

        Parameters
        ----------
        out : folder, made if missing

        Returns
        -------
        paths of both files

        Raises
        ------
        OutputError
            One of them can't be written.
        """
        from ...files.movement.stride_files import write_strides

        return write_strides(self.event_rows(), self.stride_rows(), out)

    def event_rows(self) -> list[dict[str, Any]]:
        """One mapping an event, column -> value, as events.csv has them."""
        return [
            {"time_s": e.time, "time_sd_s": e.time_sd, "side": e.side, "event": e.event} for e in self.events
        ]

    def stride_rows(self) -> list[dict[str, Any]]:
        """One mapping a stride, column -> value or None, as strides.csv has them."""
        return [_row(stride) for stride in self.strides]


def _row(s: Stride) -> dict[str, Any]:
    return {
        "side": s.side,
        "start_s": s.start,
        "foot_flat_s": s.foot_flat,
        "toe_off_s": s.toe_off,
        "mid_swing_s": s.mid_swing,
        "end_s": s.end,
        "stride_time_s": s.duration,
        "stride_length_m": s.length,
        "stride_length_sd_m": s.length_sd,
        "speed_m_s": s.speed,
        "stance_percent": None if s.stance_share is None else 100 * s.stance_share,
        "double_support_percent": None if s.double_support_share is None else 100 * s.double_support_share,
        "toe_clearance_m": s.toe_clearance,
        "height_change_m": s.height_change,
        "turn_deg": None if s.turn is None else float(np.degrees(s.turn)),
    }
