"""How a fit was made: the call, the recording's checksums, version and solver."""

from __future__ import annotations

import shlex
from collections.abc import Mapping

from ...results.summary import FitOptions, Summary
from .files import FitFiles
from .tables import facts
from .words import number, safe

NO_RECORDING = "not known: the capture was not read from files, or by an earlier bodyfit"


def made_how(files: FitFiles) -> str:
    """Version, call, checksums of the recording and of the fit's own files."""
    told = files.summary
    read = told.recording
    return facts(
        {
            "Made by": f"bodyfit {safe(told.bodyfit_version)}",
            "Command": f"<code>{safe(command(told, str(files.folder)))}</code>",
            "Recording, SHA-256": _digests(read.sha256) if read else NO_RECORDING,
            "Body model": f"{safe(told.model.name)}, {told.model.segments} segments",
            "Samples": f"{told.sampling.frames} frames at {number(told.sampling.frequency_hz, 2)} Hz",
            "Solver": f"{told.solver.iterations} iterations, "
            + ("converged" if told.solver.converged else "<strong>not converged</strong>")
            + f", last step {number(told.solver.last_step_deg, 3)}°",
            "This page is made from, SHA-256": _digests(files.digests),
        }
    )


def _digests(sums: Mapping[str, str]) -> str:
    items = "".join(f"<li><code>{safe(digest)}</code> {safe(name)}</li>" for name, digest in sums.items())
    return f'<ul class="digests">{items}</ul>'


def command(told: Summary, out: str) -> str:
    """The call that makes this fit.

    Parameters
    ----------
    told : what the fit tells of itself
    out : the folder that it was written to

    Returns
    -------
    The command as one types it. Where the recording's folder is not known, CAPTURE stands for it; FIT stands
    for the folder of an earlier fit.
    """
    return shlex.join(["bodyfit", "fit", told.recording.folder if told.recording else "CAPTURE",
                       "--out", out, *_options(told.options)])  # fmt: skip


def _options(options: FitOptions) -> list[str]:
    words = ["--sensors", ",".join(options.sensors)] if options.sensors else []
    words += ["--alone"] * options.alone
    words += [word for unit in options.leave_out for word in ("--leave-out", unit)]
    words += ["--strict-ranges"] * options.strict_ranges
    words += ["--no-usual-postures"] * (not options.usual_postures)
    words += ["--same-person", "FIT"] * (options.same_person is not None)
    words += ["--assign", options.assign] if options.assign != "given" else []
    return words
