"""A real knee recorded in pieces, both units turned at random, against cameras: a line a seed.

`python tests/benchmarks/knee_in_pieces.py` prints for each of eight seeds, which draw the pieces and the
turns, the error of knee flexion, a constant removed, and what is said of it. Not a test: it takes a minute;
 tests/regression/test_recordings.py holds one seed.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).parents[1]))
from cut_knee import flexion, in_pieces

import bodyfit

KNEE = Path(__file__).resolve().parents[3] / "shared" / "data" / "knee_landing"


def main() -> None:
    """Prints the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--captures", type=int, default=8)
    parser.add_argument("--seed", type=int, default=0)
    args = parser.parse_args()
    for seed in range(args.seed, args.seed + args.captures):
        capture = in_pieces(KNEE, seed)
        found = bodyfit.fit(capture, sensors=("accelerometer", "gyroscope"))
        mine, true, sd = flexion(KNEE, found, capture)
        facing = ", ".join(f"{np.degrees(np.sqrt(C[1, 1])):.0f}°" for _, C in found.mounting.values())
        print(
            f"{seed}: {np.std(mine - true):.2f}° off, said {np.sqrt(np.mean(sd**2)):.1f}°, "
            f"r {np.corrcoef(mine, true)[0, 1]:.3f}; facing known to {facing}",
            flush=True,
        )


if __name__ == "__main__":
    main()
