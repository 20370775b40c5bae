"""A location's rules in words, as the file gives them and no garment has met them yet."""

from __future__ import annotations

from chalkbeam.basics.units import Unit, format_length
from chalkbeam.locations import METHODS, Band, Location, Rule
from chalkbeam.placement.words import feature_words, line_words


def band_words(band: Band, units: Unit) -> str:
    """Return a band as “3 in (2 to 4 in)”, one unit for all."""
    usual = format_length(band.usual, units)
    if band.high - band.low < 0.5:
        return usual
    low, high = format_length(band.low, units), format_length(band.high, units)
    return f"{usual} ({low.removesuffix(' ' + units.value)} to {high})"


def usual_words(location: Location, units: Unit, age: str = "adult") -> str:
    """Return the usual size of art at a location; empty where it names none."""
    parts = []
    for word, sizes in (("wide", location.preset.width), ("high", location.preset.height)):
        band = next((value for known, value in sizes.items() if known == age), None)
        if band is not None and not (word == "wide" and location.preset.height):
            parts.append(f"{band_words(band, units)} {word}")
    return ", ".join(parts)


def asked_of(rule: Rule, band: Band, units: Unit) -> str:
    """Return what a rule asks for, its distance being `band`."""
    line = line_words(rule.line)
    if rule.direction in ("along", "across"):
        return f"{feature_words(rule)} on the {line}"
    side = rule.direction.replace("_", " ")
    word = {"target": "", "at_least": "at least ", "at_most": "at most "}[rule.bound]
    return f"{feature_words(rule)} {word}{band_words(band, units)} {side} the {line}"


def kind_words(rule: Rule) -> str:
    """Return how strictly a rule is meant."""
    if rule.check:
        return "check"
    return "never broken" if rule.hard else "aim" if rule.bound == "target" else "limit"


def ways_words(location: Location) -> str:
    """Return the ways to place that may be chosen, as a sentence; empty where there is one."""
    ways = [METHODS.get(method, method) for method in location.methods]
    if len(ways) < 2:
        return ""
    others = " or ".join(f"“{location.title} by the {way}”" for way in ways[1:])
    return f"Placed by the {ways[0]}; for another way write {others}."


def conditions(rule: Rule) -> str:
    """Return when a rule counts, in brackets; empty if always."""
    parts = [f"with {line_words(name)}" for name in rule.when]
    parts += [f"without {line_words(name)}" for name in rule.unless]
    parts += ["women's fits" if fit == "womens" else f"{fit} fits" for fit in rule.fits
              if len(rule.fits) == 1]  # fmt: skip
    return f" ({', '.join(parts)})" if parts else ""
