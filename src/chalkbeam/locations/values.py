"""A location by name, read from its file; and by another of its methods."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from chalkbeam.garments.model import AGES, Age
from chalkbeam.locations.schema import METHODS, Preset, Rule, TasteMove

USUAL_LETTERS = 25.4
"""Height of capitals where a location says nothing of sizes, mm; common practice, no source."""
LETTERS_WIDE = 4.5
"""How wide a usual name is, in heights of its capitals: six letters of a heavy sans serif; common
practice, no source."""


@dataclass(frozen=True, eq=False)
class Location:
    """A location with its name. Reading a file again makes another location.

    Attributes
    ----------
    name : str
        As on the command line: ``left-chest``.
    preset : Preset
    origin : Path or None
        The user's file it was read from; None for a built-in one.
    """

    name: str
    preset: Preset
    origin: Path | None = None

    @property
    def title(self) -> str:
        """What people call it."""
        return self.preset.title

    @property
    def face(self) -> str:
        """Name of the garment's face."""
        return self.preset.face

    @functools.cached_property
    def methods(self) -> tuple[str, ...]:
        """The ways to place here that a shop may choose from, the usual first."""
        named = sorted((rule for rule in self.rules if rule.method), key=lambda rule: rule.check)
        return tuple(dict.fromkeys(rule.method for rule in named if rule.method))

    def by(self, method: str) -> Location:
        """Return this location placed by another of its methods; the others then check it.

        Ages for which the method has no rule are placed as usual. The same object each time.
        """
        return _by_method(self, method)

    @property
    def rules(self) -> tuple[Rule, ...]:
        """The rules, in the order of the file."""
        return self.preset.rule

    def house(self, style: str, age: Age) -> TasteMove | None:
        """Return what the shop has decided for a style and an age; None if nothing."""
        plain = self.name.partition("-by-")[0]
        for each in self.preset.moved:
            if each.location == plain and each.style == style and age in each.ages:
                return each
        return None

    def usual_scale(self, age: Age, width: float, height: float) -> float:
        """Return the factor that brings ink of a size, mm, to the location's usual size."""
        widths, heights = self.preset.width.get(age), self.preset.height.get(age)
        if heights and widths:
            return min(heights.usual / height, widths.high / width)
        if heights:
            return heights.usual / height
        return widths.usual / width if widths else 1.0

    def usual_for(self, age: Age) -> Callable[[float, float], float] | None:
        """Return `usual_scale` for an age; None where the location names no size of art."""
        named = age in self.preset.width or age in self.preset.height
        return functools.partial(self.usual_scale, age) if named else None

    def letter_height(self, age: Age) -> tuple[float, float]:
        """Return how high the capitals of a name or number usually are here, and at least, mm.

        Where the location names no height of art, a usual name is as wide as its art.
        """
        heights, widths = self.preset.height.get(age), self.preset.width.get(age)
        if heights:
            return heights.usual, heights.low
        if widths:
            return widths.usual / LETTERS_WIDE, widths.low / LETTERS_WIDE / 2
        return USUAL_LETTERS, USUAL_LETTERS / 2

    @property
    def turn(self) -> float:
        """Turn of the art in the garment frame, whose y is down, radians."""
        return -math.radians(self.preset.turn)


@functools.lru_cache(maxsize=256)
def _by_method(place: Location, method: str) -> Location:
    placing = [rule for rule in place.rules if rule.method == method]
    ages = {age for rule in placing for age in rule.ages}
    rules: list[Rule] = []
    for rule in place.rules:
        if rule.method == method:
            rules.append(rule.model_copy(update={"check": False}))
            continue
        if rule.method is None or rule.check:
            rules.append(rule)
            continue
        for check, its in ((True, ages), (False, set(AGES) - ages)):
            counting = tuple(age for age in rule.ages if age in its)
            if counting:
                rules.append(rule.model_copy(update={"check": check, "ages": counting}))
    words = METHODS.get(method, method.replace("_", " "))
    preset = place.preset.model_copy(
        update={"title": f"{place.title}, by the {words}", "rule": tuple(rules), "also": ()}
    )
    return Location(f"{place.name}-by-{method}", preset, place.origin)
