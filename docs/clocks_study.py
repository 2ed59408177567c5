"""How well offsets of clocks that were put into a recording are found again: chain_rigid, twelve seeds.

python docs/clocks_study.py
"""

from __future__ import annotations

import dataclasses

import numpy as np
import recordings as real

import bodyfit
from bodyfit.calibration.clocks.unit_clocks import neighbours, unit_clocks
from bodyfit.recording.capture import Unit
from bodyfit.recording.single_units import unaided

SEEDS, OFFSET_S, RATE = 12, 0.2, 1e-4


def main() -> None:
    """Prints what is left of each seed's offsets, and the recording's own."""
    capture = bodyfit.read_capture(real.DATA / "chain_rigid")
    units = list(capture.units.values())
    middle = 0.5 * (units[0].time[0] + units[0].time[-1])

    def offsets(some: list[Unit]) -> np.ndarray:
        return unit_clocks(unaided(some), neighbours(some, capture.model)).offset

    own, left = offsets(units), []
    for seed in range(SEEDS):
        rng = np.random.default_rng(seed)
        by, rate = (rng.uniform(-most, most, len(units)) for most in (OFFSET_S, RATE))
        late = [
            dataclasses.replace(unit, time=unit.time + a + b * (unit.time - middle))
            for unit, a, b in zip(units, by, rate, strict=True)
        ]
        error = offsets(late) - own - by
        left.append(np.abs(error - np.median(error)).max())
    print(f"the recording's own: {1e3 * np.abs(own).max():.2f} ms at most")
    print(f"put in and found again within {1e3 * max(left):.2f} ms")


if __name__ == "__main__":
    main()
