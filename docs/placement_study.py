"""How often swapped units are found, in simulated captures of recorded motion; prints tables.

    python docs/placement_study.py [RUNS]
"""

from __future__ import annotations

import dataclasses
import sys
from collections.abc import Iterator, Mapping
from collections import Counter

import numpy as np
from recordings import DATA
from walking import walk

from bodyfit.body import BodyModel
from bodyfit.capture import Calibration, Unit
from bodyfit.formats.motion import read_motion
from bodyfit.placement import SURE, Placement, find_placement
from bodyfit.poses import PoseSequence
from bodyfit.simulation import Simulated, simulate
from bodyfit.simulation_settings import SimulationSettings
from bodyfit.unaided import unaided

WALKS = ("02_01", "02_02")
ARM, LEG = ("upperarm", "forearm", "hand"), ("thigh", "calf", "hindfoot")


def _sides(*parts: str) -> dict[str, str]:
    pairs = [(f"l_{part}", f"r_{part}") for part in parts]
    return dict(pairs) | {b: a for a, b in pairs}


SWAPS: dict[str, dict[str, str]] = {
    "none": {},
    **{f"{part} left for right": _sides(part) for part in (*LEG, *ARM)},
    "whole legs": _sides(*LEG),
    "whole arms": _sides(*ARM),
    "thigh for calf": {"l_thigh": "l_calf", "l_calf": "l_thigh"},
    "legs and arms": _sides(*LEG, *ARM),
}


def swapped(units: list[Unit], swap: Mapping[str, str]) -> list[Unit]:
    """Units that say to be where others are."""
    return [dataclasses.replace(u, segment=swap.get(str(u.segment), u.segment)) for u in units]


def walks(runs: int, mounted: bool) -> Iterator[Simulated]:
    """Captures of 10 to 20 s of walking, each its own path, paces, units and mountings."""
    motions = [read_motion(DATA / "motions" / f"{name}.parquet") for name in WALKS]
    for seed in range(runs):
        rng = np.random.default_rng(seed)
        yield worn(walk(motions[seed % 2], rng.uniform(10.0, 20.0), rng), seed, mounted)


def worn(poses: PoseSequence, seed: int, mounted: bool) -> Simulated:
    """Fifteen units in this motion; without stated mountings they sit turned any way."""
    if mounted:
        return simulate(poses, None, SimulationSettings(), seed)
    return simulate(poses, None, SimulationSettings(mounting_spread=np.pi, state_mounting=False), seed)


def placements(made: Simulated) -> dict[str, Placement]:
    """Swap -> what is found."""
    units = list(made.capture.units.values())
    alone = unaided(units)
    return {
        name: find_placement(swapped(units, swap), made.capture.model, made.capture.person, alone=alone)
        for name, swap in SWAPS.items()
    }


def study(captures) -> None:
    right, alarm, total, reliability = Counter(), Counter(), Counter(), []
    for made in captures:
        truth = {u.name: u.segment for u in made.capture.units.values()}
        for name, found in placements(made).items():
            total[name] += 1
            best = found.best
            right[name] += best.segments == truth and best.probability > SURE
            alarm[name] += best.segments != truth and best.probability > SURE
            reliability.append((best.probability, best.segments == truth))
            if best.segments != truth or best.probability<=SURE:
                tr = [c for c in found.candidates if c.segments==truth]
                print(made.seed,name, best.probability, {u:(s,truth[u]) for u,s in best.segments.items() if s!=truth[u]}, 'truth', [(c.probability, c.log_likelihood-best.log_likelihood) for c in tr])
    for name in total:
        print(f"{name:28s} {total[name]:4d} {right[name]:4d} {alarm[name]:4d}")
    p = np.array(reliability)
    for low, high in ((0,.5),(.5,.8),(.8,.95),(.95,.99),(.99,1.01)):
        m = (p[:,0]>=low)&(p[:,0]<high)
        if m.any(): print(low,high,m.sum(),p[m].mean(0))


if __name__ == "__main__":
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    for mounted in (False, True):
        study(walks(runs, mounted))
