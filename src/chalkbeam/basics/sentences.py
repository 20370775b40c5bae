"""Sentences that hold lengths in millimetres until somebody reads them in a unit of their own."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from calibration.refusal import Remedy
from chalkbeam.basics.units import Unit, format_length

_PLACE = re.compile(r"(?<!\{)\{(\d+)\}")


@dataclass(frozen=True)
class Sentence:
    """Words with lengths left open.

    Attributes
    ----------
    template : str
        Text with ``{0}``, ``{1}`` … where lengths go.
    lengths : tuple of float
        The lengths, mm.
    remedy : Remedy or None
        What would mend what is told; it stands at ``{remedy}``.

    Examples
    --------
    >>> Sentence("Top of ink {0} below the collar.", (76.2,)).say(Unit.INCH)
    'Top of ink 3 in below the collar.'
    """

    template: str
    lengths: tuple[float, ...] = ()
    remedy: Remedy | None = None

    def say(self, unit: Unit = Unit.MM, told: Callable[[Remedy], str] = str) -> str:
        """Return the text with every length in `unit`, and its remedy as it is `told`."""
        lengths = (format_length(length, unit) for length in self.lengths)
        return self.template.format(*lengths, remedy=self.remedy and told(self.remedy))

    def __str__(self) -> str:
        return self.say()


def joined(parts: Sequence[Sentence], between: str) -> Sentence:
    """Return several sentences without remedies as one, with the text `between` them."""
    templates: list[str] = []
    lengths: list[float] = []
    for part in parts:
        templates.append(_renumbered(part.template, len(lengths)))
        lengths += part.lengths
    return Sentence(between.join(templates), tuple(lengths))


def _renumbered(template: str, by: int) -> str:
    """Return a template whose places count from `by` on."""
    return _PLACE.sub(lambda place: f"{{{int(place[1]) + by}}}", template)


def literal(text: str) -> str:
    """Return text safe to stand in a template."""
    return text.replace("{", "{{").replace("}", "}}")
