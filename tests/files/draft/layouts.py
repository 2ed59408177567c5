"""Raw recordings as folders of tables, in layouts that recorders use; each hides what has to be guessed."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pandas as pd

DEMO = Path(__file__).parents[3] / "demo_captures" / "cello_arm"
NAMES = ("upper_arm", "forearm", "hand")
SHORT = {"accelerometer": "a", "gyroscope": "g", "magnetometer": "m"}
SECONDS = (30.0, 42.0)
EPOCH = datetime(2026, 3, 1, 10, tzinfo=UTC)


def tables() -> dict[str, pd.DataFrame]:
    """Unit -> twelve seconds of bowing: time_s, ax..., gx..., mx... in m/s², deg/s, µT."""
    out = {}
    for name in NAMES:
        table = pd.read_csv(DEMO / f"{name}.csv")
        table = table[(table.time_s >= SECONDS[0]) & (table.time_s <= SECONDS[1])].reset_index(drop=True)
        table.time_s = (table.time_s - SECONDS[0]).round(6)
        out[name] = table
    return out


def _renamed(table: pd.DataFrame, form: str, words: dict[str, str], upper: bool = False) -> pd.DataFrame:
    """Columns ax, ay … renamed by a form of {sensor} and {axis}."""
    new = {}
    for sensor, letter in SHORT.items():
        for axis in "xyz":
            shown = axis.upper() if upper else axis
            new[letter + axis] = form.format(sensor=words[sensor], axis=shown)
    return table.rename(columns=new)


LONG = {"accelerometer": "Accelerometer", "gyroscope": "Gyroscope", "magnetometer": "Magnetometer"}
ABBREVIATED = {"accelerometer": "Acc", "gyroscope": "Gyr", "magnetometer": "Mag"}


def plain(folder: Path) -> None:
    for name, table in tables().items():
        table.to_csv(folder / f"right {name.replace('_', ' ')}.csv", index=False)


def units_in_brackets(folder: Path) -> None:
    """Milliseconds, g, semicolons, decimal comma, four lines before the header."""
    for name, table in tables().items():
        table[["ax", "ay", "az"]] /= 9.80665
        table = _renamed(table, "{sensor} {axis} [?]", LONG, upper=True)
        units = {"Acc": "g", "Gyr": "deg/s", "Mag": "uT"}
        table.columns = [c.replace("?", units.get(c[:3], "")) for c in table.columns]
        table.insert(0, "Timestamp [ms]", (table.pop("time_s") * 1000).round(3))
        text = table.to_csv(index=False, sep=";", decimal=",")
        (folder / f"{name}_R.txt").write_text("Recorder 7\nSerial; 0815, left\nNote;none\n\n" + text)


def dates(folder: Path) -> None:
    """ISO 8601, radians a second, names in one word; units only by size."""
    for name, table in tables().items():
        table[["gx", "gy", "gz"]] *= 3.141592653589793 / 180
        table = _renamed(table, "{sensor}{axis}", ABBREVIATED, upper=True)
        stamps = [(EPOCH + timedelta(seconds=t)).isoformat() for t in table.pop("time_s")]
        table.insert(0, "UTC", stamps)
        table.to_csv(folder / f"R_{name}.csv", index=False)


def counted(folder: Path, before: str = "Sampling rate: 100 Hz\n") -> None:
    """Sample numbers, tabs; the rate stands before the header. Rows that were lost stay lost numbers."""
    for name, table in tables().items():
        table.insert(0, "Counter", (table.pop("time_s") * 100).round().astype(int))
        table = table.drop_duplicates("Counter")
        text = before + table.to_csv(index=False, sep="\t")
        (folder / f"{name} right.tsv").write_text(text)


def counted_without_rate(folder: Path) -> None:
    """As `counted`, of one unit, and nothing tells the rate."""
    counted(folder, before="")
    for name in NAMES[:2]:
        (folder / f"{name} right.tsv").unlink()


def all_in_one(folder: Path) -> None:
    """One table of all units, each column with the unit's name; microseconds since 1970."""
    every = tables()
    rows = min(len(table) for table in every.values())
    columns = {"time_us": [round(EPOCH.timestamp() * 1e6) + 10_000 * k for k in range(rows)]}
    for name, table in every.items():
        for letter, word in (("a", "acc"), ("g", "gyro"), ("m", "mag")):
            for axis in "xyz":
                columns[f"right_{name}_{word}_{axis}"] = table[letter + axis].iloc[:rows].tolist()
    pd.DataFrame(columns).to_csv(folder / "session.csv", index=False)


def sensors_apart(folder: Path) -> None:
    """The magnetometer in a table of its own; milligravities, known by size alone."""
    for name, table in tables().items():
        table[["ax", "ay", "az"]] *= 1000 / 9.80665
        table.drop(columns=["mx", "my", "mz"]).to_csv(folder / f"right_{name}.csv", index=False)
        table[["time_s", "mx", "my", "mz"]].to_csv(folder / f"right_{name}_mag.csv", index=False)


def side_not_told(folder: Path) -> None:
    """One unit's name fits two segments."""
    plain(folder)
    (folder / "right forearm.csv").rename(folder / "right elbow.csv")


def two_trials(folder: Path) -> None:
    """The same tables in two folders."""
    for trial in ("slow", "fast"):
        (folder / trial).mkdir()
        plain(folder / trial)


def file_a_sensor(folder: Path) -> None:
    """One unit; each sensor in a file that tells it, columns only x, y, z."""
    table = tables()["hand"]
    for sensor, letter in SHORT.items():
        part = table[["time_s", *(letter + axis for axis in "xyz")]]
        part.columns = ["seconds", "x", "y", "z"]
        part.to_csv(folder / f"right hand {sensor}.csv", index=False)


@dataclass(frozen=True)
class Layout:
    """Writes tables; `open` are the keys that only a person can fill in, with words that mend them."""

    write: Callable[[Path], None]
    open: tuple[str, ...] = ()
    filled: str = ""
    segments: Iterable[str] = ("r_upperarm", "r_forearm", "r_hand")


LAYOUTS = {
    "plain": Layout(plain),
    "units in brackets": Layout(units_in_brackets),
    "dates": Layout(dates),
    "counted": Layout(counted),
    "counted, no rate": Layout(
        counted_without_rate, ("units.hand_right.sampling_frequency",), "100.0", ("r_hand",)
    ),
    "all in one": Layout(all_in_one),
    "sensors apart": Layout(sensors_apart),
    "side not told": Layout(side_not_told, ("units.right_elbow.segment",), '"r_forearm"'),
    "two trials": Layout(two_trials),
    "a file a sensor": Layout(file_a_sensor, (), "", ("r_hand",)),
}
