"""What writers need of a fit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

import numpy as np

from ..body.motion.poses import PoseSequence
from ..core.findings import Finding
from ..recording.trials import Trial
from .summary import Summary


class FitLike(Protocol):
    """A fit, as far as files hold it; `bodyfit.Fit` is one."""

    @property
    def poses(self) -> PoseSequence:
        """The motion."""
        ...

    @property
    def joint_angle_sd(self) -> Mapping[str, Mapping[str, np.ndarray]] | None:
        """Joint -> angle -> (T,) rad, or None: not known."""
        ...

    @property
    def trials(self) -> Sequence[Trial]:
        """Recordings that the capture was joined from; empty: it is one."""
        ...

    @property
    def summary(self) -> Summary:
        """What it tells of itself."""
        ...

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Most harmful first."""
        ...
