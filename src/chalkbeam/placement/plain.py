"""Placements as plain values for other programs: numbers in mm and degrees, words in a unit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from calibration.geometry import Isometry
from chalkbeam.artwork import Artwork, Box
from chalkbeam.basics.units import Unit
from chalkbeam.placement.values import Concern, CrossCheck, Placement, RuleResult
from chalkbeam.placement.words import asked_words, check_words, reasons, result_words


def _rounded(value: float) -> float:
    return round(float(value), 4) + 0.0


def plain_pose(pose: Isometry) -> dict[str, Any]:
    """Return a transform as numbers; `calibration.geometry.Isometry` tells how to apply it."""
    return {
        "x_mm": _rounded(pose.x),
        "y_mm": _rounded(pose.y),
        "angle_deg": _rounded(math.degrees(math.remainder(pose.angle, math.tau))),
        "mirrored": pose.mirrored,
    }


def plain_box(box: Box) -> dict[str, float]:
    """Return a box's four sides, mm."""
    return {side: _rounded(getattr(box, side)) for side in ("left", "top", "right", "bottom")}


def plain_artwork(artwork: Artwork, unit: Unit) -> dict[str, Any]:
    """Return an artwork's measures; coordinates in the art frame."""
    return {
        "name": artwork.name,
        "width_mm": _rounded(artwork.ink.width),
        "height_mm": _rounded(artwork.ink.height),
        "sheet_mm": plain_box(artwork.sheet),
        "optical_centre_mm": [_rounded(value) for value in artwork.optical_centre.point],
        "optical_centre_is": artwork.optical_centre.reason.say(unit),
        "centroid_mm": [_rounded(value) for value in artwork.centroid],
        "baseline_mm": None if artwork.baseline is None else _rounded(artwork.baseline),
        "mirrored": artwork.mirrored,
    }


def plain_concerns(concerns: Sequence[Concern], unit: Unit) -> list[dict[str, str]]:
    """Return warnings with their severity in lower case."""
    return [
        {
            "severity": concern.severity.name.lower(),
            "about": concern.about,
            "sentence": concern.sentence.say(unit),
        }
        for concern in concerns
    ]


def _rule(result: RuleResult, unit: Unit) -> dict[str, Any]:
    rule, asked = result.rule, result.asked
    return {
        "says": rule.says,
        "art": rule.art,
        "side": rule.direction,
        "line": rule.line,
        "line_mm": _rounded(result.line.value),
        "line_tolerance_mm": _rounded(result.line.tolerance),
        "line_derived": result.line.derived,
        "bound": rule.bound,
        "hard": rule.hard,
        "check": rule.check,
        "weight": rule.weight,
        "asked_mm": [_rounded(value) for value in (asked.low, asked.usual, asked.high)],
        "got_mm": _rounded(result.got),
        "verdict": result.verdict.value,
        "sentence": f"{result_words(result).say(unit)}; asked: {asked_words(result).say(unit)}",
    }


def _check(check: CrossCheck, unit: Unit) -> dict[str, Any]:
    return {
        "placed_by": check.placed_by.rule.says,
        "checked_by": check.checked_by.rule.says,
        "apart_mm": _rounded(check.apart),
        "agrees": check.agrees,
        "sentence": check_words(check).say(unit),
    }


def plain_placement(placement: Placement, unit: Unit = Unit.MM) -> dict[str, Any]:
    """Return a placement for JSON.

    Coordinates are in the garment frame of the location's face, mm, y down; words are
    in `unit`.
    """
    garment, location = placement.garment, placement.location
    ink = Box.around(placement.hull())
    return {
        "garment": {
            "style": garment.style,
            "size": garment.size,
            "fit": garment.fit,
            "label": garment.label,
            "age": garment.age,
        },
        "location": {"name": location.name, "title": location.title, "face": location.face},
        "artwork": plain_artwork(placement.artwork, unit),
        "garment_from_art": plain_pose(placement.garment_from_art),
        "optical_centre_mm": [_rounded(value) for value in placement.centre],
        "ink_mm": plain_box(ink),
        "tolerance_mm": [_rounded(value) for value in placement.tolerance],
        "hidden_share": _rounded(placement.hidden),
        "covered_mm": _rounded(placement.covered),
        "reasons": [reason.say(unit) for reason in reasons(placement)],
        "rules": [_rule(result, unit) for result in placement.rules],
        "cross_checks": [_check(check, unit) for check in placement.cross_checks],
        "warnings": plain_concerns(placement.warnings, unit),
    }
