"""Assignments worth scoring: exchanges by name, and a search that finds what trying every one finds."""

from itertools import permutations

import numpy as np
import pytest

from bodyfit.calibration.placement import assignment_search
from bodyfit.calibration.placement.assignment_search import exchanged, mirrored_limbs, worth_scoring
from bodyfit.calibration.placement.body_tree import tree_of
from bodyfit.calibration.placement.joint_likelihood import Evidence, base_scores
from bodyfit.files.model.model_file import read_model

BODY = tree_of(read_model("whole_body"), None)
NAMES = list(BODY.segments)


def named(row, none):
    """Unit -> segment."""
    return {int(unit): NAMES[s] for s, unit in enumerate(row) if unit != none}


def moved(row, none):
    """Segment by unit of those that are elsewhere than at the start."""
    return {NAMES[unit]: where for unit, where in named(row, none).items() if NAMES[unit] != where}


EVERYWHERE = np.arange(len(NAMES))
LIMBS = [moved(row, len(NAMES)) for row in mirrored_limbs(BODY, EVERYWHERE)]


def sides(*parts):
    pairs = [(f"l_{part}", f"r_{part}") for part in parts]
    return dict(pairs) | {b: a for a, b in pairs}


@pytest.mark.parametrize(
    "parts",
    [
        ("thigh", "calf", "hindfoot"),
        ("calf", "hindfoot"),
        ("hindfoot",),
        ("upperarm", "forearm", "hand"),
        ("hand",),
        ("thigh", "calf", "hindfoot", "upperarm", "forearm", "hand"),
    ],
)
def test_limbs_go_to_the_other_side_from_a_joint_outwards(parts):
    assert sides(*parts) in LIMBS


def test_no_limb_loses_its_outer_part():
    for limb in LIMBS:
        assert ("l_calf" in limb) == ("l_hindfoot" in limb) or "l_hindfoot" in limb
        assert all(limb[other] == name for name, other in limb.items())


def test_any_two_places_are_exchanged():
    found = [moved(row, len(NAMES)) for row in exchanged(BODY, EVERYWHERE, len(NAMES))]
    for a, b in (("pelvis", "thorax"), ("l_hand", "r_hindfoot"), ("skull", "l_calf")):
        assert {a: b, b: a} in found


def known(units, seed):
    """Random evidence for units on the whole body."""
    rng = np.random.default_rng(seed)
    joint = np.zeros((len(BODY.joints), units + 1, units + 1))
    joint[:, :units, :units] = rng.normal(0, 5, (len(joint), units, units))
    joint[:, range(units), range(units)] = -np.inf
    return Evidence(BODY, None, joint, (), np.zeros((units, 3, 3)), {})  # type: ignore[arg-type]


@pytest.mark.parametrize("seed", range(4))
def test_the_search_finds_the_best_of_all(monkeypatch, seed):
    """Six units said to be on six segments, in an unknown order: 720 ways, tried one by one."""
    evidence, at = known(6, seed), [NAMES.index(n) for n in NAMES[:6]]
    given = np.full(len(NAMES), 6)
    given[at] = range(6)
    every = []
    for order in permutations(range(6)):
        row = np.full(len(NAMES), 6)
        row[at] = order
        every.append(row)
    best = max(base_scores(evidence, np.array(every)))
    assert len(worth_scoring(evidence, given)) == 720
    monkeypatch.setattr(assignment_search, "ALL_UP_TO", 0)
    searched = worth_scoring(evidence, given)
    assert len(searched) < 720
    assert max(base_scores(evidence, searched)) == pytest.approx(best)


def test_every_row_puts_each_unit_once_and_the_given_one_comes_first(monkeypatch):
    monkeypatch.setattr(assignment_search, "ALL_UP_TO", 0)
    given = np.full(len(NAMES), 5)
    given[[0, 2, 3, 5, 7]] = range(5)
    rows = worth_scoring(known(5, 9), given)
    np.testing.assert_array_equal(rows[0], given)
    assert all(sorted(row[row < 5]) == [0, 1, 2, 3, 4] for row in rows)
    assert len(np.unique(rows, axis=0)) == len(rows)


def test_blocked_segments_stay_empty():
    given = np.full(len(NAMES), 2)
    rows = worth_scoring(known(2, 1), given, blocked=[0, 4])
    assert (rows[:, [0, 4]] == 2).all() and len(rows) == (len(NAMES) - 2) * (len(NAMES) - 3)
