"""What a shop can press: names as people write them, to the program's own."""

from __future__ import annotations

from typing import Protocol


class Catalogue(Protocol):
    """What the shop can press: turns names as people write them into its own.

    Each method raises `Refusal` with what is known instead.
    """

    def style(self, name: str) -> str:
        """Return the style's own name."""

    def size(self, style: str, name: str, fit: str) -> str:
        """Return the size's own name."""

    def location(self, name: str) -> str:
        """Return the preset's own name."""


class AnyCatalogue:
    """Takes every name as it is written."""

    def style(self, name: str) -> str:
        """Return `name`."""
        return name

    def size(self, style: str, name: str, fit: str) -> str:
        """Return `name`."""
        return name

    def location(self, name: str) -> str:
        """Return `name`."""
        return name
