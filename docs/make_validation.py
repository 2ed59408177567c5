"""Writes validation.md: what bodyfit finds against references, on real recordings and on simulated ones.

    python docs/make_validation.py

Reads the recordings in ../shared/data, beside the checkout. Takes some twenty minutes on one core, most of
them for 39 simulated motions.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import bands
import numpy as np
import published
import recordings as real
import sections
import simulated as sim
from recordings import TWO
from scores import Pair
from sections import CHAINS, Row, mean, motion_means, single_rows, three_ways
from tables import number, numbers, table

from bodyfit import __version__

HERE = Path(__file__).resolve().parent


def short_rows(by_softness: Sequence[Sequence[sim.Trial]]) -> list[Row]:
    """The lines that the README shows: errors, what was taken off before they count, and without that."""
    flexion, raw = (real.knee_errors(0.0, as_it_is, sensors=TWO)[0] for as_it_is in (False, True))
    rigid, soft = ([three_ways(pairs) for pairs in chain_choices(name)] for name in CHAINS)
    clock, ends = "one clock offset", "one clock offset, a constant turn at either end"
    as_is = [number(mean(way[0][0])) for way in (rigid, soft)]
    rows: list[Row] = [
        ["five-segment chain, rigid mounting", *(number(mean(w[0])) for w in rigid), "nothing", as_is[0]],
        ["the same", *(number(mean(way[1])) for way in rigid), clock, as_is[0]],
        ["the same, foam mounting", *(number(mean(way[2])) for way in soft), ends, as_is[1]],
        [
            *("human knee, landings, mounting unknown: flexion", number(flexion), "–", "–"),
            *("its constant offset", number(raw)),
        ],
    ]
    singles = single_rows()
    means, total = np.mean(list(singles.values()), axis=0), mean(map(real.single_as_it_is, singles))
    rows += [
        [
            *("one unit moved by hand, with magnetometer: total", "–", *numbers([means[0], means[4]])),
            *("one heading offset a recording, most of it the optical system's", number(total)),
        ],
        ["the same, inclination", "–", *numbers([means[2], means[6]]), "nothing", number(means[2])],
    ]
    left_out = "gravity’s pull on the tissue, 1.5° in each stated mounting"
    for softness, found in zip(sim.SOFTNESS, np.reshape(motion_means(by_softness), (-1, 6)), strict=True):
        words = (
            f"15 simulated units, human motion, soft tissue {softness:g}°/g (by itself {number(found[1])})"
        )
        for told, i in ((words, 2), ("the same, body model scaled to the person", 3)):
            rows.append([told, number(found[i]), "–", "–", left_out, number(found[i + 2])])
    return rows


def chain_choices(name: str) -> list[list[Pair]]:
    """With the body, each unit alone, and by the published filter; no magnetometer."""
    ours = [real.chain_fitted(name, sensors=TWO, alone=alone) for alone in (False, True)]
    return [*ours, real.chain_filtered(name, magnetometer=False)]


def short(by_softness: Sequence[Sequence[sim.Trial]]) -> str:
    """The table that the README shows."""
    headings = [
        "RMS error, degrees; accelerometer + gyroscope only",
        "with the body",
        "each unit alone",
        "vqf",
        "taken off before",
        "as it is",
    ]
    return table(headings, short_rows(by_softness))


def page() -> str:
    """The whole page."""
    text = (HERE / "validation.template.md").read_text()
    by_softness = [sim.trials(softness) for softness in sim.SOFTNESS]
    parts = {
        "VERSION": __version__,
        "SHORT": short(by_softness),
        "CHAINS": sections.chains(),
        "LAYERS": sections.layers(),
        "SINGLES": sections.singles(),
        "KNEE": sections.knee(),
        "RIGS": sections.rigs(),
        "MOTIONS": sections.motions(by_softness),
        "BY_JOINT": sections.motions_by_joint(by_softness),
        "DEMOS": sections.demos(),
        "BANDS": bands.bands(),
        "WEIGHTS": sections.weights_table(),
        "PUBLISHED": published.comparison(),
    }
    for name, value in parts.items():
        text = text.replace("{{" + name + "}}", value)
    return text


if __name__ == "__main__":
    if not real.DATA.is_dir():
        sys.exit(f"no recordings at {real.DATA}; docs/validation.md stays as it is")
    (HERE / "validation.md").write_text(page())
    print(f"written {HERE / 'validation.md'}")
