"""Log-likelihood of every activity in every window: the table's word, the wearer's own ways, the unknown."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..chain.names import MOVING, ORDER, UNKNOWN
from ..chain.semi_markov import Chain, chain_of
from ..unit.features import HOP_S, Features
from .rising import climb_evidence, rise_evidence
from .table import FLOOR, ActivityTable, WearerPrior
from .wearer import LOWEST, Ways, adapted_ways, centred_ways, expected_ways

TEMPER = 0.15  # tried: on activity_waist_phone; windows overlap, so each counts for a part
TEMPER_POSTURE = 0.02  # tried: on activity_waist_phone; its errors on sitting last as long as it
TEMPER_WAYS = {"gait": 0.15, "posture": 0.05}  # tried: on activity_waist_phone; the wearer's own ways
# What a table hardly tells: posture of a trunk upright either way, and which of them a change leads to
HARD = (("standing", "sitting"), ("lie_to_sit", "lie_to_stand"), ("sit_to_lie", "stand_to_lie"))
STILL_SWAY, SWAY_WIDTH, MOST_AGAINST = (
    0.45,
    0.15,
    2.0,
)  # m/s², who walks moves up and down; tried: on activity_waist_phone
UPRIGHT_LEAST, LYING_MOST, TILT_WIDTH = (
    0.45,
    0.60,
    0.15,
)  # cosines of the trunk's tilt, 63° and 53°: by reasoning
FAR, FAR_LEAST, FAR_MOST = (
    1.2,
    -1.5,
    3.0,
)  # distance where the unknown becomes likely; tried: on activity_waist_phone
STAYS = 0.97  # by reasoning: walking or stairs last some eight seconds, windows come every 0.25 s
ROUNDS = 8  # of adapting to gait; settled within six; tried: on activity_waist_phone
POSTURE_ROUNDS = 2  # by the whole chain; a third changes little; tried: on activity_waist_phone


@dataclass(frozen=True, eq=False)
class Evidence:
    """What windows say.

    Attributes
    ----------
    states : n names, the last one "unknown"
    values : (T, n) log-likelihoods
    chain : of these states
    """

    states: tuple[str, ...]
    values: np.ndarray
    chain: Chain


def evidence_of(features: Features, table: ActivityTable, adapt: bool = True) -> Evidence:
    """Evidence for every activity of a table.

    Parameters
    ----------
    features : with all columns that the table wants
    table : of the place where the unit is worn
    adapt : find the wearer's own ways in the recording; False: by what is known of others, as online at first

    Returns
    -------
    Evidence
    """
    states = (*(name for name in ORDER if name in table.activities), UNKNOWN)
    values = np.column_stack([features.column(name) for name in table.features])
    out = Evidence(states, _by_table(features, values, table, states), chain_of(states, HOP_S))
    base = out.values.copy()
    for prior in table.wearers:
        own = np.column_stack([features.column(name) for name in prior.features])
        at = _at(states, prior)
        if not adapt and "walking" not in prior.activities:
            likely = expected_ways(prior).log_likelihoods(own)
            out.values[:, at] = _parted(base[:, at], likely, TEMPER_WAYS["posture"])
        elif adapt:
            if "walking" in prior.activities:
                out.values[:, at] = _gait(out, base, prior, own, _climbs(features, table, prior))
            else:
                out.values[:, at] = _posture(out, base, prior, own)
    return out


def _by_table(
    features: Features, values: np.ndarray, table: ActivityTable, states: tuple[str, ...]
) -> np.ndarray:
    """(T, n) by the table alone, "unknown" in the last column."""
    order = [table.activities.index(name) for name in states[:-1]]
    log_prior = np.log(table.prior[order])
    out = TEMPER * (np.maximum(table.log_probabilities(values)[:, order], FLOOR) - log_prior)
    for names in HARD:
        if set(names) <= set(states):
            pair = [states.index(name) for name in names]
            out[:, pair] = _parted(out[:, pair], out[:, pair], TEMPER_POSTURE / TEMPER)
    sway = np.exp(features.column("sd_v"))
    moving = [number for number, name in enumerate(states) if name in MOVING]
    out[:, moving] -= np.clip((STILL_SWAY - sway) / SWAY_WIDTH, 0, MOST_AGAINST)[:, None]
    if table.place == "waist":
        out += _by_tilt(features.column("up2_u"), states[:-1])
    unknown = out.max(1) + np.clip(table.distance(values) - FAR, FAR_LEAST, FAR_MOST)
    out = np.column_stack([out, unknown])
    if table.place == "waist" and features.heights is not None:
        out += rise_evidence(features.heights, states)
    return out


def _by_tilt(up: np.ndarray, states: tuple[str, ...]) -> np.ndarray:
    """(T, n) against sitting and standing with a level trunk, and against lying with an upright one."""
    level = np.clip((UPRIGHT_LEAST - up) / TILT_WIDTH, 0, MOST_AGAINST)
    upright = np.clip((up - LYING_MOST) / TILT_WIDTH, 0, MOST_AGAINST)
    out = np.zeros((len(up), len(states)))
    for number, name in enumerate(states):
        out[:, number] -= level if name in ("standing", "sitting") else upright if name == "lying" else 0
    return out


def _at(states: tuple[str, ...], prior: WearerPrior) -> list[int]:
    return [states.index(name) for name in prior.activities]


def _parted(base: np.ndarray, likely: np.ndarray, temper: float) -> np.ndarray:
    """(T, K) evidence of a group: as much for the best of them as before, parted by the wearer's own ways."""
    return base.max(1, keepdims=True) + temper * np.maximum(likely - likely.max(1, keepdims=True), LOWEST)


