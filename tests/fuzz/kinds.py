"""Kinds of files that people hand to the command, a sound one of each, and what is called with it."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from capture_files import write_folder

import bodyfit
from bodyfit.files.model.model_file import read_model
from bodyfit.files.motion.motion_file import read_motion
from bodyfit.fitting.result import read_fit

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = """\
duration_s = 3

[body]
model = "right_elbow"

[person]
stature_m = 1.75

[joints.r_elbow.flexion]
keyframes = [[0, 90], [1.5, 20], [3, 90]]
repeat_s = 4

[joints.r_elbow.pronation]
middle = 80
sines = [{ amplitude = 30, frequency_hz = 0.7, phase_deg = 90 }]

[root.turn_left]
sines = [{ amplitude = 25, frequency_hz = 0.3 }, { amplitude = 5, frequency_hz = 1.1 }]
"""


@dataclass(frozen=True)
class Kind:
    """One kind of file.

    Parameters
    ----------
    file : path in the folder of sound files
    read : reads it, given that folder; the cheap first try
    words : of the whole command, with FOLDER for that folder
    """

    file: str
    read: Callable[[Path], object]
    words: tuple[str, ...]


KINDS = {
    "setup": Kind("setup.toml", bodyfit.read_capture, ("fit", "FOLDER", "--out", "FOLDER/new")),
    "model": Kind("leg.toml", lambda f: read_model(f / "leg.toml"), ("fit", "FOLDER", "--out", "FOLDER/new")),
    "table": Kind("thigh.csv", bodyfit.read_capture, ("inspect", "FOLDER")),
    "script": Kind("script.toml", lambda f: read_motion(f / "script.toml"),
                   ("simulate", "FOLDER/script.toml", "--out", "FOLDER/new", "--force")),
    "summary": Kind("out/summary.json", lambda f: read_fit(f / "out"), ("report", "FOLDER/out")),
    "angles": Kind("out/joints.csv", lambda f: read_fit(f / "out"), ("review", "FOLDER/out")),
}  # fmt: skip


def sound_files(folder: Path) -> dict[str, bytes]:
    """Writes a sound file of each kind into a folder; their contents by kind."""
    write_folder(folder)
    (folder / "script.toml").write_text(SCRIPT, encoding="utf-8")
    bodyfit.fit(bodyfit.read_capture(folder)).write(folder / "out")
    shutil.rmtree(folder / "new", ignore_errors=True)
    return {name: (folder / kind.file).read_bytes() for name, kind in KINDS.items()}


def pieces(kind: str, sound: dict[str, bytes]) -> tuple[bytes, ...]:
    """Contents of the same format, to put pieces of into others."""
    shipped = [*(ROOT / "demo_captures").glob("*/setup.toml"), *(ROOT / "models").glob("right_*.toml")]
    if kind in ("setup", "model", "script"):
        return (sound["setup"], sound["model"], sound["script"], *(p.read_bytes() for p in shipped))
    return (sound["table"], sound["angles"]) if kind in ("table", "angles") else (sound[kind],)
