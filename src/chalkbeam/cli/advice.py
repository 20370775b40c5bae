"""What to type where a calibration is not sure enough: the solver's advice in terms of options."""

from __future__ import annotations

from typing import TYPE_CHECKING

from calibration.refusal import Refusal, RemedyKind

if TYPE_CHECKING:
    from calibration.geometry import PlatenFace
    from calibration.solve.fit import Solution

MOST_CROSSES = 9
"""As many marks as `calibration.rig.by_hand.suggested_points` has."""

THIN = 1.0
"""Height of a tee with its seams, mm; its cloth is about 0.7 (common practice, no source)."""

_THIN_ONLY = f"if you press thin cloth only, say --up-to {THIN:g}mm"


def for_photos(refusal: Refusal, up_to: float) -> Refusal:
    """Return a refusal of photos that also tells of `--up-to` where only height is in doubt."""
    if not _wants(refusal, RemedyKind.HEIGHT) or up_to <= THIN:
        return refusal
    return refusal.advising(f"{refusal.advice}; {_THIN_ONLY}")


def for_crosses(refusal: Refusal, solution: Solution, face: PlatenFace) -> Refusal:
    """Return a refusal of crosses set by hand with advice that can be followed."""
    if not _wants(refusal, RemedyKind.CROSSES):
        return refusal
    return refusal.advising(_surer(solution, face))


def _wants(refusal: Refusal, kind: RemedyKind) -> bool:
    return refusal.remedy is not None and refusal.remedy.kind is kind


def _surer(solution: Solution, face: PlatenFace) -> str:
    """Say what makes crosses surer: on the bare platen, or where only height is in doubt."""
    from calibration.model.uncertainty import worst

    fit, stated = solution.fit, solution.stated
    at = (0.0, THIN)
    bare, thin = (each.bound for each in worst(solution.map, fit.matrix, fit.freedom, face, at))
    fewer = len(solution.problem.model.crosses) < MOST_CROSSES
    more = f"set {MOST_CROSSES} crosses (--count {MOST_CROSSES})"
    if bare > stated.tolerance:
        return (
            more
            if fewer
            else "measure the marks again and set each cross to a quarter of a pixel (Shift)"
        )
    ways = [more] if fewer else []
    if stated.lens is None:
        ways.append("measure with a tape where the projector's lens is (--lens)")
        if stated.throw is None:
            ways.append("give the throw ratio of its data sheet (--throw)")
    if max(stated.heights) > THIN and thin <= stated.tolerance:
        ways.append(_THIN_ONLY)
    return ", or ".join(ways) or "measure the lens and the marks again"
