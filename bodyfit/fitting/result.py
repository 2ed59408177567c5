"""A fit: the motion, what was found about units and joints, and how sure all of it is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.spatial.transform import Rotation

from ..body.motion.poses import PoseSequence
from ..core.cards import Card, Shown
from ..core.findings import Finding, Findings, counted_findings
from ..errors import InputError
from ..estimator.uncertainty.segments import SegmentSureness
from ..files.fit_folder import angle_sd_of, in_written_order, read_mountings
from ..files.motion.pose_tables import read_joints, read_segments
from ..files.summary_file import AGAIN, read_summary
from ..recording.trials import Trial
from ..results.summary import Summary

if TYPE_CHECKING:
    from matplotlib.figure import Figure


@dataclass(frozen=True, eq=False, repr=False)
class Fit(Shown):
    """A motion with all that was found on the way.

    Attributes
    ----------
    poses : every segment's rotation over time, joint angles, positions
    summary : what was estimated and how well it agrees; summary.json holds it under the same names
    joint_angle_sd : joint -> angle -> (T,) rad, standard deviation; nothing of joints that were not measured
    mounting : unit -> segment_from_unit (3, 3) and the covariance (3, 3), rad², of the rotation vector φ with
        Exp(φ) segment_from_unit true, segment frame
    findings : about the capture and how units sit, most harmful first
    segment_sd : segment -> standard deviations of its heading, inclination and place at every frame
    trials : recordings that the capture was joined from, on its clock; empty: it is one
    """

    poses: PoseSequence
    summary: Summary
    joint_angle_sd: Mapping[str, Mapping[str, np.ndarray]] | None = None
    mounting: Mapping[str, tuple[np.ndarray, np.ndarray]] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    segment_sd: Mapping[str, SegmentSureness] = field(default_factory=dict)
    trials: tuple[Trial, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "findings", Findings(self.findings))

    @property
    def time(self) -> np.ndarray:
        """(T,) s."""
        return self.poses.time

    @property
    def rotations(self) -> Mapping[str, Rotation]:
        """Segment name -> Rotation of length T, world_from_segment."""
        return self.poses.rotations

    @property
    def joint_angles(self) -> Mapping[str, Mapping[str, np.ndarray]]:
        """Joint name -> angle name -> (T,) rad."""
        return self.poses.joint_angles

    @property
    def start_time(self) -> str | None:
        """Moment from which `time` counts, ISO 8601; None: not known."""
        return self.summary.sampling.start_time

    @property
    def inferred_joints(self) -> tuple[str, ...]:
        """Joints with no unit on one side: nothing measured them, see their standard deviations."""
        return self.summary.inferred_joints

    def write(self, out: str | Path, inferred: bool = False) -> None:
        """Writes segments.csv, joints.csv, pose.glb and summary.json to a folder, all or none.

        Of a capture of several trials also trials.csv.

        Parameters
        ----------
        out : folder, made if missing
        inferred : whether joints.csv also holds joints with no unit on one side

        Raises
        ------
        OutputError
            It can't be written; nothing half-written is left.
        """
        from ..files.fit_folder import write_fit

        write_fit(self, out, inferred=inferred)

    def export(self, path: str | Path, format: str | None = None) -> tuple[str, ...]:
        """Writes the fit as .c3d, .xlsx, .parquet or .nc, or as a BIDS-Motion folder.

        Parameters
        ----------
        path : of the file, or of the folder
        format : c3d, xlsx, parquet, nc or bids; None: by the ending of the path

        Returns
        -------
        sentences on what the format could not hold; `bodyfit.export` also takes raw samples, events, strides

        Raises
        ------
        InputError, OutputError
            As `bodyfit.export`.
        """
        from ..files.exchange.export import export

        return export(self, path, format).left_out

    def to_frame(self, inferred: bool = False) -> Any:
        """The joint angles as a tidy pandas table: one row an angle and frame.

        Parameters
        ----------
        inferred : whether joints with no unit on one side go along

        Returns
        -------
        pandas.DataFrame with time_s, joint, angle, value_deg, sd_deg (NaN: not known); of several trials also
        trial, empty in the pauses between them
        """
        from ..files.motion.tidy_table import angle_frame

        joints = [name for name in self.joint_angles if inferred or name not in self.inferred_joints]
        return angle_frame(self, joints)

    def to_xarray(self, inferred: bool = False) -> Any:
        """The fit as labelled arrays, with units, standard deviations and conventions.

        Parameters
        ----------
        inferred : whether joints with no unit on one side go along

        Returns
        -------
        xarray.Dataset: `angle` and `angle_sd` (time, joint_angle), degree; `rotation` (time, segment,
        quaternion), `position` (time, segment, axis), m; `heading_sd`, `inclination_sd`, degree, and
        `position_sd`, m (time, segment), where known; NaN: not known. Attributes tell frames and cautions

        Raises
        ------
        OutputError
            xarray is not installed: pip install 'bodyfit[exchange]'.
        """
        from ..files.exchange.dataset import dataset
        from ..files.exchange.handover import handover

        return dataset(handover(self, inferred=inferred))

    def plot_joint(self, name: str) -> Figure:
        """A matplotlib figure of one joint's three angles, with the 95 % band and the published range.

        Parameters
        ----------
        name : of the joint, e.g. "r_knee"

        Returns
        -------
        matplotlib.figure.Figure, degrees over s; `figure.savefig("knee.pdf")` writes it

        Raises
        ------
        InputError
            The body has no such joint.
        """
        return self.plot_joints([name])

    def plot_joints(self, names: Sequence[str]) -> Figure:
        """A matplotlib figure of several joints, a column each; left and right of one joint share theirs.

        Parameters
        ----------
        names : of the joints, e.g. ["l_knee", "r_knee"]

        Returns
        -------
        matplotlib.figure.Figure, degrees over s; no band where there is no standard deviation

        Raises
        ------
        InputError
            The body lacks one of them, or none is named.
        """
        from ..body.motion.joint_plots import joint_figure

        return joint_figure(self.poses, names, self.joint_angle_sd)

    def _card(self) -> Card:
        told = self.summary._card()
        return replace(told, facts=(*told.facts, f"findings {counted_findings(self.findings)}"))


def read_fit(out: str | Path) -> Fit:
    """The fit in a folder, from its segments.csv, joints.csv and summary.json.

    Parameters
    ----------
    out : folder that `Fit.write` or `bodyfit fit` wrote

    Returns
    -------
    Fit; figures and findings as they were, arrays as they were written: quaternions to 1e-9, angles to 1e-6
    degrees, mountings to 1e-6. No file holds `segment_sd`, and of the body no meshes, poses to be held and
    usual postures: these are empty

    Raises
    ------
    InputError
        A file is missing or is not what a fit writes.
    """
    out = Path(out)
    told = read_summary(out / "summary.json")
    table, joints = read_segments(out / "segments.csv"), read_joints(out / "joints.csv")
    missing = [segment for segment in told.model.segments if segment not in table.rotations]
    if missing:
        raise InputError(
            f"{out / 'segments.csv'}: no columns of segment {missing[0]!r}, which the body in summary.json "
            f"has. {AGAIN}"
        )
    model = in_written_order(told.model, table.rotations)
    root = table.positions.get(model.root) if told.summary.root_followed else None
    rotations = {segment: table.rotations[segment] for segment in model.segments}
    return Fit(
        PoseSequence(table.time, rotations, model, root),
        told.summary,
        angle_sd_of(joints, model),
        read_mountings(told.summary),
        told.findings,
        trials=tuple(trial.trial for trial in told.summary.sampling.trials),
    )
