"""Changed files without end: counts of what came of them, and each fault's smallest reproduction; a script.

The same seed gives the same inputs. Faults are written to the folder given, made smaller line by line.
"""

from __future__ import annotations

import argparse
import os
import resource
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from kinds import KINDS, Kind, pieces, sound_files
from mutators import mutated
from trial import TERMINATED, tried

SHARES = {"setup": 5, "model": 4, "table": 4, "script": 3, "summary": 3, "angles": 1}
TELL_EVERY = 500  # inputs


def input_of(seed: int, sound: dict[str, bytes]) -> tuple[str, bytes, float]:
    """Kind, content and a number from 0 to 1 of a seed."""
    draw = Random(seed)
    (name,) = draw.choices(list(SHARES), list(SHARES.values()))
    return name, mutated(sound[name], draw, pieces(name, sound)), draw.random()


def smaller(kind: Kind, content: bytes, folder: Path, whole: bool) -> bytes:
    """The content without lines, later bytes, that the fault does not need; 200 tries at most."""
    left, size = 200, max(1, content.count(b"\n") // 2)
    while left > 0 and size >= 1:
        lines, k = content.splitlines(keepends=True), 0
        while k < len(lines) and left > 0:
            fewer = b"".join(lines[:k] + lines[k + size :])
            left -= 1
            if tried(kind, fewer, folder, whole)[0] == "fault":
                content, lines = fewer, fewer.splitlines(keepends=True)
            else:
                k += size
        size //= 2
    return content


def main() -> None:
    """Tries them; prints counts now and then and at the end."""
    options = argparse.ArgumentParser()
    options.add_argument("--count", type=int, default=100_000)
    options.add_argument("--seed", type=int, default=0, help="of the first input; the others follow")
    options.add_argument("--whole", type=float, default=0.1, help="share of what is read that is fitted, too")
    options.add_argument("--found", type=Path, required=True, help="folder for what ends badly")
    options.add_argument("--only", choices=list(KINDS), help="skip inputs of other kinds")
    asked = options.parse_args()
    asked.found.mkdir(parents=True, exist_ok=True)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(TERMINATED))
    with tempfile.TemporaryDirectory() as scratch:
        os.environ["TMPDIR"] = tempfile.tempdir = scratch
        _try_all(asked, Path(tempfile.mkdtemp()))


def _try_all(asked: argparse.Namespace, folder: Path) -> None:
    """Tries the inputs asked for; tells the counts also where it is told to end before."""
    sound, counts, seen = sound_files(folder), Counter(), Counter()
    begun = time.process_time()
    try:
        for seed in range(asked.seed, asked.seed + asked.count):
            name, content, share = input_of(seed, sound)
            if asked.only not in (None, name):
                continue
            before, whole = time.process_time(), share < asked.whole
            came, told = tried(KINDS[name], content, folder, whole)
            counts[name, came] += 1
            if came == "fault":
                _keep(asked.found, folder, (seed, name, content, told), seen, whole)
            if time.process_time() - before > 10:
                print(f"{seed} {name} took {time.process_time() - before:.0f} s", flush=True)
            if counts.total() % TELL_EVERY == 0:
                _tell(counts, begun)
    finally:
        _tell(counts, begun)


def _keep(
    found: Path, folder: Path, fault: tuple[int, str, bytes, str], seen: Counter[str], whole: bool
) -> None:
    """Prints a fault, and writes it where it is the first of its kind."""
    seed, name, content, told = fault
    last = told.strip().splitlines()
    mark = " | ".join(line.strip() for line in last[-1:] + [x for x in last if "bodyfit" in x][-1:])[:200]
    seen[mark] += 1
    if seen[mark] > 1:
        return
    print(f"{seed} {name} fault: {told}", flush=True)
    (found / f"{name}_{seed}").write_bytes(smaller(KINDS[name], content, folder, whole))


def _tell(counts: Counter[tuple[str, str]], begun: float) -> None:
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    by_kind = ", ".join(f"{name} {came} {count}" for (name, came), count in sorted(counts.items()))
    spent = time.process_time() - begun
    print(f"{counts.total()} inputs, {spent:.0f} s, peak {peak:.2f} GiB: {by_kind}", flush=True)


if __name__ == "__main__":
    main()
