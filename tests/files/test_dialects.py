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


@pytest.fixture(scope="module")
def knee() -> Capture:
    if not KNEE.is_dir():
        pytest.skip("the knee recording is not beside this checkout")
    return evenly_stamped(bodyfit.read_capture(KNEE).between(0.0, 30.0))


@pytest.fixture(scope="module")
def knee_angles(knee: Capture) -> dict[str, np.ndarray]:
    return _angles(bodyfit.fit(knee))


def _angles(result: bodyfit.Fit) -> dict[str, np.ndarray]:
    """Joint and angle -> deg."""
    return {f"{j} {a}": np.degrees(v) for j, angles in result.joint_angles.items() for a, v in angles.items()}


def test_twelve_dialects_at_least() -> None:
    """Of which two put several habits together."""
    assert len(HABITS) >= 12 and {"declared", "lines_milliseconds_tabs_comma"} <= set(HABITS)


@pytest.mark.parametrize("name", HABITS)
def test_knee_angles_do_not_depend_on_the_dialect(
    tmp_path: Path, name: str, knee: Capture, knee_angles: dict[str, np.ndarray]
) -> None:
    found = _angles(bodyfit.fit(read_back(knee, tmp_path, name, str(KNEE.resolve() / "leg.toml"))))
    assert found.keys() == knee_angles.keys()
    for angle, values in knee_angles.items():
        assert np.ptp(values) > 1  # deg: something moves
        np.testing.assert_allclose(found[angle], values, rtol=0, atol=0.05)
