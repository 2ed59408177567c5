"""What the name of a column says: which sensor, which axis, which unit, and whose it is."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

# Words that recorders put into headers (from memory), lower case; one letter counts only beside an axis.
SENSOR_WORDS = {
    "accelerometer": ("a", "acc", "accel", "accelerometer", "acceleration", "beschleunigung"),
    "gyroscope": (
        *("g", "w", "gyr", "gyro", "gyroscope", "omega", "angular", "velocity", "angvel", "rotation", "rate"),
        *("turn", "rotationrate", "angularvelocity", "drehrate", "winkelgeschwindigkeit"),
    ),
    "magnetometer": ("m", "mag", "magn", "magnetometer", "magnetic", "field", "magnetfeld"),
    "orientation": ("q", "quat", "quaternion", "orientation"),
}
WITHOUT_GRAVITY = ("free", "lin", "linear", "user", "gravity", "grav")  # no specific force
UNIT_WORDS = {
    "accelerometer": {
        **dict.fromkeys(("m/s^2", "m/s2", "m/s²", "m/s/s", "ms^-2", "ms-2", "mps2", "ms2", "m_s2"), "m/s^2"),
        "g": "g",
        "mg": "mg",
        **dict.fromkeys(("cm/s^2", "cm/s2", "cm/s²", "gal"), "cm/s^2"),
    },
    "gyroscope": {
        **dict.fromkeys(("rad/s", "rads", "rad_s", "rps", "rad/sec"), "rad/s"),
        **dict.fromkeys(("deg/s", "dps", "degs", "deg_s", "°/s", "deg/sec", "degree/s"), "deg/s"),
        **dict.fromkeys(("mdeg/s", "mdps"), "mdeg/s"),
    },
    "magnetometer": {
        **dict.fromkeys(("ut", "µt", "μt", "microtesla"), "uT"),
        **dict.fromkeys(("nt", "nanotesla"), "nT"),
        **dict.fromkeys(("g", "gauss"), "G"),
        **dict.fromkeys(("mg", "mgauss", "milligauss"), "mG"),
        **dict.fromkeys(("t", "tesla"), "T"),
    },
    "orientation": {},
}
SUFFIX = re.compile(
    r"[\s_./-]+(m_?ps2|ms2|ms\^?-2|m_s2|mg|g|mdps|dps|deg_?s|rad_?s|ut|nt|m?gauss)$", re.IGNORECASE
)
BRACKETS = re.compile(r"[\[(]([^\])]*)[\])]")
LETTERS = "xyz"


@dataclass(frozen=True)
class ColumnName:
    """A column of three or four that belong together.

    Attributes
    ----------
    name : as in the header
    sensor : accelerometer, gyroscope, magnetometer, orientation, or None: the name does not say
    axis : x, y, z or w
    label : the other words of the name, in lower case: whose it is
    unit : as setup.toml calls it, or None
    gravity_free : whether the name says that gravity was removed
    """

    name: str
    sensor: str | None
    axis: str
    label: str
    unit: str | None
    gravity_free: bool


def column_name(name: str) -> ColumnName | None:
    """What a column's name says; None where it names no axis."""
    rest, told = _without_unit(name)
    tokens = words_of(rest)
    found = _axis(tokens)
    if found is None:
        return None
    axis, at, tokens = found
    sensor = _sensor(tokens, at)
    used = SENSOR_WORDS.get(sensor or "", ())
    label = [t for k, t in enumerate(tokens) if k != at and not (t in used and (len(t) > 1 or k == at - 1))]
    free = any(token in WITHOUT_GRAVITY for token in label)
    unit = UNIT_WORDS[sensor].get(told) if sensor else None
    return ColumnName(name, sensor, axis, "_".join(label), unit, free)


def words_of(text: str) -> list[str]:
    """The words of a name in lower case, at changes of case, digits and signs."""
    return [w.lower() for w in re.findall(r"[^\W\d_]?[^\W\d_A-Z]+|[A-Z]+(?![a-z])|\d+", text)]


def sensor_of_words(words: Sequence[str]) -> str | None:
    """The sensor that words of more than one letter name, as file names do; None where they name none."""
    for sensor, known in SENSOR_WORDS.items():
        if any(word in known and len(word) > 1 for word in words):
            return sensor
    return None


def _without_unit(name: str) -> tuple[str, str]:
    """The name without brackets or an ending that tell a unit, and that unit in lower case."""
    if match := BRACKETS.search(name):
        return name[: match.start()] + name[match.end() :], match[1].strip().lower()
    if match := SUFFIX.search(name):
        return name[: match.start()], match[1].lower()
    return name, ""


def _axis(tokens: list[str]) -> tuple[str, int, list[str]] | None:
    """Axis, its place, and the words with the axis standing by itself."""
    alone = [k for k, token in enumerate(tokens) if token in tuple(LETTERS)]
    if len(alone) == 1:
        return tokens[alone[0]], alone[0], tokens
    every = [word for words in SENSOR_WORDS.values() for word in words]
    for k, token in enumerate(tokens):
        for axis in "xyzw":
            for word in (token[:-1] if token.endswith(axis) else "", token[1:] if token[0] == axis else ""):
                if word in every:
                    return axis, k + 1, [*tokens[:k], word, axis, *tokens[k + 1 :]]
    for k, token in enumerate(tokens[1:], 1):  # q0, q1, q2, q3: scalar first; w by itself: beside quaternions
        before = tokens[k - 1] in SENSOR_WORDS["orientation"]
        if before and token in ("0", "1", "2", "3"):
            return "wxyz"[int(token)], k, tokens
        if token == "w" and before:
            return "w", k, tokens
    return None


def _sensor(tokens: list[str], at: int) -> str | None:
    """The sensor that the word nearest before the axis, else any word, names."""
    order = sorted((k for k in range(len(tokens)) if k != at), key=lambda k: (k > at, abs(k - at)))
    for k in order:
        for sensor, words in SENSOR_WORDS.items():
            if tokens[k] in words and (len(tokens[k]) > 1 or k == at - 1):
                return sensor
    return None
