"""How well segments without a unit are found, and whether their bands hold; prints a line per motion.

    python docs/fewer_units_study.py --case six --motions walk,run --seeds 1

`--case` takes several, with commas; `chain3` and `chain24` are the real five-segment chain without unit 3,
and without units 2 and 4. `--levels` prints what plain rules reach with perfect units instead, `--measured`
gives the fit the person's joint centres, `--segments` adds a line of means by segment, `--table` prints the
means as a table.

Degrees are the angle between found and true segment, after one turn of the whole body about the vertical, the
same at all times; cm the distance of segment origins from the truth, root put on root, as fitted and with the
found rotations on the true body. Expected is the root mean square of all segments that the fit's own
covariance lets expect; the others are mean / root mean square over segments and times. Then the share of the
truth inside the 95 % bands, half their width, mean, and error over standard deviation (z, root mean square):
joint angles next to segments without a unit, heading and tilt of those segments. Last the seconds of the
processor.
"""

from __future__ import annotations

import argparse
import sys
import time as clock
from collections.abc import Sequence
from itertools import pairwise

import few_units as few
import numpy as np
import recordings
from few_units import CASES, LEVELS, MOTIONS, SENSORS, Bands, Score
from scores import Pair, best_lag, rotation_rms
from tables import table

import bodyfit

CHAINS = {"chain3": ("unit_3",), "chain24": ("unit_2", "unit_4")}
COLUMNS = (
    "all °",
    "with unit °",
    "without °",
    "expected °",
    "origins cm",
    "lengths known cm",
    "angles in band",
    "heading",
    "tilt",
    "CPU s",
)


def cells(scores: Sequence[Score]) -> list[str]:
    """Means over captures, one cell a column."""
    turns = [
        both([s.turn_deg(worn, q) for s in scores] for q in (False, True)) for worn in (None, True, False)
    ]
    places = [both([s.place_cm(true, q) for s in scores] for q in (False, True)) for true in (False, True)]
    bands = [banded([getattr(s, name) for s in scores]) for name in ("angles", "heading", "tilt")]
    expected, seconds = (np.mean([getattr(s, name) for s in scores]) for name in ("expected_deg", "seconds"))
    told = "–" if np.isnan(expected) else f"{expected:.1f}"
    return [*turns, told, *places, *bands, f"{seconds:.1f}"]


def both(means) -> str:
    """Mean / root mean square."""
    means = [np.mean(values) for values in means]
    return "–" if np.isnan(means[0]) else " / ".join(f"{mean:.1f}" for mean in means)


def banded(bands: Sequence[Bands]) -> str:
    """Share inside and half width, means over captures, and root mean square of error over deviation."""
    there = [b for b in bands if len(b.off)]
    if not there:
        return "–"
    share, half = np.mean([b.share for b in there]), np.mean([b.half_deg for b in there])
    z = np.sqrt(np.nanmean([b.rms_z**2 for b in there]))
    return f"{100 * share:.0f} % ±{half:.0f}° z {z:.2f}"


def line(label: str, scores: Sequence[Score]) -> str:
    """One line for the screen."""
    words = [f"{name} {cell}" for name, cell in zip(COLUMNS, cells(scores), strict=True)]
    warned = sorted({words for s in scores for words in s.warned})
    return f"{label:24s} " + " | ".join(words) + (f" ! {', '.join(warned)}" if warned else "")


def by_segment(scores: Sequence[Score]) -> str:
    """Mean degrees and cm of each segment; those with a unit in brackets."""
    out = []
    for name in scores[0].errors.turn:
        deg = np.degrees(np.mean([s.errors.turn[name].mean() for s in scores]))
        places = [s.errors.on_true_body.get(name, np.zeros(1)).mean() for s in scores]
        text = f"{name} {deg:.1f}° {100 * np.mean(places):.1f} cm"
        out.append(f"({text})" if name in scores[0].worn else text)
    return "  " + ", ".join(out)


