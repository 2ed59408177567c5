"""Raw tables as recorders write them: every dialect gives the capture that it was written from."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from dialects import EPOCH, HABITS, evenly_stamped, read_back

import bodyfit
from bodyfit.errors import InputError
from bodyfit.recording.capture import Capture

ROOT = Path(__file__).parents[2]
KNEE = ROOT.parent / "shared" / "data" / "knee_landing"


@pytest.fixture(scope="module")
def arm() -> Capture:
    return evenly_stamped(bodyfit.read_capture(ROOT / "demo_captures" / "cello_arm").between(0.0, 6.0))


@pytest.mark.parametrize("name", HABITS)
def test_every_dialect_reads_the_same(arm: Capture, tmp_path: Path, name: str) -> None:
    read = read_back(arm, tmp_path, name, "right_arm")
    for one, unit in arm.units.items():
        there = read.units[one]
        tick = 3e-7 if name == "epoch_seconds" else 1e-8  # s; a double near 1.7e9 steps by 2.4e-7
        np.testing.assert_allclose(there.time, unit.time, atol=tick, rtol=0)
        for sensor in unit.sensors:
            np.testing.assert_allclose(getattr(there, sensor), getattr(unit, sensor), atol=1e-6, rtol=1e-6)
    dated = "iso" in name or "epoch" in name
    assert (read.start_time.timestamp() if read.start_time else None) == (EPOCH if dated else None)


def test_dates_and_own_clocks_are_not_mixed(arm: Capture, tmp_path: Path) -> None:
    read_back(arm, tmp_path, "epoch_seconds", "right_arm")
    table = sorted((tmp_path / "epoch_seconds").glob("*.csv"))[0]
    table.write_text(table.read_text().replace(f"\n{EPOCH}"[:7], "\n"))
    with pytest.raises(InputError, match="expected one clock"):
        bodyfit.read_capture(tmp_path / "epoch_seconds")


@pytest.mark.skipif(not KNEE.is_dir(), reason="the knee recording is not beside this checkout")
@pytest.mark.parametrize("name", ["epoch_nanoseconds", "lines_milliseconds_tabs_comma", "sensor_apart"])
def test_knee_angles_do_not_depend_on_the_dialect(tmp_path: Path, name: str) -> None:
    knee = evenly_stamped(bodyfit.read_capture(KNEE).between(0.0, 30.0))
    model = str(KNEE.resolve() / "leg.toml")
    read = read_back(knee, tmp_path, name, model)
    expected, found = bodyfit.fit(knee).joint_angles, bodyfit.fit(read).joint_angles
    for joint, angles in expected.items():
        for angle, values in angles.items():
            np.testing.assert_allclose(np.degrees(found[joint][angle] - values), 0, atol=0.05)
