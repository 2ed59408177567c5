"""What a fit warns of, for tests that look for words in it."""

from __future__ import annotations

import bodyfit


def warned(fit: bodyfit.Fit) -> list[str]:
    """Sentences of all findings but notes, most harmful first."""
    return [finding.sentence for finding in fit.findings if finding.severity != "note"]
