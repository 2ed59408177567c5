"""Trains models/activities/*.toml on open recordings in ../shared/data.

python docs/train_activities.py            writes the tables that are shipped
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from activity_recordings import Recording, pocket, spliced, waist_young_old
from scipy.optimize import minimize

from bodyfit.movement.activities.chain.names import LEAST_S
from bodyfit.movement.activities.table.evidence import evidence_of
from bodyfit.movement.activities.table.shipped import table_from
from bodyfit.movement.activities.table.table import ActivityTable
from bodyfit.movement.activities.unit.features import HOP_S

OUT = Path(__file__).resolve().parents[1] / "models" / "activities"
RIDGE = {
    "waist": 0.01,
    "thigh": 0.003,
}  # tried: 0.0003 to 0.1, on activity_waist_phone; people left out of pocket
GAIT = ("walking", "stairs_up", "stairs_down")
POSTURE = ("standing", "sitting")
CONSTANT = (
    "up_low",
    "cadence2",
    "up_u2",
    "up_h",
)  # in gait nearly functions of others: no covariance of their own
OWN_SHARE, WIDER = 0.3, 2.0  # of what people differ by; tried: 0.3, 1 and 2, 4 on activity_waist_phone
SWAY = ("yaw_roll_slow", "yaw_roll_fast")  # tell sitting from standing; no columns of the table itself
# Standing is as upright as walking, sitting as the seat is; who stands yaws more than rolls. Columns: up2_f,
# up2_l, then those of SWAY; means and deviations of activity_waist_young_old, rounded. Between a wearer's
# seats they differ about as much as between people. Whether to use them was seen on activity_waist_phone
POSTURE_MEAN = ((0.05, 0.0, 0.85, 0.70), (0.42, 0.0, -0.30, 0.15))
POSTURE_OWN = ((0.08, 0.05, 0.30, 0.30), (0.15, 0.08, 0.30, 0.25))
POSTURE_WITHIN = ((0.10, 0.08, 0.45, 0.35), (0.28, 0.12, 0.45, 0.35))


def labels_by_order(recordings: list[Recording], ridge: float, rounds: int = 4) -> list[np.ndarray]:
    """Labels of windows of recordings of which only the order of activities is known (forced alignment)."""
    labels = [r.start() for r in recordings]
    for _ in range(rounds):
        table = table_of("", recordings, labels, ridge)
        labels = [r.labels if r.labels is not None else forced(table, r) for r in recordings]
    return labels


def forced(table: ActivityTable, recording: Recording) -> np.ndarray:
    """The best timing of a known order of activities."""
    order = recording.order
    if len(order) == 1:
        return np.full(len(recording.features.time), order[0])
    found = evidence_of(recording.features, table, adapt=False)
    values = found.values[:, [found.states.index(name) for name in order]]
    return np.array(order)[_best_in_order(values, [max(1, round(LEAST_S[name] / HOP_S)) for name in order])]


def _best_in_order(values: np.ndarray, least: list[int]) -> np.ndarray:
    """Index of the stage in each window: left to right, each at least so many windows, all of them."""
    owner = np.repeat(np.arange(len(least)), least)
    last = np.cumsum(least) - 1
    best = np.full(len(owner), -np.inf)
    best[0] = values[0, 0]
    back = np.zeros((len(values), len(owner)), int)
    stay = np.where(np.isin(np.arange(len(owner)), last), 0.0, -np.inf)
    for t in range(1, len(values)):
        come, hold = np.r_[-np.inf, best[:-1]], best + stay
        back[t] = np.where(come > hold, -1, 0)
        best = np.maximum(come, hold) + values[t, owner]
    at, path = len(owner) - 1, []
    for t in range(len(values) - 1, -1, -1):
        path.append(at)
        at += back[t, at]
    return owner[path[::-1]]


def table_of(
    place: str,
    recordings: list[Recording],
    labels: list[np.ndarray],
    ridge: float,
    wearers: list[dict] | None = None,
) -> ActivityTable:
    return table_from(numbers_of(place, recordings, labels, ridge, wearers or []))


def numbers_of(
    place: str, recordings: list[Recording], labels: list[np.ndarray], ridge: float, wearers: list[dict]
) -> dict[str, Any]:
    """What a table holds: logistic regression with ridge and class weights n^(-1/4), means, covariance."""
    names = tuple(n for n in recordings[0].features.names if n not in SWAY)
    X = np.vstack(
        [r.features.values[y != "", : len(names)] for r, y in zip(recordings, labels, strict=True)]
    )  # those of SWAY stand last
    y = np.concatenate([y[y != ""] for y in labels]).astype(str)
    X, y = lying_on_any_side(X, y, names)
    activities, k = np.unique(y, return_inverse=True)
    centre, scale = X.mean(0), X.std(0) + 1e-6
    Z = np.clip((X - centre) / scale, -6, 6)
    weight = (np.bincount(k).mean() / np.bincount(k))[k] ** 0.25
    weight /= weight.mean()
    W = logistic(Z, k, weight, ridge)
    means = np.array([Z[k == j].mean(0) for j in range(len(activities))])
    covariance = np.cov((Z - means[k]).T)
    precision = np.linalg.inv(0.9 * covariance + 0.1 * np.eye(len(covariance)))
    usual = []
    for j in range(len(activities)):
        off = Z[k == j] - means[j]
        usual.append(np.quantile(np.einsum("ni,ij,nj->n", off, precision, off), 0.95))
    table = dict(
        centre=centre, scale=scale, weights=W[:-1], offsets=W[-1], prior=np.bincount(k, weight) / len(k),
        means=means, precision=precision, usual_distance=np.array(usual),
    )  # fmt: skip
    return dict(place=place, activities=list(activities), features=list(names), table=table, wearer=wearers)


def logistic(Z: np.ndarray, k: np.ndarray, weight: np.ndarray, ridge: float) -> np.ndarray:
    """(F + 1, K) weights, the last row offsets, by L-BFGS."""
    n, K = len(Z), k.max() + 1
    Z1, i = np.column_stack([Z, np.ones(n)]).astype("f4"), np.arange(n)
    weight = weight.astype("f4")

    def loss(p: np.ndarray) -> tuple[float, np.ndarray]:
        W = p.reshape(-1, K).astype("f4")
        L = Z1 @ W
        L -= L.max(1, keepdims=True)
        E = np.exp(L)
        S = E.sum(1)
        value = float(np.mean(weight * (np.log(S) - L[i, k])))
        E /= S[:, None]
        E[i, k] -= 1
        E *= weight[:, None]
        R = W.copy()
        R[-1] = 0
        return value + 0.5 * ridge * float((R**2).sum()), (Z1.T @ E / n + ridge * R).ravel().astype(float)

    start = np.zeros(Z1.shape[1] * K)
    return minimize(loss, start, jac=True, method="L-BFGS-B", options=dict(maxiter=150)).x.reshape(-1, K)


def lying_on_any_side(X: np.ndarray, y: np.ndarray, names: tuple[str, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Lying windows also turned about the long axis of the body, so that no side is preferred."""
    at = np.flatnonzero(y == "lying")
    angle = np.random.default_rng(0).uniform(0, 2 * np.pi, (2, len(at)))
    out = [X]
    for c, s in zip(np.cos(angle), np.sin(angle), strict=True):
        turned = X[at].copy()
        for forward, left in (("up_f", "up_l"), ("up2_f", "up2_l")):
            f, l = names.index(forward), names.index(left)
            turned[:, f], turned[:, l] = (
                c * turned[:, f] - s * turned[:, l],
                s * turned[:, f] + c * turned[:, l],
            )
        out.append(turned)
    return np.vstack(out), np.r_[y, y[at], y[at]]


