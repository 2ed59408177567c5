"""How often exchanged units are found, in simulated captures of recorded motion; prints three tables.

    python docs/placement_study.py [RUNS]

Fifteen units with the usual faults and soft tissue of 3 degrees per g; mountings turned any way and not
stated, or stated. The recorded walks last 3 s: a walk of 10 to 20 s is one of their strides over and over,
each at its own pace, on a winding path (`walking.py`).
"""

from __future__ import annotations

import dataclasses
import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from itertools import pairwise

import numpy as np
from recordings import DATA
from walking import walk

from bodyfit.body.motion.poses import PoseSequence
from bodyfit.calibration.placement.assignment import Placement, find_placement
from bodyfit.files.motion.motion_file import read_motion
from bodyfit.recording.capture import Unit
from bodyfit.recording.single_units import unaided
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import Simulated, simulate

WALKS = ("02_01", "02_02")
OTHERS = ("01_01", "01_05", "01_08", "02_01", "02_02", "02_04", "02_06", "02_08", "02_10")
ARM, LEG = ("upperarm", "forearm", "hand"), ("thigh", "calf", "hindfoot")
BINS = (0.0, 0.5, 0.8, 0.95, 0.99, 1.001)


def _sides(*parts: str) -> dict[str, str]:
    pairs = [(f"l_{part}", f"r_{part}") for part in parts]
    return dict(pairs) | {b: a for a, b in pairs}


SWAPS: dict[str, dict[str, str]] = {
    "none": {},
    **{f"both {part}s": _sides(part) for part in (*LEG, *ARM)},
    "whole legs": _sides(*LEG),
    "whole arms": _sides(*ARM),
    "legs and arms": _sides(*LEG, *ARM),
    "thigh and calf": {"l_thigh": "l_calf", "l_calf": "l_thigh"},
}


def swapped(units: Iterable[Unit], swap: Mapping[str, str]) -> list[Unit]:
    """Units that say to be where others are."""
    return [dataclasses.replace(u, segment=swap.get(str(u.segment), u.segment)) for u in units]


def walks(runs: int, mounted: bool) -> Iterator[Simulated]:
    """Captures of 10 to 20 s of walking, each its own path, paces, units and mountings."""
    motions = [read_motion(DATA / "motions_isb" / f"{name}.parquet") for name in WALKS]
    for seed in range(runs):
        rng = np.random.default_rng(seed)
        yield worn(walk(motions[seed % len(motions)], rng.uniform(10.0, 20.0), rng), seed, mounted)


def others(runs: int, mounted: bool) -> Iterator[Simulated]:
    """Captures of all kinds of motion as recorded, some only 3 s long."""
    for seed in range(runs):
        yield worn(read_motion(DATA / "motions_isb" / f"{OTHERS[seed % len(OTHERS)]}.parquet"), seed, mounted)


def worn(poses: PoseSequence, seed: int, mounted: bool) -> Simulated:
    """Fifteen units in this motion; without stated mountings they sit turned any way."""
    unstated = {} if mounted else {"mounting_spread": np.pi, "state_mounting": False}
    return simulate(poses, None, SimulationSettings(**unstated), seed)


def placements(made: Simulated, swaps: Mapping[str, Mapping[str, str]]) -> dict[str, Placement]:
    """Swap -> what is found."""
    units, model = list(made.capture.units.values()), made.capture.model
    alone = unaided(units)
    found = {name: find_placement(swapped(units, swap), model, alone=alone) for name, swap in swaps.items()}
    return {name: placement for name, placement in found.items() if placement is not None}


def study(captures: Iterable[Simulated], swaps: Mapping[str, Mapping[str, str]]) -> None:
    """Prints, per swap: runs, exchanges found whole, true one first, right units called wrong."""
    counts, sure = {name: Counter() for name in swaps}, []
    for made in captures:
        truth = {u.name: str(u.segment) for u in made.capture.units.values()}
        for name, found in placements(made, swaps).items():
            moved = {unit for unit, segment in truth.items() if swaps[name].get(segment, segment) != segment}
            counts[name].update(
                runs=1,
                found=moved <= set(found.misplaced),
                first=found.best.segments == truth,
                alarms=bool(set(found.misplaced) - moved),
                open=bool(found.undecided),
            )
            sure += [_best_of(places, truth[unit]) for unit, places in found.places.items()]
    print(f"{'exchanged':16s} runs  found  true one first  false alarms  some undecided")
    for name, n in counts.items():
        print(f"{name:16s} {n['runs']:4d} {n['found']:6d} {n['first']:15d} {n['alarms']:13d} {n['open']:15d}")
    stated, right = np.array(sure, float).T
    print("probability of a unit's most probable place, and how often it was right")
    for low, high in pairwise(BINS):
        inside = (stated >= low) & (stated < high)
        if inside.any():
            shares = f"stated {stated[inside].mean():.3f}, right {right[inside].mean():.3f}"
            print(f"  {low:.2f} to {min(high, 1.0):.2f}: {inside.sum():6d} units, {shares}")


def _best_of(places: Mapping[str, float], true: str) -> tuple[float, bool]:
    """Probability of the most probable place, and whether it is the true one."""
    segment, probability = max(places.items(), key=lambda item: item[1])
    return probability, segment == true


if __name__ == "__main__":
    RUNS = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    for mounted in (False, True):
        print(f"\nwalking, mountings {'stated' if mounted else 'not stated'}")
        study(walks(RUNS, mounted), SWAPS)
        print(f"\nother motions, mountings {'stated' if mounted else 'not stated'}")
        study(others(RUNS, mounted), {"none": {}})
