"""Measures the activity timeline on open recordings: unseen people only.

python docs/activities_study.py [waist] [shipped] [pocket] [young]
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np
import pandas as pd
from activity_recordings import Recording, pocket, waist_phone, waist_young_old
from train_activities import (
    gait_prior,
    labels_by_order,
    numbers_of,
    thigh_table,
    waist_table,
)  # fmt: skip

from bodyfit.movement.activities.chain.names import CHANGES
from bodyfit.movement.activities.chain.timeline import named, timeline
from bodyfit.movement.activities.table.evidence import evidence_of
from bodyfit.movement.activities.table.shipped import activity_table, table_from
from bodyfit.movement.activities.table.table import ActivityTable
from bodyfit.movement.activities.unit.features import HOP_S
from bodyfit.movement.activities.unit.placed import placed

SIX = ("walking", "stairs_up", "stairs_down", "sitting", "standing", "lying")


def told(table: ActivityTable, recording: Recording, lag: int | None = None, adapt: bool = True):
    """(T,) names as the timeline tells them."""
    features = recording.features if lag is None else replace(recording.features, heights=None)
    e = evidence_of(features, table, adapt)
    states, P = named(e.states, e.chain.probabilities(e.values, lag))
    spans = timeline(recording.features.time, HOP_S, states, P)
    if table.place == "waist" and lag is None:
        spans = placed(spans, recording.features)
    out = np.full(len(P), "", dtype=object)
    for s in spans:
        out[(recording.features.time > s.start) & (recording.features.time < s.end)] = s.activity
    return out, spans, e


def six_scores(pairs) -> str:
    """Accuracy, mean recall, change F1, share errors over (recording, marks, names, spans)."""
    true, found, error = [], [], []
    hits = claims = changes = 0
    for r, marks, p, spans in pairs:
        known = r.labels != ""
        judged = np.isin(r.labels, SIX)
        true += list(r.labels[judged])
        found += list(p[judged])
        error += [100 * abs(np.mean(p[known] == k) - np.mean(r.labels[known] == k)) for k in SIX]
        a, b, c = change_counts(marks, spans, r)
        hits, claims, changes = hits + a, claims + b, changes + c
    true, found = np.array(true), np.array(found)
    recall = [np.mean(found[true == k] == k) for k in SIX]
    each = ", ".join(f"{k} {v:.3f}" for k, v in zip(SIX, recall, strict=True))
    return (
        f"six: accuracy {np.mean(true == found):.3f}, balanced {np.mean(recall):.3f} ({each}); changes F1 "
        f"{2 * hits / (claims + changes):.3f} ({hits} of {changes}, {claims} claimed); "
        f"share error {np.mean(error):.2f}, 95 % {np.quantile(error, 0.95):.1f} points"
    )


def change_counts(marks: pd.DataFrame, spans, r: Recording) -> tuple[int, int, int]:
    """Changes found with the right kind and centre within 1 s, claimed in labelled time, and marked."""
    events = [(s.activity, (s.start + s.end) / 2) for s in spans if s.activity in CHANGES]
    true = [((m.t_start + m.t_end) / 2, m.activity) for m in marks.itertuples() if m.activity in CHANGES]
    used: set[int] = set()
    for centre, kind in true:
        near = [i for i, (k, c) in enumerate(events) if k == kind and abs(c - centre) <= 1 and i not in used]
        used |= set(near[:1])
    labelled = [r.labels[np.argmin(np.abs(r.features.time - c))] != "" for _, c in events]
    return len(used), sum(i in used or seen for i, seen in enumerate(labelled)), len(true)


def waist_left_out(phones, young) -> None:
    """Three folds over people, young and old added to each; the tables are thrown away.

    A table that has seen so many people sit does without the shipped one's prior of how people sit.
    """
    labels_young = labels_by_order(young, 0.03)
    people = sorted({r.person for r, _ in phones})
    pairs = []
    for fold in range(3):
        out = people[fold::3]
        recs = [r for r, _ in phones if r.person not in out] + young
        labels = [r.labels for r, _ in phones if r.person not in out] + labels_young
        wearers = [gait_prior(recs, labels)]
        table = table_from(numbers_of("waist", recs, labels, 0.0003, wearers))
        pairs += [(r, m, *told(table, r)[:2]) for r, m in phones if r.person in out]
    print("waist phone, trained on it, people left out:", six_scores(pairs), flush=True)


def shipped_on_phone(phones) -> None:
    table = activity_table("waist")
    pairs = [(r, m, *told(table, r)[:2]) for r, m in phones]
    print("waist phone, shipped table, nobody of this set in it:", six_scores(pairs), flush=True)
    for lag in (2, 4, 8):
        pairs = [(r, m, *told(table, r, lag)[:2]) for r, m in phones]
        print(f"  online, told {2 + lag * HOP_S:g} s late:", six_scores(pairs), flush=True)


FIVE = ("standing", "walking", "running", "stairs_up", "stairs_down")


def pocket_left_out(phones: list[Recording]) -> None:
    people = sorted({r.person for r in phones})
    true, found, jumps, sits = [], [], [], []
    for person in people:
        table = table_from(thigh_table([r for r in phones if r.person != person]))
        for r in phones:
            if r.person == person:
                p, spans, _ = told(table, r)
                if r.order[0] in FIVE and len(r.order) == 1:
                    true += [r.order[0]] * len(p)
                    found += list(p)
                elif r.code == "JUM":
                    jumps.append(round(float(np.mean(p == "running")), 2))
                else:
                    sits.append(sum(s.activity == "stand_to_sit" for s in spans) == 1)
    true, found = np.array(true), np.array(found)
    recall = [round(float(np.mean(found[true == k] == k)), 3) for k in FIVE]
    print(
        f"pocket, people left out: {np.mean(true == found):.3f}, balanced {np.mean(recall):.3f} {recall}; "
        f"of jumping told as running {jumps}; sitting down once {sum(sits)} of {len(sits)}", flush=True,
    )  # fmt: skip


def young_left_out(young: list[Recording]) -> None:
    people = sorted({r.person for r in young})
    right: dict[str, list[bool]] = {}
    for person in people:
        table = table_from(waist_table([r for r in young if r.person != person]))
        for r in young:
            if r.person == person:
                spans = told(table, r)[1]
                right.setdefault(r.code, []).append(order_right(r, spans))
                right.setdefault(person[:2], []).append(right[r.code][-1])
    print(
        "young and old, people left out, order right:",
        {k: f"{sum(v)}/{len(v)}" for k, v in right.items()},
        flush=True,
    )


def order_right(r: Recording, spans) -> bool:
    """The events in their order and nothing else of their kind."""
    kinds = {
        "walking": ("walking", "stairs_up", "stairs_down", "running", *CHANGES),
        "stairs": ("stairs_up", "stairs_down", *CHANGES),
    }
    told_ = [s.activity for s in spans]
    if r.code in ("D01", "D02"):
        return [k for k in told_ if k in kinds["walking"]] in (["walking"], ["walking", "walking"])
    if r.code in ("D05", "D06"):
        return [k for k in told_ if k in kinds["stairs"]] == ["stairs_up", "stairs_down"]
    return [k for k in told_ if k in CHANGES] == [k for k in r.order if k in CHANGES]


if __name__ == "__main__":
    asked = sys.argv[1:] or ["shipped", "waist", "pocket", "young"]
    if {"shipped", "waist"} & set(asked):
        phones = waist_phone()
        if "shipped" in asked:
            shipped_on_phone(phones)
        if "waist" in asked:
            waist_left_out(phones, waist_young_old())
    if "pocket" in asked:
        pocket_left_out(pocket())
    if "young" in asked:
        young_left_out(waist_young_old())