def gait_prior(recordings: list[Recording], labels: list[np.ndarray]) -> dict[str, Any]:
    """Means of gaits over people, covariance within a person and between people."""
    names = [n for n in recordings[0].features.names if n not in (*CONSTANT, *SWAY)]
    at = [recordings[0].features.names.index(n) for n in names]
    X = np.vstack(
        [r.features.values[:, at][np.isin(y, GAIT)] for r, y in zip(recordings, labels, strict=True)]
    )
    y = np.concatenate([y[np.isin(y, GAIT)] for y in labels])
    who = np.concatenate(
        [[r.person] * int(np.isin(y, GAIT).sum()) for r, y in zip(recordings, labels, strict=True)]
    )
    within, apart, mean, count = 0.0, [], [], 0
    for name in GAIT:
        own = [X[(y == name) & (who == person)] for person in np.unique(who)]
        own = [piece for piece in own if len(piece) >= 8]
        middles = np.array([piece.mean(0) for piece in own])
        within = within + sum((piece - piece.mean(0)).T @ (piece - piece.mean(0)) for piece in own)
        count += sum(len(piece) for piece in own)
        mean.append(middles.mean(0))
        apart.append(middles - middles.mean(0))
    floor = np.diag(np.maximum(X.std(0), 0.05) ** 2) * 0.02
    apart = np.vstack(apart)
    common = WIDER * (_shrunk(apart.T @ apart / len(apart), 0.3) + floor)
    within = _shrunk(within / count, 0.2) + floor
    return dict(
        activities=list(GAIT), features=names, mean=np.array(mean), within=np.repeat(within[None], 3, 0),
        common=common, own=np.repeat(OWN_SHARE * common[None], 3, 0),
    )  # fmt: skip


