"""Activities and changes of posture, how long they last, and which may follow which."""

from __future__ import annotations

import numpy as np

STILL = ("standing", "sitting", "lying")
MOVING = ("walking", "stairs_up", "stairs_down", "running")
CHANGES = (
    "stand_to_sit", "sit_to_stand", "sit_to_lie", "lie_to_sit", "stand_to_lie", "lie_to_stand",
)  # fmt: skip
OTHER, UNKNOWN = "other", "unknown"  # other: trained movements that have no name here, such as bending
ORDER = (*STILL, *MOVING, *CHANGES, OTHER, UNKNOWN)

# s; tried: on the open halves of activity_waist_phone and activity_waist_young_old, people left out in turn
LEAST_S = dict(
    standing=1.0, sitting=1.0, lying=2.5, walking=1.5, stairs_up=1.5, stairs_down=1.5, running=1.0,
    stand_to_sit=1.0, sit_to_stand=1.0, sit_to_lie=1.5, lie_to_sit=1.5, stand_to_lie=2.0, lie_to_stand=2.0,
    other=0.75, unknown=1.0,
)  # fmt: skip
# s; by reasoning, changes by the labels of activity_waist_phone less what is settling
MEAN_S = dict(
    standing=10.0, sitting=30.0, lying=60.0, walking=15.0, stairs_up=8.0, stairs_down=8.0, running=15.0,
    stand_to_sit=2.6, sit_to_stand=2.3, sit_to_lie=3.5, lie_to_sit=3.3, stand_to_lie=4.0, lie_to_stand=3.5,
    other=3.0, unknown=4.0,
)  # fmt: skip

# s; by reasoning, over the longest of activity_waist_young_old: 4.3 s to sit or get up, 4.6 s to lie down
MOST_S = dict(
    stand_to_sit=6.0, sit_to_stand=6.0, sit_to_lie=8.0, lie_to_sit=8.0, stand_to_lie=9.0, lie_to_stand=9.0
)

RARE = 1e-4  # by reasoning: no path is quite impossible
TO_UNKNOWN, FROM_UNKNOWN, FROM_UNKNOWN_TO_CHANGE = 0.02, 0.1, 0.02  # by reasoning
# by reasoning: what is usual 1, what is rare a tenth; a move that is not listed is RARE
LISTED = {
    ("sitting", "sit_to_stand"): 1.0, ("sitting", "sit_to_lie"): 0.4, ("lying", "lie_to_sit"): 0.6,
    ("lying", "lie_to_stand"): 0.6, ("stand_to_sit", "sitting"): 1.0, ("sit_to_lie", "lying"): 1.0,
    ("lie_to_sit", "sitting"): 1.0, ("stand_to_lie", "lying"): 1.0, ("lie_to_sit", "sit_to_stand"): 0.1,
    ("stand_to_sit", "sit_to_lie"): 0.1, ("stand_to_sit", "sit_to_stand"): 0.05,
}  # fmt: skip


def moves(states: tuple[str, ...]) -> np.ndarray:
    """Probability that one activity follows another once the other ends.

    Parameters
    ----------
    states : names, of `ORDER`

    Returns
    -------
    (n, n) array, rows sum to one, the diagonal is zero
    """
    at = {name: number for number, name in enumerate(states)}
    weight = np.full((len(states), len(states)), RARE)
    for (before, after), value in {**_of_upright(), **LISTED, **_of_unknown(states)}.items():
        if before in at and after in at:
            weight[at[before], at[after]] = value
    np.fill_diagonal(weight, 0.0)
    return weight / weight.sum(1, keepdims=True)


def _of_upright() -> dict[tuple[str, str], float]:
    """Moves from and to standing, walking, stairs and running."""
    upright = ("standing", *MOVING)
    out = {}
    for name in upright:
        usual = 1.0 if name == "standing" else 0.4
        for after in upright:
            out[name, after] = 1.0 if {"standing", "walking"} & {name, after} else 0.2
        out[name, "stand_to_sit"], out[name, "stand_to_lie"] = 0.5 * usual, 0.25 * usual
        out["sit_to_stand", name] = out["lie_to_stand", name] = usual
        out[name, OTHER], out[OTHER, name] = 0.1, usual
    return out


def _of_unknown(states: tuple[str, ...]) -> dict[tuple[str, str], float]:
    """Moves from and to what is not known."""
    into = {(name, UNKNOWN): TO_UNKNOWN for name in states}
    return into | {
        (UNKNOWN, name): FROM_UNKNOWN_TO_CHANGE if name in CHANGES else FROM_UNKNOWN for name in states
    }
