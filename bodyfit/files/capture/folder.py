"""A capture as a folder: setup.toml and one table a worn unit."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from ...body.chain import BodyModel
from ...body.person import SEXES, Person
from ...errors import InputError, suggest
from ...recording.capture import GROUNDS, Calibration, Capture, CaptureFiles, Place, Unit
from ..model.model_file import model_names, read_model, told_as_asked
from ..plain.readable import is_file, is_folder, is_there
from ..plain.tables import return_memory
from ..plain.toml_reader import TomlTable, read_toml
from .amount import MOST_CALIBRATIONS
from .bids.reader import read_bids
from .bids.tables import dataset_of
from .joined_trials import ReadUnits, read_units
from .open_lines import refuse_open
from .table_shelf import sha256_of
from .writer import write_capture

__all__ = ["read_capture", "write_capture"]
SETUP_KEYS = (
    *("title", "start_time", "place", "person", "trials", "ground"),
    *("body", "joints", "units", "calibration"),
)
SETUP_JOINT_KEYS = ("report",)
CALIBRATION_KINDS = ("still", "movement")
CALIBRATION_KEYS = ("kind", "start_s", "end_s", "trial", "pose", "joint")
CLOCK_SLACK = 0.1  # s, by which an interval may reach past the first or last stamp; chosen; not tried


def read_capture(path: str | Path) -> Capture:
    """The capture in a folder.

    Parameters
    ----------
    path : the folder, or the setup.toml in it; or a BIDS-Motion data set, a subject's folder or _motion.tsv
        in one (see `bodyfit.files.capture.bids.reader`)

    Returns
    -------
    capture : SI units, world +Y up; its body model is not yet scaled to the person

    Raises
    ------
    InputError
        Something is missing or wrong; names the file, the key or column, the row and time, what was found,
        what was expected and what to do.
    """
    if _is_bids(path := Path(path)):
        return read_bids(path)
    setup = read_toml(_setup_file(path))
    setup.only(SETUP_KEYS)
    refuse_open(setup)
    model = _with_asked_angles(read_body(setup), setup)
    read = read_units(setup)
    return_memory()
    _check_worn(setup, read.units, model)
    return Capture(
        units=read.units,
        model=model,
        title=setup.text("title") or "",
        person=read_person(setup.table("person"), model),
        place=_place(setup.table("place")),
        start_time=setup.moment("start_time") or read.start_time,
        calibrations=_calibrations(setup, read, model),
        source=setup.text("source") or "",
        notes=read.notes,
        trials=read.trials,
        ground=setup.choice("ground", GROUNDS) or GROUNDS[0],
        files=CaptureFiles(str(path), {setup.file.name: sha256_of(setup.file), **read.sha256}),
    )


def _is_bids(path: Path) -> bool:
    """Whether it lies in a BIDS data set and is no capture of bodyfit's own kind."""
    own = path.suffix == ".toml" or is_there(path / "setup.toml")
    return not own and is_there(path) and dataset_of(path) is not None


def _setup_file(path: Path) -> Path:
    if is_folder(path):
        return path / "setup.toml"
    if is_file(path) and path.suffix != ".toml":
        raise InputError(f"{path}: found a single file; expected a folder with setup.toml and a table a unit")
    return path


def read_body(setup: TomlTable) -> BodyModel:
    """The body model that [body] names, not scaled."""
    body = setup.table("body") or setup.missing(
        "body", f"[body] with model = one of {', '.join(model_names())}"
    )
    body.only(("model", "unusual_joints"))
    name = body.text("model") or body.missing("model", f"one of {', '.join(model_names())}, or a path")
    model = read_model(name, setup.file.parent, asked_by=f"{setup.file}: body.model")
    unusual = body.names("unusual_joints", model.joints)
    return model.without_usual_postures(unusual) if unusual else model


def _with_asked_angles(model: BodyModel, setup: TomlTable) -> BodyModel:
    """The model, its joints reported as [joints] of the setup asks."""
    for joint in setup.tables("joints").values():
        joint.only(SETUP_JOINT_KEYS)
    return told_as_asked(model, setup)


def _check_worn(setup: TomlTable, units: Mapping[str, Unit], model: BodyModel) -> None:
    """Each unit is on a segment of the model (or none is named), one a segment, and all share some time."""
    wearer: dict[str, str] = {}
    for name, unit in units.items():
        where = f"{setup.file}: units.{name}.segment: found {unit.segment!r}"
        if unit.segment is None:
            continue
        if unit.segment not in model.segments:
            known = suggest(unit.segment, model.segments)
            raise InputError(f"{where}, which model {model.name!r} does not have; {known}")
        if unit.segment in wearer:
            raise InputError(
                f"{where}, where {wearer[unit.segment]} is already; expected one unit a segment: "
                "correct one of the two, or remove a unit"
            )
        wearer[unit.segment] = name
    _check_overlap(setup, units)


