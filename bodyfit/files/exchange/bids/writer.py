"""A BIDS-Motion data set: raw samples of every unit as recorded, and the fit as a derivative."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import Any

from ....errors import OutputError
from ....recording.capture import Capture
from ...account import CAUTION
from ...capture.bids.words import BIDS_VERSION, label
from ...plain.atomic_file import check_file
from ..handover import Handover
from .derivative import write_derivative
from .raw import write_raw
from .text_files import write_json

SUBJECT = "01"  # one wearer a data set
RAW_MISSING = "raw samples: no capture was given, so the folder is a derivative data set of the fit alone"
ALWAYS_LEFT_OUT = ("findings stay in findings.json and summary.json",)


def write_bids(folder: Path, handed: Handover, capture: Capture | None = None) -> tuple[str, ...]:
    """Writes the data set.

    Parameters
    ----------
    folder : made; refused when it exists and holds something
    handed : the fit
    capture : its raw samples; None: a derivative data set is written

    Returns
    -------
    sentences on what was left out

    Raises
    ------
    OutputError
        The folder is in use or can't be written.
    """
    _check_free(folder)
    try:
        with tempfile.TemporaryDirectory(dir=folder.absolute().parent, prefix=".bodyfit-") as scratch:
            made = Path(scratch) / "dataset"
            made.mkdir()
            _fill(made, handed, capture)
            os.replace(made, folder)
    except OSError as error:
        if isinstance(error, OutputError):
            raise
        raise OutputError(
            f"{folder}: cannot be written: {error.strerror or error}; choose another one"
        ) from error
    strides = () if handed.strides is None else ("strides stay in strides.csv: BIDS has no table for them",)
    return (*ALWAYS_LEFT_OUT, *strides, *(() if capture is not None else (RAW_MISSING,)))


def _check_free(folder: Path) -> None:
    if folder.is_dir() and not any(folder.iterdir()):
        return
    if folder.exists():
        raise OutputError(f"{folder}: exists already, expected a new or empty folder for a data set")
    check_file(folder.absolute())


def _fill(root: Path, handed: Handover, capture: Capture | None) -> None:
    title = handed.account.title or "Movement"
    task = label(title)
    if capture is None:
        write_dataset(root, title, handed, "derivative")
        write_derivative(root, SUBJECT, task, title, handed)
        return
    write_dataset(root, title, handed, "raw")
    write_raw(root, SUBJECT, task, title, capture, handed.account.version)
    below = root / "derivatives" / "bodyfit"
    below.mkdir(parents=True)
    write_dataset(below, f"{title}: motion by bodyfit", handed, "derivative")
    write_derivative(below, SUBJECT, task, title, handed)


def write_dataset(root: Path, title: str, handed: Handover, kind: str) -> None:
    """dataset_description.json and README."""
    account = handed.account
    made = {
        "Name": "bodyfit",
        "Version": account.version,
        "Description": f"Body model {account.model}. Sensors: {account.worn}. {CAUTION}",
    }
    about: dict[str, Any] = {
        "Name": title,
        "BIDSVersion": BIDS_VERSION,
        "DatasetType": kind,
        "GeneratedBy": [made],
    }
    if kind == "derivative" and root.name == "bodyfit":
        about |= {"SourceDatasets": [{"URL": "../.."}]}
    write_json(root / "dataset_description.json", about)
    told = "\n\n".join(f"{key}: {text}" for key, text in account.as_text().items() if text)
    (root / "README.md").write_text(f"# {title}\n\n{told}\n", encoding="utf-8")
