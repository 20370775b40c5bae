"""What a shop can press: names as people write them, to the program's own."""

from __future__ import annotations

from typing import Protocol


class Catalogue(Protocol):
    """What the shop can press: turns names as people write them into its own.

    Each method raises `Refusal` with what is known instead.
    """

    def style(self, name: str) -> str:
        """Return the style's own name."""

    def fit(self, name: str) -> str:
        """Return the fit's own name; an empty one is the usual fit."""

    def size(self, style: str, name: str, fit: str) -> str:
        """Return the size's own name."""

    def location(self, name: str) -> str:
        """Return the preset's own name."""

    def check(self, style: str, size: str, fit: str, location: str) -> None:
        """Pass if such a garment can be decorated there; the names are the catalogue's own."""

    def lettering(self, text: str) -> None:
        """Pass if the shop can set such a name or number."""


class AnyCatalogue:
    """Takes every name as it is written."""

    def style(self, name: str) -> str:
        """Return `name`."""
        return name

    def fit(self, name: str) -> str:
        """Return `name`."""
        return name

    def size(self, style: str, name: str, fit: str) -> str:
        """Return `name`."""
        return name

    def location(self, name: str) -> str:
        """Return `name`."""
        return name

    def check(self, style: str, size: str, fit: str, location: str) -> None:
        """Pass."""

    def lettering(self, text: str) -> None:
        """Pass."""
