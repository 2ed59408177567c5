"""--no-usual-postures reaches every fit that a command makes."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from bodyfit.commands.main import main
from bodyfit.errors import CannotReconstructError, InputError
from bodyfit.study.batch import fit_one
from bodyfit.study.comparison import run_case
from bodyfit.study.planning import plan

DEMO = Path(__file__).resolve().parents[2] / "demo_captures" / "cello_arm"
TRUTH = DEMO / "truth" / "segments.csv.gz"


def believed(monkeypatch, module, *words: str) -> set[bool]:
    """Whether fits of a command were given usual postures; they refuse, so nothing is solved."""
    seen = set()

    def refusing(capture, **asked):
        seen.add(bool(capture.model.usual_postures) and asked.get("usual_postures", True))
        raise CannotReconstructError("not asked for here")

    monkeypatch.setattr(module, "fit", refusing)
    CliRunner().invoke(main, [*words], catch_exceptions=False)
    return seen


@pytest.mark.parametrize(("extra", "expected"), [((), {True}), (("--no-usual-postures",), {False})])
def test_compare(monkeypatch, tmp_path, extra, expected):
    words = (
        "compare",
        str(DEMO),
        "--sets",
        "all",
        "--leave-out",
        "hand",
        "--jobs",
        "1",
        "--out",
        str(tmp_path),
    )
    assert believed(monkeypatch, run_case, *words, *extra) == expected


@pytest.mark.parametrize(("extra", "expected"), [((), [True]), (("--no-usual-postures",), [False])])
def test_plan(monkeypatch, tmp_path, extra, expected):
    seen = []

    def refusing(question, *rest, **asked):
        seen.append(bool(question.motion.model.usual_postures))
        raise InputError("not asked for here")

    monkeypatch.setattr(plan, "plan", refusing)
    words = ("plan", str(TRUTH), "--model", "right_arm", "--tolerance", "r_elbow=30", "--out", str(tmp_path))
    CliRunner().invoke(main, [*words, *extra], catch_exceptions=False)
    assert seen == expected


def test_batch_hands_it_on(monkeypatch):
    seen = []
    monkeypatch.setattr(
        fit_one, "fit", lambda capture, **asked: seen.append(asked["usual_postures"]) or 1 / 0
    )
    for postures in (True, False):
        options = fit_one.Options(usual_postures=postures)
        fit_one.fit_one(options, fit_one.Piece("a", str(DEMO)), lambda *told: None)
    assert seen == [True, False]
