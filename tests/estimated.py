"""What the smoother found inside a fit, for tests that look at it."""

from unittest import mock

import bodyfit
from bodyfit.estimator.problem.estimate import Estimate
from bodyfit.fitting import track as fitting
from bodyfit.recording.capture import Capture


def estimated(capture: Capture, **options) -> tuple[bodyfit.Fit, Estimate]:
    """A fit, and the smoother's last estimate in it, samples and all."""
    kept: list[Estimate] = []
    lean = fitting._without_samples

    def keep(found: Estimate) -> Estimate:
        kept.append(found)
        return lean(found)

    with mock.patch.object(fitting, "_without_samples", keep):
        fit = bodyfit.fit(capture, **options)
    return fit, kept[-1]
