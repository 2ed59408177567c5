"""What writers need of a fit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

import numpy as np

from ..body.motion.poses import PoseSequence
from ..core.findings import Finding
from ..recording.trials import Trial
from .summary import Summary


class SegmentSd(Protocol):
    """How sure a segment is; `bodyfit.SegmentSureness` is one."""

    @property
    def heading(self) -> np.ndarray:
        """(T,) rad."""
        ...

    @property
    def inclination(self) -> np.ndarray:
        """(T,) rad."""
        ...

    @property
    def place(self) -> np.ndarray | None:
        """(T,) m, one axis, or None: not known."""
        ...


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
    def segment_sd(self) -> Mapping[str, SegmentSd]:
        """Segment -> how sure it is; empty where no one knows."""
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