def _check_overlap(setup: TomlTable, units: Mapping[str, Unit]) -> None:
    late = max(units.values(), key=lambda unit: unit.time[0])
    early = min(units.values(), key=lambda unit: unit.time[-1])
    if late.time[0] >= early.time[-1]:
        raise InputError(
            f"{setup.file}: units.{early.name} ends at {early.time[-1]:.3f} s, before units.{late.name} "
            f"starts at {late.time[0]:.3f} s; expected recordings that overlap in time: put their stamps on "
            "one clock"
        )


def read_person(table: TomlTable | None, model: BodyModel) -> Person | None:
    """The person in [person], None where there is no such table."""
    if table is None:
        return None
    table.only(("stature_m", "mass_kg", "sex", "lengths_m"))
    stature, mass, sex = table.number("stature_m"), table.number("mass_kg"), table.choice("sex", SEXES)
    try:
        return Person(stature, mass, sex, _lengths(table.table("lengths_m"), model))
    except InputError as error:
        raise InputError(f"{table.file}: {error}") from None


def _lengths(table: TomlTable | None, model: BodyModel) -> dict[str, float]:
    """Segment -> measured length, m."""
    if table is None:
        return {}
    table.only(model.segments)
    what = "metres between the joint centres at the two ends of the segment"
    return {name: table.positive(name, what) or 0.0 for name in table.values if name != "source"}


def _place(table: TomlTable | None) -> Place | None:
    if table is None:
        return None
    table.only(("latitude_deg", "longitude_deg", "height_m"))
    latitude = table.number("latitude_deg", -90, 90, "-90 to 90 degrees")
    longitude = table.number("longitude_deg", -180, 360, "-180 to 360 degrees")
    if latitude is None or longitude is None:
        table.missing(
            "latitude_deg" if latitude is None else "longitude_deg", "degrees, both or no place at all"
        )
    return Place(latitude, longitude, table.number("height_m", -500, 100_000, "metres above the sea") or 0.0)


def _calibrations(setup: TomlTable, read: ReadUnits, model: BodyModel) -> tuple[Calibration, ...]:
    tables = setup.list_of_tables("calibration")
    if len(tables) > MOST_CALIBRATIONS:
        setup.refuse("calibration", f"found {len(tables)} tables; expected at most {MOST_CALIBRATIONS}")
    return tuple(_calibration(table, read, model) for table in tables)


def _calibration(table: TomlTable, read: ReadUnits, model: BodyModel) -> Calibration:
    kinds = ", ".join(CALIBRATION_KINDS)
    table.only(CALIBRATION_KEYS)
    kind = table.choice("kind", CALIBRATION_KINDS) or table.missing("kind", f"one of {kinds}")
    if kind == "still" and "joint" in table:
        table.refuse("joint", 'only a calibration of kind "movement" has a joint; remove it or set that kind')
    if kind == "movement" and "pose" in table:
        table.refuse("pose", 'only a calibration of kind "still" has a pose; remove it or set that kind')
    pose, joint = table.choice("pose", model.pose_names), table.choice("joint", model.joints)
    if kind == "movement" and joint is None:
        table.missing("joint", f"the joint that moves: {', '.join(model.joints)}")
    start, end = _seconds_within(table, "start_s", read), _seconds_within(table, "end_s", read)
    if not start < end:
        table.refuse("end_s", f"found {end:g}; expected later than start_s = {start:g}")
    return Calibration(kind, start, end, pose or "neutral", joint)


def _seconds_within(table: TomlTable, key: str, read: ReadUnits) -> float:
    """A time within the recording, or within the trial that the table names, on the capture's clock.

    Give or take what clocks differ by.
    """
    what = "seconds of the capture's clock"
    value = table.number(key, what=what)
    if value is None:
        table.missing(key, what)
    if "trial" in table and not read.trials:
        table.refuse("trial", "this capture has no trials; remove this key, or name them in trials")
    name = table.choice("trial", read.shift)
    first = min(unit.time[0] for unit in read.units.values())
    last = max(unit.time[-1] for unit in read.units.values())
    if name is not None:
        first, last = next((t.start, t.end) for t in read.trials if t.name == name)
    by = read.shift.get(name or "", 0.0)
    if not first - CLOCK_SLACK <= value + by <= last + CLOCK_SLACK:
        span = f"{first - by:.3f} to {last - by:.3f} s"
        table.refuse(key, f"found {value:g}; expected within the {'trial' if name else 'recording'}, {span}")
    return value + by
