"""From a fit or a capture to activities."""

from __future__ import annotations

from pathlib import Path

from ...fitting.result import Fit
from ...recording.capture import Capture
from .body_rules import of_body
from .one_unit import of_capture
from .result import Activities


def activities(
    fit_or_capture: Fit | Capture, table: str | Path | None = None, delay: float | None = None
) -> Activities:
    """What the wearer did when: walking, stairs, running, standing, sitting, lying and changes of posture.

    Parameters
    ----------
    fit_or_capture : a fit in which thighs and trunk are known, told by rules on the body; or a capture with
        one unit at the pelvis or a thigh, turned anyhow, told by a trained table and a chain over time
    table : of a capture: path of another table than the one that comes with bodyfit
    delay : of a capture: tell each moment with what is known that many s later, as online; None: hindsight

    Returns
    -------
    Activities; "unknown" where the movement is none of them. Not a fall detector

    Raises
    ------
    InputError
        Neither thighs nor trunk are known, no unit is worn where a table is for, or it recorded too little.
    """
    if isinstance(fit_or_capture, Fit):
        return of_body(fit_or_capture)
    return of_capture(fit_or_capture, table, delay)
