"""The shop's own garments and locations behind a run sheet, and how they lie on the press."""

from __future__ import annotations

import functools
from typing import cast

from calibration.refusal import Refusal
from chalkbeam import garments
from chalkbeam.garments.library import find_style
from chalkbeam.locations.library import location as find_location
from chalkbeam.runs.pieces import Fit, Imprint, Piece

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
    """A `Catalogue` of every garment and location that Chalkbeam knows, the shop's included."""

    def style(self, name: str) -> str:
        """Return the style's name as `chalkbeam garment list` shows it."""
        return find_style(name)[0]

    def fit(self, name: str) -> str:
        """Return "regular" or "womens"."""
        plain = "".join(letter for letter in name.lower() if letter.isalpha())
        if plain not in _FITS:
            raise Refusal(f"There is no fit “{name}”: write regular or womens.")
        return _FITS[plain]

    def size(self, style: str, name: str, fit: str) -> str:
        """Return the size's name as the style's chart writes it."""
        return garments.garment(style, name, fit=cast(garments.Fit, fit)).size

    def location(self, name: str) -> str:
        """Return the location's name as `chalkbeam location list` shows it."""
        return find_location(name).name

    def check(self, style: str, size: str, fit: str, location: str) -> None:
        """Pass if the garment has the face that the location lies on."""
        garments.garment(style, size, fit=cast(garments.Fit, fit)).face(_face(location))


@functools.lru_cache(maxsize=1024)
def _face(location: str) -> str:
    return find_location(location).face


def fit_on_press(piece: Piece, imprint: Imprint) -> Fit:
    """Return the platen and pad that the sheet names, and the garment's face as the loading."""
    return Fit(imprint.platen, imprint.pad, _face(imprint.location))
