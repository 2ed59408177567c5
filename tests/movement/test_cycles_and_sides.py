"""Curves over the cycle against scipy's circular statistics, left against right against scipy's t-test."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy import stats

from bodyfit.errors import InputError
from bodyfit.movement.cycles.curves import Cycles, columns_of, cycles_of, evenly_within
from bodyfit.movement.cycles.left_right import left_right
from bodyfit.movement.cycles.of_strides import cycles_of_strides
from bodyfit.movement.cycles.sides import stride_cycles, symmetries
from bodyfit.movement.strides.result import Stride, Strides

TIME = np.arange(0.0, 30.0, 0.01)


def strides(size_left: float = 1.0, size_right: float = 1.0, count: int = 12) -> tuple[Any, dict[str, Any]]:
    """A stand-in for a fit whose knees bend once a stride, and where strides start and end."""
    rng = np.random.default_rng(4)
    starts = {"left": 1.0 + 2.0 * np.arange(count), "right": 2.0 + 2.0 * np.arange(count)}
    knees = {}
    for side, size in (("left", size_left), ("right", size_right)):
        own = np.zeros(len(TIME))
        for start in starts[side]:
            inside = np.abs(TIME - start - 1.0) <= 1.0
            lift = size + 0.05 * rng.normal()
            own[inside] = lift * np.sin(np.pi * (TIME[inside] - start) / 2.0) ** 2
        knees[f"{side[0]}_knee"] = {"flexion": own}
    middle = {"vl5": {"flexion": 0.1 * np.sin(TIME)}, "skullbase": {"flexion": 0.0 * TIME}}
    fit = SimpleNamespace(time=TIME, joint_angles=knees | middle, inferred_joints=("skullbase",))
    return fit, {side: (s, s + 2.0) for side, s in starts.items()}


def test_mean_and_spread_are_circular():
    rng = np.random.default_rng(0)
    angle = np.unwrap(3.0 + 0.3 * np.sin(TIME) + 0.02 * rng.normal(size=len(TIME)))  # passes ±180°
    wrapped = np.arctan2(np.sin(angle), np.cos(angle))
    at = evenly_within(np.arange(0, 18, 2 * np.pi), np.arange(0, 18, 2 * np.pi) + 2 * np.pi)
    found = cycles_of("any", TIME, {"shoulder": {"plane": wrapped}}, at)
    values = np.interp(at, TIME, np.unwrap(wrapped))
    mean: Any = stats.circmean
    expected = mean(values, high=np.pi, low=-np.pi, axis=0)
    off = found.mean["shoulder"]["plane"] - expected
    assert np.abs(np.arctan2(np.sin(off), np.cos(off))).max() < 1e-4
    assert np.abs(np.diff(found.mean["shoulder"]["plane"])).max() < 0.2
    assert found.sd["shoulder"]["plane"] == pytest.approx(values.std(0, ddof=1), rel=1e-6)


def test_one_cycle_has_no_spread_and_none_no_curve():
    angles = {"knee": {"flexion": np.sin(TIME)}}
    one = cycles_of("any", TIME, angles, evenly_within(np.array([1.0]), np.array([2.0])))
    assert np.isnan(one.sd["knee"]["flexion"]).all()
    assert one.mean["knee"]["flexion"][[0, -1]] == pytest.approx(np.sin([1.0, 2.0]), abs=1e-4)
    none = cycles_of("any", TIME, angles, np.empty((0, 101)))
    assert none.count == 0 and np.isnan(none.mean["knee"]["flexion"]).all()


def test_a_side_has_its_own_joints_and_those_in_the_middle():
    fit, both = strides()
    sides = stride_cycles(fit, both)
    assert set(sides["left"].mean) == {"l_knee", "vl5"} and sides["left"].count == 12
    assert set(sides["right"].mean) == {"r_knee", "vl5"}
    curve = sides["right"].mean["r_knee"]["flexion"]
    assert curve == pytest.approx(curve.max() * np.sin(np.pi * np.linspace(0, 1, 101)) ** 2, abs=0.01)
    table = columns_of(list(sides.values()))
    assert len(table["percent"]) == 202 and list(table["movement"][[0, 101]]) == ["left", "right"]
    assert np.isnan(table["l_knee_flexion_mean_deg"][101:]).all()
    assert (table["cycles"] == 12).all()


def stride(side: str, start: float, end: float, **more: Any) -> Stride:
    """A stride of which little is known."""
    known = dict.fromkeys(Stride.__dataclass_fields__) | dict(side=side, start=start, end=end) | more
    return Stride(**known)


def as_found(both: dict[str, Any], **more: Any) -> list[Stride]:
    return [
        stride(side, a, b, **more)
        for side, (starts, ends) in both.items()
        for a, b in zip(starts, ends, strict=True)
    ]


def test_strides_as_found_give_the_same_curves():
    fit, both = strides()
    fit.joint_angle_sd = None
    found = [*as_found(both), stride("none", 1.0, 2.0), stride("left", 29.0, 31.0)]
    mine, given = cycles_of_strides(fit, Strides((), tuple(found))), stride_cycles(fit, both)
    assert {side: one.count for side, one in mine.cycles.items()} == {"left": 12, "right": 12}
    assert np.allclose(mine.cycles["left"].mean["l_knee"]["flexion"], given["left"].mean["l_knee"]["flexion"])


def test_stairs_have_curves_of_their_own_and_turning_strides_none():
    fit, both = strides()
    fit.joint_angle_sd = None
    found = as_found(both, height_change=0.02, turn=0.1)
    for number, changed in ((0, {"height_change": 0.3}), (1, {"height_change": -0.3}), (2, {"turn": -1.2})):
        found[number] = stride("left", found[number].start, found[number].end, **changed)
    told = cycles_of_strides(fit, Strides((), tuple(found)))
    counts = {name: one.count for name, one in told.cycles.items()}
    assert counts == {"left": 9, "right": 12, "left_up": 1, "left_down": 1}
    (row,) = [row for row in told.sides if row.quantity == "knee_flexion_range"]
    assert (row.left_count, row.right_count) == (9, 12)
    few = cycles_of_strides(fit, Strides((), tuple(found[:5])))
    assert few.sides == () and few.findings[0].kind == "sides-not-compared"


def test_left_against_right_of_step_times_is_welchs_test_too():
    fit, both = strides()
    fit.joint_angle_sd = None
    rng = np.random.default_rng(1)
    found = [stride(s.side, s.start, s.end, length=1.3 + 0.05 * rng.normal()) for s in as_found(both)]
    rows = {row.quantity: row for row in cycles_of_strides(fit, Strides((), tuple(found))).sides}
    assert set(rows) == {"stride_time", "stride_length", "speed", "knee_flexion_range"}
    row = rows["stride_length"]
    lengths = [[s.length for s in found if s.side == side] for side in ("left", "right")]
    test: Any = stats.ttest_ind(*lengths, equal_var=False)
    assert row.difference / row.difference_sd == pytest.approx(test.statistic, rel=1e-9)
    assert row.index == pytest.approx(100 * row.difference / (0.5 * (row.left + row.right)))


def test_index_sd_is_that_of_many_draws():
    rng = np.random.default_rng(0)
    pairs = [(rng.normal(1.2, 0.1, 9), rng.normal(1.0, 0.05, 12)) for _ in range(4000)]
    found = [left_right("any", "m", a, b) for a, b in pairs]
    drawn = np.std([one.index for one in found])
    assert np.mean([one.index_sd for one in found]) == pytest.approx(drawn, rel=0.05)


def test_difference_and_its_sd_are_those_of_welchs_test():
    fit, both = strides(1.0, 0.9)
    sides = stride_cycles(fit, both)
    (found,) = symmetries(sides)
    samples = [
        np.interp(evenly_within(*both[s]), TIME, fit.joint_angles[f"{s[0]}_knee"]["flexion"]) for s in both
    ]
    test: Any = stats.ttest_ind(*(sample[:, 50] for sample in samples), equal_var=False)
    assert found.difference[50] / found.difference_sd[50] == pytest.approx(test.statistic, rel=1e-6)
    of_fit = {name: {"flexion": np.full(len(TIME), 0.03)} for name in ("l_knee", "r_knee")}
    (wider,) = symmetries(sides, of_fit)
    assert wider.difference_sd[50] ** 2 - found.difference_sd[50] ** 2 == pytest.approx(2 * 0.03**2)
    assert wider.index_sd > 1.5 * found.index_sd


def test_symmetry_index_as_its_formula_says():
    (found,) = symmetries(stride_cycles(*strides(1.1, 0.9)))
    L, R = found.left_range, found.right_range
    assert found.index == pytest.approx(100 * (L - R) / (0.5 * (L + R)))
    assert found.index == pytest.approx(20.0, abs=4.0)
    many = [symmetries(stride_cycles(*strides(1.1, 0.9, count=n)))[0].index_sd for n in (4, 12)]
    assert 0 < many[1] < many[0] < 10


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"both": (np.array([1.0]), np.array([2.0]))}, "found side 'both'"),
        ({"left": (np.array([1.0]), np.array([2.0, 3.0]))}, "as many of either"),
        ({"left": (np.array([3.0]), np.array([2.0]))}, "stride 1 from 3.00 to 2.00 s"),
        ({"left": (np.array([1.0]), np.array([99.0]))}, "within the fit, 0.00 to 29.99 s"),
    ],
)
def test_strides_that_cannot_be_are_refused(given, words):
    with pytest.raises(InputError, match=words):
        stride_cycles(strides()[0], given)


def test_left_against_right_needs_both():
    fit, both = strides()
    with pytest.raises(InputError, match="no right strides"):
        symmetries(stride_cycles(fit, {"left": both["left"], "right": (np.empty(0), np.empty(0))}))


def test_columns_of_nothing():
    assert len(columns_of([])["percent"]) == 0
    assert isinstance(stride_cycles(*strides())["left"], Cycles)
