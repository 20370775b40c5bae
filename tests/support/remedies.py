"""What a refusal advises, as values."""

from __future__ import annotations

from calibration.refusal import Refusal, RemedyKind


def kinds(refusal: Refusal) -> list[RemedyKind]:
    """Return the kinds of a refusal's remedies, in the order of its sentence."""
    return [remedy.kind for remedy in refusal.remedies]
