"""Names from files as people say them: "right knee" for r_knee, "left thigh" for l_thigh_unit."""

from __future__ import annotations

import re
from collections.abc import Iterable

from ...body.anatomy import spoken

STUCK_ON = re.compile(r"[ _-]*(unit|sensor|imu)$", re.IGNORECASE)  # what people stick on a unit's name
TYPED = r"--[\w-]+[ =]\S+|"  # an option and its value, which stay as they are to be typed
BEGIN, END = r"(?<![\w.`'\"\[=/-])", r"(?![\w`'\"\]=/]|-\w|\.\w)"  # nor is it within a file, a key, quotes


def unit_words(name: str) -> str:
    """A worn unit's name without what is stuck on, as people say it.

    Parameters
    ----------
    name : e.g. "l_thigh_unit", "left shank"

    Returns
    -------
    words
    """
    bare = STUCK_ON.sub("", name)
    return spoken(bare) if bare else name


def angle_words(name: str) -> str:
    """A joint's angle as people say it: "right elbow pronation" for "r_elbow.pronation"."""
    joint, _, angle = name.partition(".")
    return f"{spoken(joint)} {angle.replace('_', ' ')}".strip()


class Names:
    """The names of one capture or plan, and sentences in which they stand.

    Parameters
    ----------
    joints, segments, units, angles : names as files have them; angles as "joint.angle"
    """

    def __init__(
        self,
        joints: Iterable[str] = (),
        segments: Iterable[str] = (),
        units: Iterable[str] = (),
        angles: Iterable[str] = (),
    ):
        self._words = {name: unit_words(name) for name in units}
        self._words |= {name: spoken(name) for name in (*segments, *joints)}
        self._words |= {name: angle_words(name) for name in angles}
        listed = "|".join(map(re.escape, sorted(self._words, key=len, reverse=True)))
        self._found = re.compile(f"{TYPED}{BEGIN}({listed}){END}") if listed else None

    def of(self, name: str) -> str:
        """A name in words; one that is not known stays as it is."""
        return self._words.get(name, name)

    def within(self, text: str) -> str:
        """A sentence with its names in words, save where a name is quoted to be typed."""
        if self._found is None:
            return text
        return self._found.sub(lambda found: self._words[found[1]] if found[1] else found[0], text)
