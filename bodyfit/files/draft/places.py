"""Which segment a unit is worn on, from what a file or a column is called."""

from __future__ import annotations

from collections.abc import Sequence

# Words for parts of the body -> segments that they may mean, without the side (from memory)
PARTS = {
    **dict.fromkeys(("upperarm", "humerus", "biceps", "oberarm"), ("upperarm",)),
    **dict.fromkeys(("forearm", "lowerarm", "wrist", "unterarm"), ("forearm",)),
    **dict.fromkeys(("hand", "palm"), ("hand",)),
    **dict.fromkeys(("thigh", "upperleg", "femur", "oberschenkel"), ("thigh",)),
    **dict.fromkeys(("shank", "calf", "lowerleg", "tibia", "shin", "unterschenkel"), ("calf",)),
    **dict.fromkeys(("hindfoot", "foot", "heel", "shoe", "instep", "fuss"), ("hindfoot",)),
    "ankle": ("calf", "hindfoot"),
    "knee": ("thigh", "calf"),
    "elbow": ("upperarm", "forearm"),
    "hip": ("pelvis", "thigh"),
    "arm": ("upperarm", "forearm"),
    "leg": ("thigh", "calf"),
}
MIDDLE = {
    **dict.fromkeys(("pelvis", "sacrum", "lumbar", "waist", "lowerback", "becken"), ("pelvis",)),
    **dict.fromkeys(("thorax", "chest", "sternum", "breastbone", "torso", "upperback", "brust"), ("thorax",)),
    **dict.fromkeys(("skull", "head", "forehead", "kopf"), ("skull",)),
    **dict.fromkeys(("trunk", "back"), ("pelvis", "thorax")),
}
SIDES = {
    **dict.fromkeys(("l", "left", "lt", "links", "li"), "l_"),
    **dict.fromkeys(("r", "right", "rt", "rechts", "re"), "r_"),
}


def segments_meant(words: Sequence[str]) -> tuple[str, ...]:
    """Segments that the words may mean: one where they are plain, none where they name no part of the body.

    Parameters
    ----------
    words : in lower case, e.g. ("left", "shank") or ("lshank",)
    """
    side, kept = "", []
    for word in words:
        if word in SIDES and not side:
            side = SIDES[word]
        elif not word.isdigit():
            kept.append(word)
    joined = "".join(kept)
    part = max((p for p in (*PARTS, *MIDDLE) if p in joined), key=len, default=None)
    if part is None:
        return ()
    if not side:
        rest = joined.replace(part, "", 1)
        side = next((mark for word, mark in SIDES.items() if rest == word), "")
    if part in MIDDLE:
        return MIDDLE[part]
    sides = (side,) if side else ("l_", "r_")
    meant = (p if p == "pelvis" else f"{one}{p}" for p in PARTS[part] for one in sides)
    return tuple(dict.fromkeys(meant))