def chain(name: str, sensors: str) -> str:
    """The real chain with units left out: neighbours, degrees, root mean square / mean, its clock set right.

    First the rotation between neighbouring units that are left, then that of every neighbour that touches a
    segment without one.
    """
    before = clock.process_time()
    fit = bodyfit.fit(recordings.capture("chain_rigid"), sensors=SENSORS[sensors], leave_out=CHAINS[name])
    seconds = clock.process_time() - before
    bare = {f"segment_{unit[-1]}" for unit in CHAINS[name]}
    every = list(fit.poses.model.segments)
    left = [segment for segment in every if segment not in bare]
    lag = best_lag(pairs_between(fit, left))
    words = [
        pair_words(fit, pair, lag) for pair in [*pairwise(left), *(p for p in pairwise(every) if bare & {*p})]
    ]
    return f"{name} {sensors}: {', '.join(words)} | {seconds:.1f} s"


def pairs_between(fit: bodyfit.Fit, segments: Sequence[str]) -> list[Pair]:
    """Neighbours in a list of segments, which need not touch."""
    return recordings.chain_pairs("chain_rigid", fit.time, {s: fit.rotations[s] for s in segments})


def pair_words(fit: bodyfit.Fit, names: tuple[str, str], lag: float) -> str:
    """Error of one segment against another, and of their joint's angles whether the bands hold."""
    (pair,) = pairs_between(fit, names)
    found, true = pair.matched(lag)
    mean = np.degrees((true.inv() * found).magnitude().mean())
    words = f"{names[0][-1]}–{names[1][-1]} {rotation_rms(found, true):.1f} / {mean:.1f}°"
    joints = [j for j in fit.poses.model.joints.values() if (j.parent, j.child) == names]
    return " ".join([words, *(banded([few.pair_bands(fit, pair, joint, lag)]) for joint in joints)])


def study(case: str, sensors: str, motions: Sequence[str], seeds: int, options) -> list[str]:
    """Prints a line a motion and one of means; returns the row of a table."""
    scores, kinds = [], LEVELS if options.levels else ("",)
    rows = []
    for kind in kinds:
        scores = []
        for name in motions:
            own = [one(case, name, seed, sensors, kind, options.measured) for seed in range(seeds)]
            if not kind:
                print(line(f"{case} {sensors} {name}", own), flush=True)
            scores += own
        label = f"{case} {kind or sensors} MEAN"
        print(line(label, scores), flush=True)
        if options.segments:
            print(by_segment(scores))
        rows.append([f"{case}, {kind or sensors}", *cells(scores)])
    return rows  # type: ignore[return-value]


def one(case: str, name: str, seed: int, sensors: str, kind: str, measured: bool) -> Score:
    """A score of a fit, or of a plain rule."""
    if kind:
        return few.level(kind, CASES[case], name, seed)
    return few.run(CASES[case], name, seed, sensors, measured)


def main(words: Sequence[str]) -> None:
    """Prints what is asked for."""
    parser = argparse.ArgumentParser(description="Segments without a unit: how far off, how sure.")
    parser.add_argument("--case", default="six,ten,arm,leg,calf,chain3,chain24", help=", ".join(CASES))
    parser.add_argument("--motions", default=",".join(MOTIONS), help=", ".join([*MOTIONS, "long"]))
    parser.add_argument("--seeds", type=int, default=1, help="how many")
    parser.add_argument("--sensors", default="two", help="two (no magnetometer), three, or both with a comma")
    parser.add_argument("--levels", action="store_true", help="plain rules instead of fits")
    parser.add_argument("--measured", action="store_true", help="joint centres known, not only the stature")
    parser.add_argument("--segments", action="store_true", help="means by segment too")
    parser.add_argument("--table", action="store_true", help="means as a table at the end")
    options = parser.parse_args(words)
    rows = []
    for case in options.case.split(","):
        for sensors in options.sensors.split(","):
            if case in CHAINS:
                print(chain(case, sensors), flush=True)
            else:
                rows += study(case, sensors, options.motions.split(","), options.seeds, options)
    if options.table:
        print(table(["case", *COLUMNS], rows))


if __name__ == "__main__":
    main(sys.argv[1:])
