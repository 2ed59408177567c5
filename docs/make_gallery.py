"""Writes docs/gallery.md and its pictures: runs every script in docs/gallery on one fit of a demo capture.

python docs/make_gallery.py
"""

from __future__ import annotations

import os
import runpy
import shutil
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
SCRIPTS = ROOT / "docs" / "gallery"
PAGE = ROOT / "docs" / "gallery.md"
DEMO = "demo_captures/steel_stairs"
HEAD = f"""# Gallery

Written by `docs/make_gallery.py`; each script is run by a test. All of them read one fit:

```sh
bodyfit fit {DEMO} --out out/stairs
```
"""
ORDER = (
    *("joint_angles", "stride_curves", "knee_against_hip", "stick_figures", "foot_paths", "activities"),
    *("ranges", "how_sure", "findings"),
)


def page() -> str:
    """The whole page: a heading, a picture and the code of each example."""
    return "\n".join([HEAD, *map(_example, ORDER)])


def _example(name: str) -> str:
    said, _, code = (SCRIPTS / f"{name}.py").read_text(encoding="utf-8").partition('"""\n\n')
    title = name.replace("_", " ").capitalize()
    sentence = said.removeprefix('"""')
    return f"## {title}\n\n{sentence}\n\n![{sentence}](gallery/{name}.png)\n\n```python\n{code}```\n"


def draw(name: str, folder: Path) -> Path:
    """Path of the picture that a script leaves in a folder, which holds out/stairs."""
    import matplotlib.pyplot as plt

    before = Path.cwd()
    os.chdir(folder)
    try:
        runpy.run_path(str(SCRIPTS / f"{name}.py"))
    finally:
        os.chdir(before)
        plt.close("all")
    return folder / f"{name}.png"


def main() -> None:
    """Fits the demo, draws every picture, writes the page."""
    os.environ.setdefault("MPLBACKEND", "Agg")
    import bodyfit

    with tempfile.TemporaryDirectory() as folder:
        bodyfit.fit(bodyfit.read_capture(ROOT / DEMO)).write(Path(folder) / "out" / "stairs")
        for name in ORDER:
            shutil.copy(draw(name, Path(folder)), SCRIPTS)
    PAGE.write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    main()
