"""Some 2000 changed files: each is read or refused in words, within bounds; `run_fuzz.py` tries more."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from kinds import KINDS, sound_files
from run_fuzz import input_of
from strategies import FILES
from trial import bounded, tried

AT_ONCE, LOTS = 210, 8  # inputs of a test; tests
WHOLE = 0.01  # share of what is read that goes through the whole command: a fit takes 30 times as long
FIRST = 10_000_000  # seed; the script starts from 0
CORPUS = sorted(path for path in (Path(__file__).parent / "corpus").glob("*/*") if path.is_file())


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("fuzz")


@pytest.fixture(scope="module")
def sound(folder):
    return sound_files(folder)


@pytest.mark.parametrize("lot", range(LOTS))
def test_changed_files_end_in_words(folder, sound, lot):
    for seed in range(FIRST + lot * AT_ONCE, FIRST + (lot + 1) * AT_ONCE):
        name, content, share = input_of(seed, sound)
        came, told = tried(KINDS[name], content, folder, share < WHOLE)
        assert came != "fault", f"seed {seed}, {name}: {told}"


@pytest.mark.parametrize("name", FILES)
def test_files_with_other_values_end_in_words(folder, sound, name):
    @settings(
        max_examples=54,
        derandomize=True,
        deadline=None,
        database=None,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )
    @given(st.data())
    def check(data):
        content = data.draw(FILES[name](sound[name]))
        came, told = tried(KINDS[name], content, folder, whole=False)
        assert came != "fault", told

    check()


@pytest.mark.parametrize("path", CORPUS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_what_once_ended_badly_does_not_any_more(folder, sound, path):
    came, told = tried(KINDS[path.parent.name], path.read_bytes(), folder, whole=True)
    assert came != "fault", told


def test_a_fault_would_be_seen(folder, sound, monkeypatch):
    """An error that nobody foresaw, one that swallows memory and one that never ends all count."""
    kind = KINDS["setup"]

    def broken(error):
        def read(folder):
            raise error

        return read

    for error in (ZeroDivisionError(), MemoryError(), RecursionError()):
        came, _ = tried(type(kind)(kind.file, broken(error), kind.words), sound["setup"], folder, False)
        assert came == "fault"
    with pytest.raises(MemoryError), bounded():
        bytearray(2**31)
    monkeypatch.setattr("trial.LONGEST_S", 0.05)
    came, told = tried(type(kind)(kind.file, _for_ever, kind.words), sound["setup"], folder, False)
    assert came == "fault" and "over" in told


def _for_ever(folder):
    while True:
        pass
