"""One capture, one verdict: terminal, summary.json, inspect, review and report tell the same findings."""

from __future__ import annotations

import io
import json
import re
from html import unescape
from pathlib import Path

import pytest
from rich.console import Console

import bodyfit
from bodyfit.commands.terminal.findings import print_findings
from bodyfit.core.findings import Finding, folded
from bodyfit.files.findings_file import read_findings
from bodyfit.study.inspection.inspect import inspect
from bodyfit.study.report.files import read_fit_files
from bodyfit.study.report.findings import findings_list

DEMOS = Path(__file__).parents[2] / "demo_captures"
# Kinds that only a review tells of these demos. The last two come of how their wearers stood in the pose: an
# elbow that is off there is off throughout, and so is a sole, which then rises a little as the foot rolls
OF_THE_MOTION = {"gimbal", "heading-drift", "stiff-angle", "foot-floating"}
IN_ITS_OWN_WORDS = {"joint-range"}  # of what a fit came to: no inspection can, and a review says it anew


def plain_text(page: str) -> str:
    """Words of a page in small letters, so that a name at the start of a sentence is the name."""
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", page)).split()).lower()


def bare(sentence: str) -> str:
    return " ".join(sentence.split()).lower()


def verdict(findings) -> set[tuple]:
    return {(f.kind, f.severity, f.units, f.joints, f.what) for f in findings}


@pytest.mark.parametrize("name", ["steel_stairs", "cello_arm", "parcel_lift"])
def test_every_reader_of_a_demo_is_told_the_same(name, fitted_demo):
    """The fit that tells is the command's; that its findings are those of `bodyfit.fit`: test_read_fit.py."""
    folder = fitted_demo(name)
    result = bodyfit.read_fit(folder)
    told = verdict(result.findings)
    assert told

    summary = json.loads((folder / "summary.json").read_text())
    assert verdict(Finding.from_data(data) for data in summary["findings"]) == told
    before = {one for one in told if one[0] not in IN_ITS_OWN_WORDS}
    assert verdict(inspect(bodyfit.read_capture(DEMOS / name)).findings) == before

    files = read_fit_files(folder)
    shown = plain_text(findings_list(files))
    there = [f.what for f in result.findings if f.kind not in IN_ITS_OWN_WORDS]
    assert [what for what in there if bare(files.names.within(what)) not in shown] == []

    reviewed = read_findings(folder / "findings.json")
    assert verdict(f for f in reviewed if f.kind not in OF_THE_MOTION | IN_ITS_OWN_WORDS) == before
    own = [
        {(f.kind, f.joints) for f in each if f.kind in IN_ITS_OWN_WORDS}
        for each in (result.findings, reviewed)
    ]
    assert own[0] == own[1]

    text = io.StringIO()
    print_findings(result.findings, Console(file=text, width=100))
    printed = " ".join(text.getvalue().split())
    for entry in folded(result.findings):
        assert " ".join(entry.what.split()) in printed, entry.what
