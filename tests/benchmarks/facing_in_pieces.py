"""How often units or angles are wrong while sure, when people are recorded in pieces: simulated captures.

`python tests/benchmarks/facing_in_pieces.py --captures 20 --seed 1000` prints a line a capture and the sum.
Not a test: a hundred captures take five minutes; tests/synthetic/test_facing_in_pieces.py is a small part.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import pandas as pd

sys.path.append(str(Path(__file__).parents[1]))
from cut_motion import Hardness, angles, facings, worn_anyhow

import bodyfit

MOTIONS = Path(__file__).resolve().parents[3] / "shared" / "data" / "motions_isb"
WRONG_DEG, SURE_DEG = 45.0, 20.0  # a unit's facing off by that much at a stated deviation below
ANGLE_DEG, DEVIATIONS = 20.0, 3.0  # an angle off by that much and by that many of its deviations
TWO, NINE = ("accelerometer", "gyroscope"), ("accelerometer", "gyroscope", "magnetometer")
LEGS = ("pelvis", "l_thigh", "l_calf", "l_hindfoot", "r_thigh", "r_calf", "r_hindfoot")


def measured(seed: int, args: argparse.Namespace) -> tuple[pd.DataFrame, pd.DataFrame, float]:
    """Units, angles and CPU seconds of one capture."""
    worn = worn_anyhow(
        MOTIONS, seed, LEGS if args.legs else None, Hardness(args.harder, args.harder), not args.whole
    )
    started = time.process_time()
    found = bodyfit.fit(worn.capture, sensors=NINE if args.field else TWO)
    spent = time.process_time() - started
    units, of_joints = facings(worn, found), angles(worn, found)
    return units.assign(seed=seed), of_joints.assign(seed=seed), spent


def main() -> None:
    """Prints what was measured."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--captures", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1000)
    parser.add_argument("--harder", type=float, default=1.0, help="factor on soft tissue and pose errors")
    parser.add_argument("--field", action="store_true", help="clean magnetometers too")
    parser.add_argument("--legs", action="store_true", help="seven units, pelvis and legs")
    parser.add_argument("--whole", action="store_true", help="pauses are recorded too")
    args = parser.parse_args()
    units, joints, seconds = [], [], 0.0
    for seed in range(args.seed, args.seed + args.captures):
        one, of_joints, spent = measured(seed, args)
        units.append(one)
        joints.append(of_joints)
        seconds += spent
        bad = of_joints[(of_joints.error > ANGLE_DEG) & (of_joints.error > DEVIATIONS * of_joints.sd)]
        wrong = one[(one.off > WRONG_DEG) & (one.sd < SURE_DEG)]
        print(
            f"{seed}: {spent:.1f} s, known {(one.sd < SURE_DEG).mean():.2f}",
            *(f"unit {r.segment} {r.off:.0f} ({r.sd:.0f})" for r in wrong.itertuples()),
            *(f"{r.joint}.{r.angle} {r.error:.0f} ({r.sd:.0f})" for r in bad.itertuples()),
            flush=True,
        )
    told(pd.concat(units), pd.concat(joints), seconds, args.captures)


def told(units: pd.DataFrame, joints: pd.DataFrame, seconds: float, captures: int) -> None:
    """Sums."""
    sure = units.sd < SURE_DEG
    wrong = sure & (units.off > WRONG_DEG)
    bad = (joints.error > ANGLE_DEG) & (joints.error > DEVIATIONS * joints.sd)
    print(f"{captures} captures, {seconds / captures:.1f} CPU s each")
    print(f"units wrong while sure {wrong.sum()} of {len(units)}; known {100 * sure.mean():.1f} %")
    print(f"angles wrong while sure {bad.sum()} of {len(joints)}, in {joints[bad].seed.nunique()} captures")
    part = units.segment.str.removeprefix("l_").str.removeprefix("r_")
    columns = {"known": "mean", "wrong": "sum", "off": "median", "sd": "median"}
    print(units.assign(known=sure, wrong=wrong).groupby(part)[list(columns)].agg(columns))
    columns = {"error": "median", "sd": "median", "bad": "sum", "inside": "mean"}
    print(f"samples in their 95 % band {100 * joints.inside.mean():.1f} %")
    print(joints.assign(bad=bad).groupby(["joint", "angle"])[list(columns)].agg(columns))


if __name__ == "__main__":
    main()
