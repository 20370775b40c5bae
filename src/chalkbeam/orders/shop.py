"""The garments and locations that a shop's run sheet may name, and how they lie on the press."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path
from typing import cast

from calibration.refusal import Refusal
from chalkbeam import garments
from chalkbeam.garments.library import find_style
from chalkbeam.locations.library import location as find_location
from chalkbeam.orders.pieces import Imprint, Piece, PressSetup

_FITS = {
    "": "regular",
    "regular": "regular",
    "unisex": "regular",
    "men": "regular",
    "mens": "regular",
    "women": "womens",
    "womens": "womens",
    "ladies": "womens",
}


class Shop:
    """Every garment and location that Chalkbeam knows, the shop's own included.

    Turns names as people write them into those that the program knows; each method raises
    `Refusal` with what is known instead.

    Caches its answers, for a sheet asks the same a thousand times; make a new one for each
    reading, so that edited charts and presets are seen.
    """

    def __init__(self) -> None:
        self._answers: dict[tuple[str, ...], str] = {}

    def _once(self, question: tuple[str, ...], find: Callable[[], str]) -> str:
        if question not in self._answers:
            self._answers[question] = find()
        return self._answers[question]

    def style(self, name: str) -> str:
        """Return the style's name as `chalkbeam garment list` shows it."""
        return self._once(("style", name), lambda: find_style(name)[0])

    def fit(self, name: str) -> str:
        """Return "regular" or "womens"."""
        plain = "".join(letter for letter in name.lower() if letter.isalpha())
        if plain not in _FITS:
            raise Refusal(f"There is no fit “{name}”: write regular or womens.")
        return _FITS[plain]

    def size(self, style: str, name: str, fit: str) -> str:
        """Return the size's name as the style's chart writes it."""
        return self._once(("size", style, name, fit), lambda: _garment(style, name, fit).size)

    def sizes(self, style: str, fit: str) -> tuple[str, ...]:
        """Return the sizes that a style comes in."""
        return garments.sizes(style, fit=cast(garments.Fit, fit))

    def location(self, name: str) -> str:
        """Return the location's name as `chalkbeam location list` shows it."""
        return self._once(("location", name), lambda: find_location(name).name)

    def check(self, style: str, size: str, fit: str, location: str) -> None:
        """Pass if the garment has the face that the location lies on."""

        def face() -> str:
            wanted = find_location(location).face
            _garment(style, size, fit).face(wanted)
            return wanted

        self._once(("check", style, size, fit, location), face)

    def lettering(self, text: str, font: Path) -> None:
        """Pass if a font can set the text."""
        from chalkbeam.artwork import check_letters

        check_letters(text, font)


def _garment(style: str, size: str, fit: str) -> garments.Garment:
    return garments.garment(style, size, fit=cast(garments.Fit, fit))


@functools.lru_cache(maxsize=1024)
def _face(location: str) -> str:
    return find_location(location).face


def fit_on_press(piece: Piece, imprint: Imprint) -> PressSetup:
    """Return the platen and pad that the sheet names, and the garment's face as the loading."""
    return PressSetup(imprint.platen, imprint.padding, _face(imprint.location))
