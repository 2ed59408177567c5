"""How sure headings, inclinations and places are said to be."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import bodyfit
from bodyfit.body.chain import BodyModel
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.parts import Joint, Segment
from bodyfit.estimator.uncertainty import segments
from bodyfit.estimator.uncertainty.segments import _across, _arms, _places, segment_covariance

DEMOS = Path(__file__).resolve().parents[2] / "demo_captures"
TWO = {"accelerometer", "gyroscope"}


def test_a_place_at_the_end_of_an_arm_follows_from_the_turn():
    """A turn of variance v about each axis moves the end of an arm of length L by 2 v L² in all."""
    model = BodyModel(
        "two",
        {n: Segment(n, length=0.4) for n in "ab"},
        {
            "ab": Joint(
                "ab", "a", "b", centre_in_parent=np.array([0.0, -0.4, 0.0]), centre_in_child=np.zeros(3)
            )
        },
    )
    still = Rotation.identity(3)
    poses = PoseSequence(np.arange(3.0), {"a": still, "b": still}, model)
    variance = np.broadcast_to(0.02**2 * np.eye(3), (3, 3, 3))
    across = {child: _across(arm, variance) for child, arm in _arms(poses, "a").items()}
    found = _places(poses, across, {"a": 0.0})["b"]
    rng = np.random.default_rng(0)
    drawn = Rotation.from_rotvec(0.02 * rng.standard_normal((20_000, 3))).apply([0.0, -0.4, 0.0])
    moved = np.sqrt(np.mean(np.sum((drawn - [0.0, -0.4, 0.0]) ** 2, -1)) / 3)
    assert found == pytest.approx(moved, rel=0.02)


def test_headings_are_less_sure_than_inclinations_without_a_field():
    fit = bodyfit.fit(bodyfit.read_capture(DEMOS / "cello_arm").between(0, 20), sensors=TWO)
    for name, one in fit.segment_sd.items():
        assert one.heading.shape == one.inclination.shape == fit.time.shape
        assert np.all((one.heading > 0) & (one.heading <= np.pi)), name
        assert one.place is not None and np.all(np.isfinite(one.place))
    chest = fit.segment_sd["thorax"]  # its mounting is stated, so that the motion decides
    assert np.median(chest.heading[-100:]) > np.median(chest.heading[:100])  # nothing holds the whole body's
    assert np.median(fit.segment_sd["r_hand"].place) > np.median(fit.segment_sd["r_upperarm"].place)  # type: ignore[arg-type]


def test_a_segment_is_as_unsure_as_its_unit_the_tissue_and_the_mounting_together(monkeypatch):
    """Three independent turns, drawn 40 000 times: their covariances add up in the world frame."""
    rng = np.random.default_rng(0)
    R = Rotation.from_rotvec([0.3, -0.8, 0.5]).as_matrix()
    unit, mounted, soft = np.diag([1.0, 2.0, 3.0]) * 1e-4, np.diag([4.0, 1.0, 2.0]) * 1e-4, 5e-4
    mounting = SimpleNamespace(segment_from_unit=np.eye(3)[None], covariance=mounted[None])
    found = SimpleNamespace(
        state=SimpleNamespace(R=R[None, None]),
        body=SimpleNamespace(mounting=mounting),
        rotation=unit[None, None],
    )
    monkeypatch.setattr(segments, "unit_turn_variance", lambda _: np.full((1, 1), soft))
    told = segment_covariance(found)[0, 0]  # type: ignore[arg-type]
    draws = (rng.multivariate_normal(np.zeros(3), S, 40_000) for S in (unit, mounted, soft * np.eye(3)))
    of_unit, of_mounting, of_tissue = draws
    turned = of_unit + of_mounting @ R.T + of_tissue
    assert told == pytest.approx(np.cov(turned.T), abs=3e-5)
