"""Artwork files as a sheet names them: beside it, or in the folder of the shop's artwork."""

from __future__ import annotations

import os
from pathlib import Path, PurePath

from calibration.files import below

ENDINGS = frozenset({".png", ".jpg", ".jpeg", ".webp", ".tif", ".tiff", ".svg", ".pdf"})
"""Of files that hold artwork."""

ALSO_ENDINGS = frozenset({".eps", ".ai", ".psd", ".cdr", ".gif", ".bmp", ".heic", ".indd"})
"""Of files that hold artwork and are not read as such: a cell that names one means artwork."""


class ArtworkFiles:
    """The artwork files of an order.

    Parameters
    ----------
    folder : Path
    absent : bool
        Whether files need not be there.
    """

    def __init__(self, folder: Path, absent: bool = False) -> None:
        self.folder, self.absent = folder, absent
        self._found: dict[str, tuple[str, Path] | None] = {}
        self._stems: dict[str, list[str]] | None = None

    def leads_out(self, text: str) -> bool:
        """Whether a name leads out of the folder."""
        return below(self.folder, text.replace("\\", "/")) is None

    def find(self, text: str) -> tuple[str, Path] | None:
        """Return a file's name and where it is; None if there is none of that name.

        A name without its ending will do where a single file goes by it.
        """
        if text not in self._found:
            self._found[text] = self._find(text)
        return self._found[text]

    def _find(self, text: str) -> tuple[str, Path] | None:
        path = below(self.folder, text.replace("\\", "/"))
        if path is not None and path.is_file():
            return text, Path(os.path.realpath(path))
        named = self._by_stem().get(text.casefold(), [])
        if len(named) == 1:
            return named[0], Path(os.path.realpath(self.folder / named[0]))
        there = path is not None and self.absent and not named
        return (text, Path(os.path.realpath(path))) if path and there else None

    def alike(self, text: str) -> tuple[str, ...]:
        """Return the files that go by a name without its ending, where there are several."""
        return tuple(self._by_stem().get(text.casefold(), ()))

    def _by_stem(self) -> dict[str, list[str]]:
        if self._stems is None:
            self._stems = {}
            try:
                paths = sorted(self.folder.iterdir())
            except OSError:
                paths = []
            for path in paths:
                if path.suffix.lower() in ENDINGS:
                    self._stems.setdefault(path.stem.casefold(), []).append(path.name)
        return self._stems


def names_artwork(text: str) -> bool:
    """Whether a text ends as the name of an artwork file does."""
    return PurePath(text.strip()).suffix.lower() in ENDINGS | ALSO_ENDINGS
