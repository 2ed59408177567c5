"""What a report is made from: the files of one fit, read and checked against each other."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from ...core.findings import Finding
from ...errors import InputError
from ...files.findings_file import FILE, read_findings
from ...files.fit_folder import FILES
from ...files.motion.pose_tables import JointTable, read_joints
from ...files.movement.happened import Happened, read_happened
from ...files.plain.readable import is_file, is_folder
from ...files.scene.glb import read_glb
from ...files.summary_file import read_summary
from ...results.summary import Summary
from ..pages.names import Names

Angles = Mapping[str, Mapping[str, np.ndarray]]


@dataclass(frozen=True, eq=False)
class FitFiles:
    """The files of one fit.

    Attributes
    ----------
    folder : that they lie in, as it was given
    time : (T,) s
    angles, angle_sd : joint name -> angle name -> (T,) rad; an angle without standard deviation is left out
    summary : what the fit tells of itself
    findings : of findings.json; of summary.json where nobody has reviewed the fit yet; most harmful first
    reviewed : there is a findings.json
    scene : pose.glb: the description, and the array of each accessor
    happened : what the commands on movement wrote beside the fit
    segments : path of segments.csv, which only a picture of the path needs
    digests : file name -> SHA-256 of what was read
    """

    folder: Path
    time: np.ndarray
    angles: Angles
    angle_sd: Angles
    summary: Summary
    findings: tuple[Finding, ...]
    reviewed: bool
    scene: tuple[dict[str, Any], list[np.ndarray]]
    happened: Happened
    segments: Path
    digests: Mapping[str, str]

    @cached_property
    def names(self) -> Names:
        """Names of joints, segments and units in words."""
        told = self.summary
        worn = {one.segment for one in told.units.values()}
        segments = dict.fromkeys([*worn, *(s for j in told.joints.values() for s in (j.parent, j.child))])
        return Names(told.joints, segments, told.units)


def read_fit_files(folder: Path) -> FitFiles:
    """The files that `bodyfit fit` wrote to a folder, and findings.json where it is there.

    Raises
    ------
    InputError
        A file is missing or damaged, or two of them are not of the same fit.
    """
    _check_there(folder)
    told = read_summary(folder / "summary.json")
    table = read_joints(folder / "joints.csv")
    names = _angle_names(folder, told.summary, table)
    found = folder / FILE
    happened = read_happened(folder, float(table.time[0]), float(table.time[-1]))
    read = [*FILES, *([found.name] if found.is_file() else []), *happened.tables]
    return FitFiles(
        folder,
        table.time,
        {joint: {a: table.angles[f"{joint}_{a}"] for a in angles} for joint, angles in names.items()},
        {
            joint: {a: table.angle_sd[f"{joint}_{a}"] for a in angles if f"{joint}_{a}" in table.angle_sd}
            for joint, angles in names.items()
        },
        told.summary,
        read_findings(found) if found.is_file() else told.findings,
        found.is_file(),
        read_glb(folder / "pose.glb"),
        happened,
        folder / "segments.csv",
        {name: hashlib.sha256((folder / name).read_bytes()).hexdigest() for name in read},
    )


def _check_there(folder: Path) -> None:
    if not is_folder(folder):
        raise InputError(f"{folder}: no such folder; expected the OUT of `bodyfit fit CAPTURE --out OUT`")
    missing = [name for name in FILES if not is_file(folder / name)]
    if missing:
        raise InputError(
            f"{folder}: {', '.join(missing)} missing; expected the files that `bodyfit fit CAPTURE --out "
            f"{folder}` writes ({', '.join(FILES)}). Run it first"
        )


def _angle_names(folder: Path, summary: Summary, table: JointTable) -> dict[str, list[str]]:
    """Joint -> its angles, those that summary.json tells of, in the order of joints.csv."""
    place = {name: number for number, name in enumerate(table.angles)}
    names = {joint: list(told.angles) for joint, told in summary.joints.items()}
    for joint, angles in names.items():
        if summary.joints[joint].inferred and not any(f"{joint}_{angle}" in place for angle in angles):
            angles.clear()  # no unit measured it, and nobody asked for it
        for angle in angles:
            if f"{joint}_{angle}" not in place:
                raise InputError(
                    f"{folder / 'joints.csv'}: no column '{joint}_{angle}_deg', which summary.json tells of; "
                    "the two are not of the same fit. Run the fit again"
                )
        angles.sort(key=lambda angle: place[f"{joint}_{angle}"])
    first = {joint: place[f"{joint}_{angles[0]}"] for joint, angles in names.items() if angles}
    return {joint: names[joint] for joint in sorted(first, key=lambda joint: first[joint])}
