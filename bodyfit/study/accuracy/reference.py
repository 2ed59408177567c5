"""A motion to compare others with: the truth, or the solution with every sensor."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

import numpy as np
from scipy.spatial.transform import Rotation

from ...body.chain import BodyModel
from ...core.cards import Card, Shown, counted
from ...errors import InputError
from ...fitting.result import Fit
from ...recording.capture import Capture
from .recording_conditions import Circumstances
from .rotation_error import Pair, picked

FIELD_ROWS = 500  # of each unit, at most, that tell which way the field points; chosen; not tried
FIELD_LEAST = 0.5  # length of the mean of directions from which on they count as one; chosen; not tried


@dataclass(frozen=True, eq=False, repr=False)
class Reference(Shown):
    """A motion to compare with, and what went on meanwhile.

    Attributes
    ----------
    time : (N,) s
    rotations : segment name -> rotation of length N, world_from_segment, any heading
    seen : segment name -> (N,) whether the row holds its rotation; of segments without an entry all do
    angle_sd : joint -> angle -> (N,) rad, where the motion is itself a solution; None: it is the truth
    drawn : the body with every joint centre, to draw motions with; None: none are drawn
    magnetic : (3,) direction of the magnetic field in the motion's world; None: unknown
    meanwhile : shaking and field over time; None: unknown
    """

    time: np.ndarray
    rotations: Mapping[str, Rotation]
    seen: Mapping[str, np.ndarray] = field(default_factory=dict)
    angle_sd: Mapping[str, Mapping[str, np.ndarray]] | None = None
    drawn: BodyModel | None = None
    magnetic: np.ndarray | None = None
    meanwhile: Circumstances | None = None

    def _card(self) -> Card:
        count = len(self.time)
        span = f", {self.time[0]:.2f} to {self.time[-1]:.2f} s" if count else ""
        kind = "the truth" if self.angle_sd is None else "itself a solution"
        segments = f"segments {', '.join(self.rotations)}"
        return Card("Reference motion", (f"{counted(count, 'frame')}{span}; {kind}", segments))

    def rows(self, *segments: str) -> np.ndarray:
        """(N,) whether a row shows all of these segments."""
        out = np.ones(len(self.time), bool)
        for name in segments:
            out &= self.seen.get(name, True)
        return out

    def track(self, segment: str) -> tuple[np.ndarray, Rotation]:
        """Times and rotations of one segment, where it was seen."""
        rows = self.rows(segment)
        return self.time[rows], picked(self.rotations[segment], rows)


def pair_of(solution: Fit, reference: Reference, parent: str | None, child: str) -> Pair:
    """Found and true rotation of a child against its parent; against the world where there is no parent."""
    rows = reference.rows(child) if parent is None else reference.rows(parent, child)
    found, true = solution.rotations[child], picked(reference.rotations[child], rows)
    if parent is not None:
        found = solution.rotations[parent].inv() * found
        true = picked(reference.rotations[parent], rows).inv() * true
    return Pair(solution.time, found, reference.time[rows], true)


def heading_offset(solution: Fit, reference: Reference, segments: Collection[str]) -> float:
    """By how much a solution faces away from a reference, rad about +Y; 0 where no segment is in both.

    Parameters
    ----------
    solution, reference : to compare
    segments : by which to judge, those that carry a unit

    Returns
    -------
    rad, circular mean over segments and times
    """
    total = 0j
    for name in (name for name in segments if name in reference.rotations):
        pair = pair_of(solution, reference, None, name)
        if len(pair.true_time) > 1 and pair.covered().any():
            found, true = pair.matched()
            q = (found * true.inv()).as_quat()
            total += np.mean(np.exp(2j * np.arctan2(q[:, 1], q[:, 3])))
    return float(np.angle(total)) if total else 0.0


def field_direction(
    capture: Capture, rotations: Reference, mounting: Mapping[str, np.ndarray]
) -> np.ndarray | None:
    """Which way the magnetic field points in the world of a reference.

    Parameters
    ----------
    capture : its magnetometers
    rotations : of the segments
    mounting : unit -> segment_from_unit (3, 3)

    Returns
    -------
    (3,) of length one, or None where no magnetometer tells or they do not agree

    Notes
    -----
    Mean of R m / |m| over units and times: turns about it are what a magnetometer does not see.
    """
    means = []
    for name, unit in capture.units.items():
        m = unit.magnetometer
        if m is None or unit.segment not in rotations.rotations or name not in mounting:
            continue
        time, true = rotations.track(str(unit.segment))
        ok = np.isfinite(m).all(1) & (np.linalg.norm(np.nan_to_num(m), axis=1) > 0)
        if len(time) < 2 or not ok.any():
            continue
        some = np.flatnonzero(ok)[:: max(1, ok.sum() // FIELD_ROWS)]
        pair = Pair(unit.time[some], Rotation.identity(len(some)), time, true)
        at = some[pair.covered()]
        if len(at):
            R = pair.matched()[1]
            means.append(
                np.mean(R.apply(m[at] @ mounting[name].T) / np.linalg.norm(m[at], axis=1)[:, None], 0)
            )
    mean = np.mean(means, axis=0) if means else np.zeros(3)
    length = np.linalg.norm(mean)
    return mean / length if length >= FIELD_LEAST else None


def check_reference(capture: Capture, reference: Reference) -> None:
    """Refuses a reference that shows no joint of the capture's body, or none of its time.

    Raises
    ------
    InputError
    """
    joints = list(capture.model.joints.values())
    there = any({joint.parent, joint.child} <= set(reference.rotations) for joint in joints)
    if joints and not there:
        raise InputError(
            f"reference: it has {', '.join(reference.rotations)}; expected both segments of at least "
            f"one joint of {', '.join(f'{j.parent} and {j.child}' for j in joints)}"
        )
    if not joints and capture.model.root not in reference.rotations:
        raise InputError(
            f"reference: it has {', '.join(reference.rotations)}; expected {capture.model.root}, the only "
            "segment of the capture's body"
        )
    start = max(unit.time[0] for unit in capture.units.values())
    end = min(unit.time[-1] for unit in capture.units.values())
    if reference.time[0] >= end or reference.time[-1] <= start:
        raise InputError(
            f"reference: it lasts {reference.time[0]:.3f} to {reference.time[-1]:.3f} s, the capture "
            f"{start:.3f} to {end:.3f} s; expected times that overlap: put both on one clock"
        )
