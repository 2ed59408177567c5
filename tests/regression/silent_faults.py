"""How often a fit of a capture with one fault is wrong, sure and silent; a script, seeded."""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from faulty_captures import outcome


def main() -> None:
    """Prints what came of every draw, and the counts."""
    options = argparse.ArgumentParser()
    options.add_argument("--count", type=int, default=300)
    options.add_argument("--seed", type=int, default=0, help="of the first draw; the others follow")
    options.add_argument("--demo", default="cello_arm")
    asked = options.parse_args()
    counts: Counter[str] = Counter()
    for seed in range(asked.seed, asked.seed + asked.count):
        fault, came, told = outcome(seed, asked.demo)
        counts[came] += 1
        print(f"{seed} {came}: {fault}; {told}", flush=True)
    print(", ".join(f"{count} {came}" for came, count in counts.most_common()), f"of {counts.total()}")


if __name__ == "__main__":
    main()
