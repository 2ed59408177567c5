"""Every example of the gallery runs, on one short fit, and leaves the picture that its page shows."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

import bodyfit

ROOT = Path(__file__).parents[2]
EXAMPLES = sorted(path.stem for path in (ROOT / "docs" / "gallery").glob("*.py"))


def _script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_gallery", ROOT / "docs" / "make_gallery.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


gallery = _script()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with out/stairs: the first half minute, stairs and all."""
    where = tmp_path_factory.mktemp("gallery")
    bodyfit.fit(bodyfit.read_capture(ROOT / gallery.DEMO).between(0.0, 30.0)).write(where / "out" / "stairs")
    return where


@pytest.mark.parametrize("name", EXAMPLES)
def test_an_example_draws_its_picture(name: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plt = pytest.importorskip("matplotlib.pyplot")
    monkeypatch.setenv("MPLBACKEND", "Agg")
    plt.switch_backend("Agg")
    if "to_xarray" in (ROOT / "docs" / "gallery" / f"{name}.py").read_text():
        pytest.importorskip("xarray")
    picture = plt.imread(gallery.draw(name, folder))
    assert min(picture.shape[:2]) > 150
    assert np.mean(np.any(picture[..., :3] < 0.9, -1)) > 0.005  # something is drawn on it


def test_there_are_enough_and_all_are_shown() -> None:
    assert len(EXAMPLES) >= 8
    assert sorted(gallery.ORDER) == EXAMPLES


def test_the_page_shows_the_scripts_as_they_are() -> None:
    text = gallery.PAGE.read_text(encoding="utf-8")
    assert text == gallery.page(), "run python docs/make_gallery.py"
    assert all((gallery.SCRIPTS / f"{name}.png").is_file() for name in EXAMPLES)


def test_examples_are_short() -> None:
    lengths = {name: (gallery.SCRIPTS / f"{name}.py").read_text().count("\n") for name in EXAMPLES}
    assert max(lengths.values()) <= 25, lengths
