"""Where two units contradict each other, joints that do not fit either are not known; those that fit are."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np

from bodyfit.fitting import contradictions as told


def track(monkeypatch, off, share):
    """A chain of four units at whose three joints units disagree so."""
    ends = SimpleNamespace(parents=np.array([0, 1, 2]), children=np.array([1, 2, 3]))
    body = SimpleNamespace(ends=ends, joints=np.arange(3))
    ties = [SimpleNamespace(joint=SimpleNamespace(name=name)) for name in ("hip", "knee", "ankle")]
    problem = SimpleNamespace(ties=ties, signals=SimpleNamespace(units=tuple("abcd")))
    monkeypatch.setattr(told, "_disagreements", lambda _: (np.array(off), np.array(share)))
    return SimpleNamespace(found=SimpleNamespace(body=body), problem=problem)


def test_a_joint_that_does_not_fit_beside_a_contradiction_is_not_known(monkeypatch):
    one = track(monkeypatch, [0.2, 0.2, 1.0], [0.1, 0.35, 0.6])
    assert [c.joint for c in told.contradictions(one)] == ["ankle"]
    assert told.not_vouched_for(one) == {"knee", "ankle"}


def test_without_a_contradiction_every_joint_speaks_for_itself(monkeypatch):
    assert told.not_vouched_for(track(monkeypatch, [0.1, 0.2, 0.1], [0.1, 0.35, 0.6])) == set()
