"""Bounded pieces of three published sets, named in two of five folds of the published training halves.

Published for 1-nearest-neighbour by dependent warping, trained on the whole of these halves: BasicMotions
0.975, UWave 0.903, Epilepsy 0.964; by independent warping Epilepsy 0.978 (Bagnall et al. 2018,
arXiv:1811.00075, from memory). Here four fifths of them train, so to reach the same is harder; the test
halves are kept back.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from bodyfit.movement.repetitions.naming import known_movements

PUBLISHED = {"basicmotions": 0.975, "epilepsy": 0.978, "uwave": 0.903}
FOLDS = 2  # of the five, the first ones, for their time


@pytest.mark.parametrize("name", PUBLISHED)
def test_at_least_as_many_are_named_rightly_as_published(recordings, name):
    path = recordings / "gestures" / f"{name}_uea.parquet"
    if not path.exists():
        pytest.skip(f"the published set {name} is not there")
    table = pd.read_parquet(path)
    axes = [c for c in table.columns if c not in ("sample", "label", "t", "step")]
    groups = [rows for _, rows in table.groupby("sample")]
    pieces = [rows[axes].to_numpy(float) for rows in groups]
    labels = np.array([str(rows.label.iloc[0]) for rows in groups])
    mixed = np.random.default_rng(0).permutation(len(pieces))
    order = mixed[np.argsort(labels[mixed], kind="stable")]  # as many of each in every fold
    right, of = 0, 0
    for fold in range(FOLDS):
        test = order[fold::5]
        train = np.setdiff1d(order, test)
        known = known_movements([pieces[i] for i in train], list(labels[train]))
        right += int((np.array(known.name([pieces[i] for i in test])) == labels[test]).sum())
        of += len(test)
    print(f"\n{name}: {right} of {of}")
    assert right / of >= PUBLISHED[name]