def _shrunk(C: np.ndarray, share: float) -> np.ndarray:
    return (1 - share) * C + share * np.diag(np.diag(C))


def posture_prior(gyroscope: bool) -> dict[str, Any]:
    """How upright people stand and sit at the waist, and how they sway."""
    names = ["up2_f", "up2_l", *(SWAY if gyroscope else ())]
    square = lambda rows: np.array([np.diag(np.array(row[: len(names)]) ** 2) for row in rows])  # noqa: E731
    return dict(
        activities=list(POSTURE), features=names, mean=np.array(POSTURE_MEAN)[:, : len(names)],
        within=square(POSTURE_WITHIN), common=np.zeros((len(names), len(names))), own=square(POSTURE_OWN),
    )  # fmt: skip


def waist_table(recordings: list[Recording]) -> dict[str, Any]:
    """The waist's table: labels by order, then lying down and getting up spliced of sitting and lying."""
    labels = labels_by_order(recordings, 0.03)
    more = spliced(recordings, labels)
    every, all_labels = recordings + more, labels + [r.start() for r in more]
    for _ in range(2):
        table = table_of("", every, all_labels, RIDGE["waist"])
        all_labels = [r.labels if r.labels is not None else forced(table, r) for r in every]
    wearers = [gait_prior(recordings, labels), posture_prior(SWAY[0] in recordings[0].features.names)]
    return numbers_of("waist", every, all_labels, RIDGE["waist"], wearers)


def thigh_table(recordings: list[Recording]) -> dict[str, Any]:
    """The thigh's table: one activity a file, sitting down by order; jumping is none of the named ones."""
    labels = labels_by_order(recordings, RIDGE["thigh"])
    return numbers_of("thigh", recordings, labels, RIDGE["thigh"], [gait_prior(recordings, labels)])


def write(held: dict[str, Any], path: Path, title: str, source: str, licence: str) -> None:
    """The file: words, names, then numbers with four digits."""
    words = dict(title=title, source=source, licence=licence, place=held["place"])
    lines = [
        "# Made by docs/train_activities.py; do not edit by hand",
        *(f'{k} = "{v}"' for k, v in words.items()),
    ]
    lines += [
        f"activities = {_text(held['activities'])}",
        f"features = {_text(held['features'])}",
        "",
        "[table]",
    ]
    lines += [f"{key} = {_text(value)}" for key, value in held["table"].items()]
    for one in held["wearer"]:
        lines += ["", "[[wearer]]"]
        for key, value in one.items():
            same = key in ("within", "own") and np.allclose(value, value[:1])
            lines.append(f"{key} = {_text(value[:1] if same else value)}")
    path.write_text("\n".join(lines) + "\n", "utf-8")


def _text(value: Any) -> str:
    if isinstance(value, (list, np.ndarray)) and len(value) and not isinstance(value[0], str):
        inner = [_text(v) for v in value]
        return "[" + (",\n ".join(inner) if np.ndim(value) == 2 else ", ".join(inner)) + "]"
    if isinstance(value, list):
        return "[" + ", ".join(f'"{v}"' for v in value) + "]"
    return f"{value:.4g}"


LICENCE = (
    "The recordings' owners state no licence and forbid no use; nothing of the recordings is in this file. "
    "activity_waist_phone, whose owner forbids commercial use, trained nothing here."
)


WAIST = (
    "A. Sucerquia, J. D. Lopez, J. F. Vargas-Bonilla, Sensors 17:198 (2017), doi:10.3390/s17010198: "
    "six people of 19 to 75 years, recordings of which the order of activities is known"
)
THIGH = "G. Vavoulas et al. 2016, doi:10.5220/0005792401430151: five people, recordings of one activity each"


def main() -> None:
    for gyroscope, ending, told in ((True, "", ""), (False, "_accelerometer", ", accelerometer alone")):
        waist, thigh = waist_table(waist_young_old(gyroscope)), thigh_table(pocket(gyroscope))
        write(
            waist, OUT / f"waist{ending}.toml", f"Activities by one unit at the waist{told}", WAIST, LICENCE
        )
        title = f"Activities by one unit at the thigh or in a trouser pocket{told}"
        write(thigh, OUT / f"thigh{ending}.toml", title, THIGH, LICENCE)


if __name__ == "__main__":
    main()
