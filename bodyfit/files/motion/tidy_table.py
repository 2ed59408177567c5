"""Joint angles as a tidy table: one row an angle and frame, one column a kind of thing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ...results.fit_like import FitLike

if TYPE_CHECKING:
    import pandas as pd


def angle_frame(fit: FitLike, joints: Sequence[str]) -> pd.DataFrame:
    """The angles of some joints over time.

    Parameters
    ----------
    fit : the motion with its standard deviations
    joints : names, in the order of the rows

    Returns
    -------
    pandas.DataFrame with time_s, joint, angle (both categories), value_deg, sd_deg (NaN: not known); of
    several trials also trial, missing in pauses

    Notes
    -----
    Tidy as in Wickham 2014, doi:10.18637/jss.v059.i10: a variable a column, an observation a row.
    """
    import pandas as pd

    time, angles, sd = fit.poses.time, fit.poses.joint_angles, fit.joint_angle_sd or {}
    columns = [(joint, angle) for joint in joints for angle in angles[joint]]
    unknown = np.full(len(time), np.nan)
    spread = [sd.get(joint, {}).get(angle, unknown) for joint, angle in columns]
    count, frames = len(columns), len(time)
    by_name = {"joint": [joint for joint, _ in columns], "angle": [angle for _, angle in columns]}
    categories = {
        word: pd.Categorical(names, categories=list(dict.fromkeys(names))).repeat(frames)
        for word, names in by_name.items()
    }
    figures = {
        "value_deg": _degrees([angles[joint][angle] for joint, angle in columns]),
        "sd_deg": _degrees(spread),
    }
    out = pd.DataFrame({"time_s": np.tile(time, count), **categories, **figures})
    if fit.trials:
        spans = [(trial.start, trial.end) for trial in fit.trials]
        code = pd.IntervalIndex.from_tuples(spans, closed="both").get_indexer(time)
        names = [trial.name for trial in fit.trials]
        out.insert(1, "trial", pd.Categorical.from_codes(np.tile(code, count), names))  # type: ignore[arg-type]
    return out


def _degrees(columns: Sequence[np.ndarray]) -> np.ndarray:
    return np.degrees(np.concatenate(columns)) if columns else np.empty(0)
