"""`bodyfit simulate`: a motion in, the capture that worn units would have made of it out."""

from __future__ import annotations

from pathlib import Path

import click

from .terminal.given import MODEL, FiniteRange, GivenPath


@click.command()
@click.argument("poses", type=GivenPath())
@click.option("--out", required=True, type=GivenPath(), help="Folder to write the capture to.")
@MODEL
@click.option("--on", "worn", multiple=True, metavar="SEGMENT", help="Wear a unit on it (default: on all).")
@click.option(
    "--settings",
    "settings_file",
    type=GivenPath(),
    help="TOML with what differs from the usual unit, e.g. gyroscope_bias_sd_deg = 0.5, "
    "stated_mounting_sd_deg = 1.5 or soft_tissue_sags = true; all names in bodyfit/simulation/settings.py.",
)
@click.option("--perfect", is_flag=True, help="Units without any error, rigidly on the bone.")
@click.option("--stature", type=FiniteRange(0.4, 2.8), metavar="M", help="Of the person, in metres.")
@click.option(
    "--place",
    type=(FiniteRange(-90, 90), FiniteRange(-180, 360)),
    metavar="LAT LON",
    help="Degrees north and east; sets gravity.",
)
@click.option(
    "--seed", default=0, show_default=True, type=click.IntRange(min=0), help="Same seed, same bytes."
)
@click.option("--force", is_flag=True, help="Write over a capture that is there.")
def simulate(
    poses: Path,
    out: Path,
    model: str | None,
    worn: tuple[str, ...],
    settings_file: Path | None,
    perfect: bool,
    stature: float | None,
    place: tuple[float, float] | None,
    seed: int,
    force: bool,
) -> None:
    """Simulate what worn units measure during a motion, and write the truth beside it.

    POSES is a table of segment rotations and positions (segments.csv, .csv.gz, .parquet), a folder that holds
    one, such as what `bodyfit fit` wrote, or a TOML file that scripts joint angles (docs/planning.md).
    """
    from ..body.motion.chain_from_motion import person_from_legs
    from ..body.person import Person
    from ..errors import InputError, OutputError
    from ..files.model.model_file import model_names
    from ..files.motion.motion_file import motion_body, read_motion
    from ..files.plain.atomic_file import check_folder
    from ..files.plain.readable import is_there
    from ..recording.capture import Place
    from ..simulation.settings import SimulationSettings
    from ..simulation.settings_file import read_settings
    from ..simulation.simulate import simulate as simulate_capture
    from ..simulation.truth_files import write_simulated

    if perfect and settings_file:
        raise InputError("--perfect and --settings: give one of the two")
    check_folder(out)
    if not force and is_there(out / "setup.toml"):
        raise OutputError(f"{out}: there is a capture already; choose another folder, or give --force")
    settings = read_settings(settings_file) if settings_file else SimulationSettings()
    settings = SimulationSettings.perfect() if perfect else settings
    name, tree, person = motion_body(poses, model, Person(stature) if stature else None)
    motion = read_motion(poses, tree, person)
    simulated = simulate_capture(
        motion,
        worn or None,
        settings,
        seed,
        model=tree,
        title=f"Simulated from {poses.name}",
        person=person or person_from_legs(motion.model),
        place=Place(*place) if place else None,
    )
    write_simulated(simulated, out, name if name in model_names() else None)
    click.echo(table(simulated))
    click.echo(f"Written to {out}; the truth is in {out / 'truth'}.")


def table(simulated) -> str:
    """What was made, one line a unit."""
    import math

    time = simulated.truth.time
    lines = [
        f"{len(simulated.units)} units, {time[-1] - time[0]:.1f} s at "
        f"{simulated.settings.sampling_frequency:g} Hz, seed {simulated.seed}",
        "",
        f"{'unit':<22}{'segment':<14}{'samples':>8}{'lost':>6}{'soft tissue, RMS':>20}",
    ]
    for name, unit in simulated.units.items():
        soft = f"{math.degrees(unit.soft_turn_rms):.2f}° {1000 * unit.soft_shift_rms:.1f} mm"
        lines.append(f"{name:<22}{unit.segment:<14}{unit.kept.sum():>8}{(~unit.kept).sum():>6}{soft:>20}")
    return "\n".join(lines)
