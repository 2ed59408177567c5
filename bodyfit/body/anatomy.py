"""Human anatomy by ISO/IEC 19774-1 name: sides, parts and groups, and joint angles as the ISB has them.

What code knows of a person's parts by name stands here; tables of one topic (outlines, limits, places) are
keyed by these parts.
"""

from __future__ import annotations

LEFT, RIGHT = "l_", "r_"
FEET = ("l_hindfoot", "r_hindfoot")
THIGHS = ("l_thigh", "r_thigh")
LEG_SEGMENTS = ("thigh", "calf")  # from the hip to the ankle
LEG_JOINTS = ("hip", "knee", "talocrural")
KNEES, HIPS, ANKLE = ("l_knee", "r_knee"), ("l_hip", "r_hip"), "talocrural"
LOOSELY_HELD = ("arm", "hand", "foot", "skull")  # ends of names that people hold less exactly in a pose

# Usual angle of a joint, deg: means over the gait cycle at free speed (Schwartz 2008,
# doi:10.1016/j.jbiomech.2008.03.015); elbow flexion from memory; pronation: a hanging arm where palm forward
# is neutral, 158 motions, mocap.cs.cmu.edu.
USUAL_DEG = {
    ("hip", "flexion"): 19.0,
    ("knee", "flexion"): 23.0,
    ("elbow", "flexion"): 30.0,
    ("elbow", "pronation"): 100.0,
}

# What is said where a shoulder's elevation is printed (Wu et al. 2005, 2.4.7: "elevation (negative)")
ELEVATION_SIGN = "elevation of a shoulder: 0 hanging, -90 level, -180 overhead (ISB has it negative)"

_TRUNK = ("ZXY", ("flexion", "lateral_bend", "axial_rotation"), (-1, 1, 1))
# joint name without l_/r_ -> sequence, angles, signs on the right side; True: the left side is its mirror
_STANDARD = {
    "vl5": _TRUNK,
    "skullbase": _TRUNK,
    "hip": ("ZXY", ("flexion", "adduction", "internal_rotation"), (1, 1, 1)),
    "knee": ("ZXY", ("flexion", "adduction", "internal_rotation"), (-1, 1, 1)),
    "talocrural": ("ZXY", ("dorsiflexion", "inversion", "internal_rotation"), (1, 1, 1)),
    "shoulder": ("YXY", ("plane_of_elevation", "elevation", "axial_rotation"), (1, 1, 1)),
    "elbow": ("ZXY", ("flexion", "carrying_angle", "pronation"), (1, 1, 1)),
    "radiocarpal": ("ZXY", ("flexion", "ulnar_deviation", "rotation"), (1, 1, 1)),
}


def side_and_part(name: str) -> tuple[str, str]:
    """Side of a joint or segment and its name without it.

    Parameters
    ----------
    name : e.g. "r_knee", "vl5"

    Returns
    -------
    side : "l", "r", or empty in the middle
    part : e.g. "knee"
    """
    return (name[0], name[2:]) if name.startswith((LEFT, RIGHT)) else ("", name)


def part_of(name: str) -> str:
    """A joint's or segment's name without its side: the knee of "l_knee"."""
    return side_and_part(name)[1]


SIDE_WORDS = {"l": "left", "r": "right"}
_SPOKEN = {
    "talocrural": "ankle",
    "radiocarpal": "wrist",
    "metatarsophalangeal": "toes",
    "skullbase": "head on trunk",
    "vl5": "trunk on pelvis",
    "sacroiliac": "sacrum",
    "hindfoot": "foot",
    "upperarm": "upper arm",
    "calf": "shank",
    "thorax": "trunk",
    "skull": "head",
}


def spoken(name: str) -> str:
    """A joint or segment in the words of the trade: "l_talocrural" is the left ankle.

    Parameters
    ----------
    name : e.g. "r_knee", "vl5", "segment_2"

    Returns
    -------
    words, without underscores
    """
    side, bare = side_and_part(name)
    words = _SPOKEN.get(bare, bare.replace("_", " "))
    return f"{SIDE_WORDS[side]} {words}" if side else words


def mirrored(name: str) -> str | None:
    """The same joint or segment on the other side: "r_knee" for "l_knee"; None in the middle."""
    side, part = side_and_part(name)
    return {"l": RIGHT, "r": LEFT}[side] + part if side else None


def standard_angles(joint_name: str) -> tuple[str, tuple[str, str, str], tuple[int, int, int]] | None:
    """Joint-angle sequence, names and signs for a joint with an ISO/IEC 19774-1 name, or None.

    Parameters
    ----------
    joint_name : e.g. "r_knee", "l_shoulder", "vl5"

    Returns
    -------
    sequence : intrinsic axes, parent to child, e.g. "ZXY"
    angles : their three names
    signs : reported angle = sign × rotation about the sequence's axis

    Notes
    -----
    ISB, Wu et al. 2002, 2005: Z-X-Y, shoulder Y-X-Y with elevation 0 to −π. Positive: hip and elbow
    flexion, dorsiflexion (+Z), knee flexion (−Z, the calf goes back), trunk and neck flexion (−Z,
    forward), bend to the right (+X), axial rotation to the left (+Y); right limbs adduction, inversion,
    ulnar deviation (+X), internal rotation, pronation (+Y). The left side is the mirror image: X and Y
    change sign.
    """
    side, key = side_and_part(joint_name)
    if key not in _STANDARD or bool(side) == (_STANDARD[key] is _TRUNK):
        return None
    sequence, angles, signs = _STANDARD[key]
    if side == "l":
        signs = tuple(s if axis == "Z" else -s for s, axis in zip(signs, sequence, strict=True))
    return sequence, angles, signs  # type: ignore[return-value]
