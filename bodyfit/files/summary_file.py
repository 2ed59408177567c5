"""summary.json: what a fit tells of itself, with its body and findings, written and read back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..body.chain import BodyModel
from ..body.plain_data import body_data
from ..core.findings import Finding
from ..errors import suggest
from ..results.summary import Summary
from .findings_file import findings_of
from .model.model_file import model_from_data
from .plain.json_reader import read_json_object
from .plain.json_text import json_text
from .plain.records import Place, as_plain, from_plain

AGAIN = "Give the folder that `bodyfit fit … --out` wrote, or fit the capture again"
NOT_ITS_OWN = ("body", "findings", "warnings")  # keys of the file that are not of the summary


@dataclass(frozen=True, eq=False)
class SummaryFile:
    """The content of a summary.json.

    Attributes
    ----------
    summary : the fit's own account
    model : the scaled body that was used, without meshes
    findings : in the order of the file
    """

    summary: Summary
    model: BodyModel
    findings: tuple[Finding, ...]


def summary_text(summary: Summary, model: BodyModel, findings: Sequence[Finding]) -> str:
    """The text of summary.json.

    Parameters
    ----------
    summary : what the fit tells of itself
    model : the scaled body that was used
    findings : most harmful first
    """
    return json_text(
        {
            **as_plain(summary),
            "body": body_data(model),
            "findings": [finding.as_data() for finding in findings],
            "warnings": [f.sentence for f in findings if f.severity != "note"],
        }
    )


def read_summary(path: Path) -> SummaryFile:
    """The content of a summary.json.

    Parameters
    ----------
    path : of the file

    Raises
    ------
    InputError
        The file is missing or not what a fit writes; names file and key.
    """
    content, place = read_json_object(path, AGAIN), Place(path, AGAIN)
    for key in NOT_ITS_OWN:
        if key not in content:
            place.of(key).refuse("this key is missing")
    own = {key: value for key, value in content.items() if key not in NOT_ITS_OWN}
    from_plain(tuple[str, ...], content["warnings"], place.of("warnings"))  # told once more as findings
    summary, model = from_plain(Summary, own, place), _body(content["body"], place.of("body"))
    _check_names(summary, model, place)
    return SummaryFile(summary, model, findings_of(content["findings"], place.of("findings")))


def _body(data: Any, place: Place) -> BodyModel:
    body = from_plain(dict[str, Any], data, place)
    if body.get("source") == "":  # earlier versions wrote an unknown source so
        body = {key: value for key, value in body.items() if key != "source"}
    return model_from_data(body, place.file, place.key)


def _check_names(summary: Summary, model: BodyModel, place: Place) -> None:
    """Refuses joints, segments and units that are not those of the body and of the capture."""
    for name in model.joints:
        if name not in summary.joints:
            place.of("joints").refuse(f"no joint {name!r}, which body has")
    for name, joint in summary.joints.items():
        _among(name, model.joints, place.of("joints").of(name))
        for angle in joint.angles:
            _among(angle, model.joints[name].angles, place.of("joints").of(name).of("angles").of(angle))
    for name in (*summary.segments, *summary.sampling.inferred_s):
        key = "segments" if name in summary.segments else "sampling.inferred_s"
        _among(name, model.segments, place.of(key).of(name))
    for name, unit in summary.units.items():
        _among(unit.segment, model.segments, place.of("units").of(name).of("segment"))
    for name in summary.clocks:
        _among(name, summary.units, place.of("clocks").of(name))
    for number, slip in enumerate(summary.slips):
        _among(slip.unit, summary.units, place.of("slips").at(number).of("unit"))


def _among(name: str, known: Iterable[str], place: Place) -> None:
    if name not in known:
        place.refuse(f"found {name!r}; {suggest(name, known)}")
