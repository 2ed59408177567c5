"""The report's parts in their order: a new part is a new line in SECTIONS."""

from __future__ import annotations

import html
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files as package_files
from string import Template

from ..pages.parts import section
from .curves import curves_per_second
from .files import FitFiles
from .findings import findings_list
from .happened.section import happened_section
from .made_how import made_how
from .tables import estimated, joint_table, range_sources, unit_table
from .words import number

ABOUT_ANGLES = (
    "Angles follow the joint’s sequence in the body model; adduction, internal rotation and their like are "
    "positive in the sense of their names on both sides. SD is one standard deviation; the band in the "
    "curves is ± 1.96 of them. A dash: there is none. Not known: its 95 % band is wider than a turn; such "
    "frames are left out. SD and band include the units’ noise, biases and accelerometer errors, lever "
    "arms, hinge axes, the level of soft tissue that this capture shows, and how well each mounting is "
    "known, which is often most of it and shifts a whole curve rather than its shape. They do not include a "
    "unit on another segment than declared, or a joint that the body model lacks."
)
CAUTIONS = (
    "bodyfit is not a medical device.",
    "Findings are prompts for a professional’s review. They are not a diagnosis and not a clearance, and nor "
    "is their absence.",
    "Take no decision about a return to work, duty or sport from this page without a licensed professional.",
    "Local rules and those of the profession come first.",
    "A band tells of the errors that the method knows of: noise, biases, lever arms, soft tissue as this "
    "capture shows it, mounting. It does not cover a unit worn on another segment than declared, nor how a "
    "body differs from the model’s joints.",
)


@dataclass(frozen=True)
class Section:
    """One part of the report.

    Attributes
    ----------
    name : of its place in the page
    heading : above it, and in the list of parts at the top
    content : HTML made from the fit's files; where it is empty the part is left out
    """

    name: str
    heading: str
    content: Callable[[FitFiles], str]


def all_sections(files: FitFiles) -> tuple[str, str]:
    """Links to the parts, and the parts, as HTML."""
    made = [(one, content) for one in SECTIONS if (content := one.content(files))]
    links = " ".join(f'<a href="#{one.name}">{one.heading}</a>' for one, _ in made)
    return links, "\n\n".join(section(one.name, one.heading, "", content) for one, content in made)


def motion(files: FitFiles) -> str:
    """The moving figure, curves and lanes, which the page's scripts fill."""
    template = (package_files("bodyfit.study.report") / "browser" / "motion.html").read_text(encoding="utf-8")
    layout = str(files.scene[0]["asset"].get("extras", {}).get("layout") or "")
    return Template(template).substitute(
        layout=html.escape(layout),
        curve_rate=number(curves_per_second(files.time)),
        alone="" if files.angles else " alone",
        hidden="" if files.angles else " hidden",
    )


def joints(files: FitFiles) -> str:
    """The table of angles and what it means."""
    if not files.angles:
        return ""
    sources = range_sources(files)
    origin = f'<p class="small">Published ranges come from the body model:</p>{sources}' if sources else ""
    return f'{joint_table(files)}<p class="small">{ABOUT_ANGLES}</p>{origin}'


def cautions(_: FitFiles) -> str:
    """What the page is no substitute for."""
    return "<ul>" + "".join(f"<li>{line}</li>" for line in CAUTIONS) + "</ul>"


SECTIONS = (
    Section("look", "Look here first", findings_list),
    Section("motion", "Motion", motion),
    Section("happened", "What happened", happened_section),
    Section("joints", "Joints", joints),
    Section("units", "How far the units can be trusted", unit_table),
    Section("estimated", "What else was estimated", estimated),
    Section("again", "Made how, to do it again", made_how),
    Section("cautions", "Cautions", cautions),
)
