"""How far a unit rises from rest to rest, and what that says of who sits down, gets up or climbs."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bodyfit.body.chain import BodyModel
from bodyfit.body.parts import Segment
from bodyfit.core.gravity import STANDARD_GRAVITY as G
from bodyfit.movement.activities import one_unit
from bodyfit.movement.activities.chain.names import MOVING, ORDER
from bodyfit.movement.activities.chain.semi_markov import chain_of
from bodyfit.movement.activities.table.evidence import evidence_of
from bodyfit.movement.activities.table.rising import CLIMBS, RISES, climb_evidence, rise_evidence
from bodyfit.movement.activities.table.shipped import activity_table
from bodyfit.movement.activities.unit.features import HOP_S, Features
from bodyfit.movement.activities.unit.heights import LONGEST_CHANGE_S, Heights, heights_of
from bodyfit.movement.activities.unit.samples import FREQUENCY
from bodyfit.movement.activities.unit.upright import up_of
from bodyfit.recording.capture import Capture, Unit

HOP = 12


def moved(rise: float, seconds: float, lean: float = 0.0, bias: float = 0.0, turn: Rotation | None = None):
    """Force and rate of a unit that rests for 4 s, rises smoothly while it leans and nods, and rests again.

    The rise is a minimum-jerk one, r (10 s³ - 15 s⁴ + 6 s⁵) (Flash & Hogan 1985,
    doi:10.1523/JNEUROSCI.05-07-01688.1985), so that its acceleration is known in closed form.
    """
    t = np.arange(0, 8 + seconds, 1 / FREQUENCY)
    s = np.clip((t - 4) / seconds, 0, 1)
    upward = rise / seconds**2 * (60 * s - 180 * s**2 + 120 * s**3)
    angle = np.radians(lean) * (10 * s**3 - 15 * s**4 + 6 * s**5)
    angle += np.radians(20) * np.sin(np.pi * s * np.ceil(seconds / 2)) ** 2
    pitch = Rotation.from_rotvec(angle[:, None] * [0, 1, 0])
    world = np.column_stack([np.zeros((len(t), 2)), G + upward])
    force = pitch.inv().apply(world) + np.array([0, 0, bias])
    rate = np.gradient(angle, t)[:, None] * [0, 1, 0]
    turn = turn or Rotation.identity()
    return turn.apply(force), turn.apply(rate)


def heights(*args, **kwargs) -> Heights:
    force, rate = moved(*args, **kwargs)
    return heights_of(force, rate, up_of(force, rate), HOP)


@pytest.mark.parametrize(("rise", "seconds"), [(-0.4, 1.5), (0.4, 3.0), (0.1, 2.0), (-0.5, 5.0)])
def test_the_rise_between_two_rests_is_found_in_the_window_where_it_is_fastest(rise, seconds):
    found = heights(rise, seconds)
    at = np.flatnonzero(np.isfinite(found.rise))
    assert len(at) == 1
    assert at[0] * HOP / FREQUENCY == pytest.approx(4 + seconds / 2, abs=0.5)
    assert found.rise[at[0]] == pytest.approx(rise, abs=0.02)
    fastest = 15 / 8 * rise / seconds  # of a minimum-jerk movement, at its middle
    assert abs(found.climb[at[0]]) <= abs(fastest) + 1e-6


def test_a_poor_accelerometer_and_a_lean_cost_little_and_widen():
    """0.8 m/s² of bias along the spine, a lean of 35°: g felt changes by 0.15 m/s² between the rests."""
    sound, poor = heights(-0.4, 3.0, lean=35.0), heights(-0.4, 3.0, lean=35.0, bias=0.8)
    assert np.nanmin(sound.rise) == pytest.approx(-0.4, abs=0.04)
    assert np.nanmax(poor.rise_sd) > np.nanmax(sound.rise_sd) + 0.03
    assert np.nanmin(poor.rise) == pytest.approx(-0.4, abs=1.5 * np.nanmax(poor.rise_sd))


def test_a_unit_turned_anyhow_rises_as_far():
    straight = heights(0.4, 2.0, lean=20.0)
    turned = heights(0.4, 2.0, lean=20.0, turn=Rotation.random(rng=np.random.default_rng(3)))
    assert turned.rise == pytest.approx(straight.rise, abs=1e-6, nan_ok=True)


def test_without_rests_near_enough_nothing_is_said():
    rng = np.random.default_rng(0)
    force, rate = moved(0.4, 2.0)
    restless = heights_of(force, rate + rng.normal(0, 1.0, force.shape), up_of(force, rate), HOP)  # shaken
    assert np.isnan(restless.rise).all() and np.isnan(restless.climb).all()
    slow = heights(3.0, LONGEST_CHANGE_S + 2)
    assert np.isnan(slow.rise).all()
    inner = np.isfinite(slow.climb)
    assert slow.climb[inner].max() == pytest.approx(15 / 8 * 3.0 / (LONGEST_CHANGE_S + 2), rel=0.1)


def test_a_gap_is_no_rest_and_what_holds_one_no_movement():
    force, rate = moved(-0.4, 3.0)
    known = np.ones(len(force), bool)
    known[int(5.0 * FREQUENCY) : int(6.0 * FREQUENCY)] = False
    held = force.copy(), rate.copy()
    held[0][~known], held[1][~known] = [0.0, 0.0, G], 0.0  # as bridged: looks like a rest
    found = heights_of(*held, up_of(*held), HOP, known)
    assert np.isfinite(heights_of(*held, up_of(*held), HOP).rise).any()
    assert np.isnan(found.rise).all() and np.isnan(found.climb).all()


def at_once(rise: float, sd: float = 0.05, climb: float = np.nan) -> Heights:
    return Heights(*(np.array([x]) for x in (rise, sd, climb, sd)))


@pytest.mark.parametrize(
    ("rise", "likelier", "than"),
    [
        (-0.35, "stand_to_sit", "standing"), (-0.35, "stand_to_sit", "sit_to_stand"),
        (0.35, "sit_to_stand", "stand_to_sit"), (0.35, "sit_to_stand", "unknown"),
        (0.0, "sit_to_lie", "sit_to_stand"), (0.0, "standing", "stand_to_sit"),
    ],
)  # fmt: skip
def test_who_goes_down_sits_down_and_who_comes_up_gets_up(rise, likelier, than):
    found = dict(zip(RISES, rise_evidence(at_once(rise), tuple(RISES))[0], strict=True))
    assert found[likelier] > found[than] + 0.5


def test_every_activity_has_its_rise_and_every_gait_its_climb():
    assert set(RISES) == set(ORDER) and set(CLIMBS) == set(MOVING)


def test_a_flight_of_stairs_climbs_as_steps_of_building_codes_do():
    """Rises of 0.14 to 0.19 m (stairs of dwellings, DIN 18065, from memory), 100 to 110 steps a minute."""
    for name, sign in (("stairs_up", 1), ("stairs_down", -1)):
        mean, spread = CLIMBS[name]
        for height, rate in ((0.14, 100), (0.19, 110)):
            assert abs(mean - sign * height * rate / 60) < spread
    gaits = ("walking", "stairs_up", "stairs_down")
    for speed, best in ((0.0, 0), (0.3, 1), (-0.3, 2)):
        assert climb_evidence(at_once(np.nan, climb=speed), gaits)[0].argmax() == best


def test_what_fits_nothing_excludes_nothing_and_what_is_not_known_says_nothing():
    assert rise_evidence(at_once(np.nan), ORDER) == pytest.approx(0)
    far = rise_evidence(at_once(30.0), ORDER)
    assert np.ptp(far) < 1e-6  # a lift
    assert np.ptp(rise_evidence(at_once(1.5), ORDER)) < 2  # a ladder
    assert np.ptp(rise_evidence(at_once(0.35, sd=5.0), ORDER)) < 0.5


def table_features(activities: tuple[str, ...], heights: Heights | None, windows: int = 40) -> Features:
    """Windows in the middle of what the shipped table takes for some activities."""
    table = activity_table("waist")
    at = [table.activities.index(name) for name in activities]
    usual = table.centre + table.scale * table.means[at].mean(0)
    sway = [name for one in table.wearers for name in one.features if name not in table.features]
    values = np.tile(np.r_[usual, np.zeros(len(sway))], (windows, 1))
    return Features(np.arange(windows) * HOP_S, values, (*table.features, *sway), heights)


def all_along(rise: float, climb: float, windows: int = 40) -> Heights:
    at = np.full(windows, np.nan)
    at[windows // 2] = rise
    return Heights(at, np.full(windows, 0.05), np.full(windows, climb), np.full(windows, 0.05))


def test_a_rise_speaks_against_the_wrong_change_and_a_climb_for_stairs():
    table = activity_table("waist")
    for adapt in (False, True):
        plain = evidence_of(table_features(("standing",), None), table, adapt)
        sat = evidence_of(table_features(("standing",), all_along(-0.4, np.nan)), table, adapt)
        gain = (sat.values - plain.values)[20]
        down, up = sat.states.index("stand_to_sit"), sat.states.index("sit_to_stand")
        assert gain[down] - gain[up] > 2
    gaits = ("walking", "stairs_up")
    level = evidence_of(table_features(gaits, all_along(np.nan, 0.0)), table)
    climbs = evidence_of(table_features(gaits, all_along(np.nan, 0.3)), table)
    walk, stairs = level.states.index("walking"), level.states.index("stairs_up")
    apart = [(e.values[:, stairs] - e.values[:, walk]).mean() for e in (level, climbs)]
    assert apart[1] > apart[0] + 0.1


def test_a_recording_seldom_starts_in_the_middle_of_a_change():
    chain = chain_of(ORDER, HOP_S)
    found = chain.probabilities(np.zeros((1, len(ORDER))))[0]
    assert found[ORDER.index("sit_to_stand")] == pytest.approx(0.1 * found[ORDER.index("standing")])


def test_what_is_told_online_knows_no_later_rest(monkeypatch):
    seen = []
    real = one_unit.evidence_of
    monkeypatch.setattr(
        one_unit, "evidence_of", lambda f, *a, **k: seen.append(f.heights) or real(f, *a, **k)
    )
    force, rate = moved(-0.4, 3.0)
    unit = Unit("belt", "pelvis", np.arange(len(force)) / FREQUENCY, force, rate)
    capture = Capture({"belt": unit}, BodyModel("hips", {"pelvis": Segment("pelvis")}, {}))
    for delay in (None, 4.0):
        one_unit.of_capture(capture, None, delay)
    assert seen[0] is not None and seen[1] is None
