"""What a placement says: where the art goes, by which rules, how sure, and what is wrong."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum, IntEnum

from calibration.geometry import XY, Isometry, Points, as_points
from chalkbeam.artwork import Artwork
from chalkbeam.basics.sentences import Sentence
from chalkbeam.garments import Face, Garment, Landmark
from chalkbeam.locations import Band, Location, Rule

CLOSE = 0.5
"""A rule is met within this, mm: half the thickness of a line of light."""


class Severity(IntEnum):
    """How much a warning matters; larger is worse."""

    NOTE = 0
    """Good to know."""
    CAUTION = 1
    """Look before pressing."""
    STOP = 2
    """Pressing like this spoils the garment."""


@dataclass(frozen=True)
class Concern:
    """Something to know before pressing.

    Attributes
    ----------
    severity : Severity
    about : str
        One word a program can sort by: "collar", "seam", "hood", "width", "rule", …
    sentence : Sentence
    """

    severity: Severity
    about: str
    sentence: Sentence


class Verdict(Enum):
    """How a rule came out."""

    MET = "met"
    """On its target, or its limit kept."""
    WITHIN = "within common practice"
    """Off its target, inside its band."""
    MISSED = "missed"
    """Outside its band, or its limit broken."""


@dataclass(frozen=True)
class RuleResult:
    """One rule and how it was met.

    Attributes
    ----------
    rule : Rule
    line : Landmark
        The garment's line it measures from.
    asked : Band
        The distance of common practice in the rule's direction, mm.
    got : float
        The distance as placed, mm.
    verdict : Verdict
    """

    rule: Rule
    line: Landmark
    asked: Band
    got: float

    @property
    def miss(self) -> float:
        """How far the feature lies beyond the usual distance, in the rule's direction, mm."""
        return self.got - self.asked.usual

    @property
    def verdict(self) -> Verdict:
        """How the rule came out."""
        if self.rule.bound == "at_least":
            return Verdict.MET if self.miss >= -CLOSE else Verdict.MISSED
        if self.rule.bound == "at_most":
            return Verdict.MET if self.miss <= CLOSE else Verdict.MISSED
        if abs(self.miss) <= CLOSE:
            return Verdict.MET
        inside = self.asked.low - CLOSE <= self.got <= self.asked.high + CLOSE
        return Verdict.WITHIN if inside else Verdict.MISSED


@dataclass(frozen=True)
class CrossCheck:
    """Two independent rules for one place, compared.

    Attributes
    ----------
    placed_by, checked_by : RuleResult
        The rule that placed the art, and the one that only checks it.
    apart : float
        Distance between the two places, mm; positive if the check lies further along +x or +y.
    agrees : bool
        Whether the result lies in the check's band, give or take the lines' tolerance.
    """

    placed_by: RuleResult
    checked_by: RuleResult
    apart: float
    agrees: bool


@dataclass(frozen=True)
class Placement:
    """Where one artwork goes on one garment.

    Attributes
    ----------
    garment, location, artwork
        What was placed where.
    garment_from_art : Isometry
        Pose of the art frame in the garment frame of the location's face (both have
        y down: no mirror).
    rules : tuple of RuleResult
        Every rule that counted.
    cross_checks : tuple of CrossCheck
    tolerance : (float, float)
        How far the same place may lie elsewhere on the next piece of the box, ± mm
        along x and y: the tolerances of the lines it hangs on, weighted, added.
    warnings : tuple of Concern
        Worst first.
    hidden : float
        Share of the ink that a lying hood covers, 0 to 1.
    covered : float
        How far down from the ink's top it covers it, mm.
    """

    garment: Garment
    location: Location
    artwork: Artwork
    garment_from_art: Isometry
    rules: tuple[RuleResult, ...]
    cross_checks: tuple[CrossCheck, ...]
    tolerance: XY
    warnings: tuple[Concern, ...]
    hidden: float = 0.0
    covered: float = 0.0

    @property
    def face(self) -> Face:
        """The garment's face that takes the art."""
        return self.garment.face(self.location.face)

    @property
    def centre(self) -> XY:
        """The art's optical centre, garment frame, mm."""
        x, y = self.garment_from_art.apply([self.artwork.optical_centre.point])[0]
        return float(x), float(y)

    @property
    def worst(self) -> Severity:
        """The severest warning; NOTE if there is none."""
        return max((warning.severity for warning in self.warnings), default=Severity.NOTE)

    def sheet(self) -> Points:
        """Return the sheet's corners in the garment frame, mm, shape (4, 2)."""
        return self.garment_from_art.apply(self.artwork.sheet.corners())

    def outline(self) -> tuple[Points, ...]:
        """Return the ink's outlines in the garment frame, mm."""
        return tuple(self.garment_from_art.apply(as_points(r)) for r in self.artwork.outline)

    def hull(self) -> Points:
        """Return the convex hull of the ink in the garment frame, mm."""
        return self.garment_from_art.apply(as_points(self.artwork.hull))


def worst_first(warnings: Sequence[Concern]) -> tuple[Concern, ...]:
    """Return warnings by severity, the worst first, without repetition."""
    return tuple(sorted(dict.fromkeys(warnings), key=lambda w: -w.severity))
