"""What the smoother found inside a fit, for tests that look at it."""

from unittest import mock

import bodyfit
from bodyfit import fitting
from bodyfit.capture import Capture
from bodyfit.estimate import Estimate


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