def _posture(evidence: Evidence, base: np.ndarray, prior: WearerPrior, own: np.ndarray) -> np.ndarray:
    """(T, K) for standing and sitting: how this wearer stands and sits, by the whole chain."""
    at, values = _at(evidence.states, prior), evidence.values.copy()
    for _ in range(POSTURE_ROUNDS):
        share = evidence.chain.probabilities(values)[:, at]
        ways, _ = adapted_ways(prior, own, share)
        values[:, at] = _parted(base[:, at], ways.log_likelihoods(own), TEMPER_WAYS["posture"])
    return values[:, at]


def _climbs(features: Features, table: ActivityTable, prior: WearerPrior) -> np.ndarray:
    """(T, K) log-likelihoods of how fast a unit at the waist climbs; nought where that is not known."""
    if table.place != "waist" or features.heights is None:
        return np.zeros((len(features.time), len(prior.activities)))
    return climb_evidence(features.heights, prior.activities)


def _gait(
    evidence: Evidence, base: np.ndarray, prior: WearerPrior, own: np.ndarray, climbs: np.ndarray
) -> np.ndarray:
    """(T, K) for walking and stairs: how this wearer walks and climbs, from the likelier of two starts."""
    at = _at(evidence.states, prior)
    share = evidence.chain.probabilities(evidence.values)[:, at].sum(1)
    starts = (expected_ways(prior), centred_ways(prior, own, share))
    found = [_settled(prior, own, share, start, climbs) for start in starts]
    ways = max(found, key=lambda pair: pair[1])[0]
    return _parted(base[:, at], ways.log_likelihoods(own) + climbs, TEMPER_WAYS["gait"])


def _settled(
    prior: WearerPrior, own: np.ndarray, share: np.ndarray, ways: Ways, climbs: np.ndarray
) -> tuple[Ways, float]:
    """Ways after rounds of expectation and maximisation, and how likely all is with them."""
    likely = 0.0
    for _ in range(ROUNDS):
        parts, likely = _smoothed(ways.log_likelihoods(own) + climbs, share)
        ways, of_wearer = adapted_ways(prior, own, parts * share[:, None] * ways.trust(own))
        likely += of_wearer
    return ways, likely


def _smoothed(likelihoods: np.ndarray, share: np.ndarray) -> tuple[np.ndarray, float]:
    """(T, K) probabilities within the group by a chain that seldom changes, and the log-likelihood.

    Notes
    -----
    Forward and backward products of K by K matrices by doubling, log₂ T passes over all windows.
    """
    top = likelihoods.max(1, keepdims=True)
    weight = TEMPER_WAYS["gait"] * share
    likely = np.exp(np.maximum(likelihoods - top, LOWEST) * weight[:, None])
    K = likely.shape[1]
    change = STAYS * np.eye(K) + (1 - STAYS) / (K - 1) * (1 - np.eye(K))
    steps = change[None] * likely[:, None, :]
    forward, scale = _products(steps)
    after, _ = _products(np.swapaxes(np.concatenate([steps[1:], np.eye(K)[None]]), 1, 2)[::-1])
    both = forward.sum(1) * after[::-1].sum(1)
    total = scale[-1] + np.log(forward[-1].sum() / K) + float(weight @ top[:, 0])
    return both / both.sum(1, keepdims=True), float(total)


def _products(steps: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(T, K, K) products of all matrices so far, largest entry one, and (T,) logarithm of the scale."""
    out, scale = steps.copy(), np.zeros(len(steps))
    reach = 1
    while reach < len(out):
        out[reach:], scale[reach:] = out[:-reach] @ out[reach:], scale[:-reach] + scale[reach:]
        most = out.max((1, 2))
        out /= most[:, None, None]
        scale += np.log(most)
        reach *= 2
    return out, scale
