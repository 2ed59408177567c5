"""Joint-angle conventions of the International Society of Biomechanics, by ISO/IEC 19774-1 joint name."""

from __future__ import annotations

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
    side, _, rest = joint_name.partition("_")
    sided = side in ("l", "r") and rest
    key = rest if sided else joint_name
    if key not in _STANDARD or bool(sided) == (_STANDARD[key] is _TRUNK):
        return None
    sequence, angles, signs = _STANDARD[key]
    if side == "l":
        signs = tuple(s if axis == "Z" else -s for s, axis in zip(signs, sequence, strict=True))
    return sequence, angles, signs  # type: ignore[return-value]
