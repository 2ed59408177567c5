"""CPU seconds and memory of a command with two checkouts in turn, their ratio: what a change brought.

    python tests/benchmarks/two_checkouts.py BEFORE AFTER [--rounds 5] -- fit CAPTURE --out OUT

Everything after `--` is what `bodyfit` is called with; without it, only `--help`. User and system time of
the whole process, imports included; bytecode is compiled in a round of its own that does not count, as an
installed package has it. On a busy machine both checkouts are slow alike: the ratio holds where seconds do
not.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path
from statistics import median

ROUNDS = 5


def spent(checkout: Path, bytecode: str, call: list[str]) -> tuple[float, float]:
    """CPU s and peak MiB of one call of bodyfit of a checkout."""
    own = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    threads = {f"{name}_NUM_THREADS": "1" for name in ("OPENBLAS", "OMP")}
    own |= threads | {"PYTHONPATH": str(checkout), "PYTHONPYCACHEPREFIX": bytecode}
    own["PYTHONSAFEPATH"] = "1"  # else the checkout that this is called in would come first
    quiet = subprocess.DEVNULL
    process = subprocess.Popen([sys.executable, "-m", "bodyfit", *call], env=own, stdout=quiet, stderr=quiet)
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{checkout}: bodyfit {' '.join(call)} ended with {process.returncode}")
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def main(before: Path, after: Path, rounds: int, call: list[str]) -> None:
    """Prints minimum and median of each, and the ratios."""
    found: dict[Path, list[tuple[float, float]]] = {before: [], after: []}
    with tempfile.TemporaryDirectory() as bytecode:
        for number in range(rounds + 1):
            for checkout, seen in found.items():
                one = spent(checkout, bytecode, call)
                if number:
                    seen.append(one)
    figures = []
    for checkout, seen in found.items():
        seconds = [cpu for cpu, _ in seen]
        peak = max(memory for _, memory in seen)
        figures.append((min(seconds), median(seconds)))
        print(
            f"{checkout}: CPU min {figures[-1][0]:.3f} s, median {figures[-1][1]:.3f} s, peak {peak:.0f} MiB"
        )
    least, middle = (one / other for one, other in zip(*figures, strict=True))
    print(f"before / after: min {least:.2f}, median {middle:.2f}, of {rounds} rounds in turn")


if __name__ == "__main__":
    arguments = sys.argv[1:]
    cut = arguments.index("--") if "--" in arguments else len(arguments)
    own, called = arguments[:cut], arguments[cut + 1 :] or ["--help"]
    if len(own) not in (2, 4) or (len(own) == 4 and own[2] != "--rounds"):
        raise SystemExit(__doc__)
    main(Path(own[0]).resolve(), Path(own[1]).resolve(), int(own[3]) if len(own) == 4 else ROUNDS, called)
