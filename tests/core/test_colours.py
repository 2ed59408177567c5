"""Colours of the sides: told apart by every kind of colour vision, and the same wherever a side is drawn."""

from __future__ import annotations

import re
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

import bodyfit
from bodyfit.body.motion.joint_plots import LOOKS
from bodyfit.core.colours import FAINT, INK, PAGE, RANGE, SIDES
from bodyfit.files.scene.gltf import _material

# Machado, Oliveira & Fernandes 2009, doi:10.1109/TVCG.2009.113, severity 1.0, on linear RGB; the figures as
# several open repositories print them
VISION = {
    "usual": np.eye(3),
    "no long cones": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "no middle cones": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "no short cones": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
# linear sRGB to XYZ, IEC 61966-2-1
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
FAR = 20.0  # CIE 1976 colour difference of two things that nobody takes for each other; common practice: 10


def linear(colour: str) -> np.ndarray:
    parts = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE 1976 L*, a*, b*."""
    x = TO_XYZ @ np.clip(rgb, 0, 1) / TO_XYZ.sum(1)
    f = np.where(x > 216 / 24389, np.cbrt(x), (24389 / 27 * x + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, from memory: (L₁ + 0.05) / (L₂ + 0.05)."""
    dark, light = sorted((float(TO_XYZ[1] @ linear(one)), float(TO_XYZ[1] @ linear(other))))
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("vision", VISION)
def test_sides_are_far_apart_for_every_kind_of_colour_vision(vision):
    seen = {side: lab(VISION[vision] @ linear(colour)) for side, colour in SIDES.items()}
    assert np.linalg.norm(seen["left"] - seen["right"]) > 2 * FAR
    least = FAR if vision != "no middle cones" else 0.75 * FAR  # the grey middle is told by where it is, too
    assert all(np.linalg.norm(seen[a] - seen[b]) > least for a, b in combinations(seen, 2))


def test_sides_differ_on_a_grey_print_and_stand_out_from_what_is_behind_them():
    # WCAG 2.2, 1.4.11 (from memory): 3:1 between things to be told apart
    assert contrast(SIDES["left"], SIDES["right"]) > 3
    grounds = (PAGE["paper"], PAGE["sheet"], RANGE)
    assert min(contrast(colour, ground) for colour in SIDES.values() for ground in grounds) > 3


def test_letters_stand_out_from_the_paper():
    # WCAG 2.2, 1.4.3 (from memory): 4.5:1 for text
    assert contrast("#ffffff", "#000000") == pytest.approx(21)
    for name in ("ink", "quiet", "accent", "serious", "warning", "note"):
        for ground in ("paper", "sheet", "hover", "range"):
            assert contrast(PAGE[name], PAGE[ground]) > 4.5, (name, ground)


def test_pictures_and_scenes_take_the_same_colours():
    assert {look["label"]: look["color"] for look in LOOKS.values()} == {
        "left": SIDES["left"],
        "right": SIDES["right"],
        "estimate": SIDES["middle"],
    }
    for side, colour in SIDES.items():
        factor = _material(side)["pbrMetallicRoughness"]["baseColorFactor"]
        np.testing.assert_allclose(factor[:3], linear(colour), atol=1e-4)


def _only_on_pages() -> list[str]:
    return [colour for colour in PAGE.values() if colour not in (INK, FAINT, RANGE, *SIDES.values())]


def test_no_colour_is_defined_anywhere_else():
    package = Path(bodyfit.__file__).parent
    sources = [path for ending in ("py", "css", "js", "html") for path in package.rglob(f"*.{ending}")]
    assert len(sources) > 200
    literal = re.compile(r"""(?<![\w&])#[0-9a-fA-F]{6}\b|["']#[0-9a-fA-F]{3}["']|0x[0-9a-f]{6}\b""")
    found = {path.name: literal.findall(path.read_text(encoding="utf-8")) for path in sources}
    assert {name: colours for name, colours in found.items() if colours} == {
        "colours.py": [*SIDES.values(), INK, FAINT, RANGE, *_only_on_pages()]
    }


def test_the_conventions_name_the_colours_that_are_used():
    text = (Path(__file__).resolve().parents[2] / "docs" / "conventions.md").read_text(encoding="utf-8")
    assert "Green is the left side of the body, plum the right" in text
    red, green, blue = (int(SIDES["left"][k : k + 2], 16) for k in (1, 3, 5))
    assert green > blue > red
    red, green, blue = (int(SIDES["right"][k : k + 2], 16) for k in (1, 3, 5))
    assert blue > red > green
