"""The fonts that a drawing's text is set in: which files hold them, and what is missing.

A font that is not there is no trifle: the renderer leaves such text out, and the
ink would be placed without it.
"""

from __future__ import annotations

import functools
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from xml.etree.ElementTree import Element

import uharfbuzz as hb

from calibration.refusal import Refusal
from chalkbeam.artwork.styled import Asked, runs, undrawn
from overlay.text.typeface import BUNDLED_FONT

GENERIC: Mapping[str, tuple[str, ...]] = {
    "sans-serif": ("Arial", "Helvetica", "Liberation Sans", "DejaVu Sans", "Noto Sans"),
    "serif": ("Times New Roman", "Times", "Liberation Serif", "DejaVu Serif", "Noto Serif"),
    "monospace": (
        "Courier New",
        "Courier",
        "Liberation Mono",
        "DejaVu Sans Mono",
        "Noto Sans Mono",
    ),
}
"""What stands in for the families that CSS leaves to the computer (CSS Fonts 4, 2.1.1)."""
_BUNDLED = "DejaVu Sans"
_ENDINGS = {".ttf", ".otf", ".ttc", ".otc"}


@dataclass(frozen=True)
class Fonts:
    """What to draw a drawing's text with.

    Attributes
    ----------
    files : tuple of Path
    generic : mapping of str to str
        The family that stands in for each generic one.
    named : tuple of str
        The families used, for people.
    """

    files: tuple[Path, ...]
    generic: Mapping[str, str]
    named: tuple[str, ...]


def fonts_for(name: str, root: Element, have: Mapping[str, tuple[Path, ...]]) -> Fonts | None:
    """Return the fonts that a drawing's text needs; None if it holds no text.

    Parameters
    ----------
    name : str
        The file's name, for the sentence of a refusal.
    root : Element
        The SVG's root.
    have : mapping of str to tuple of Path
        The files of every font family, as `installed`.

    Raises
    ------
    Refusal
        If this computer lacks a font, a font lacks a letter, or which font a text is set in
        hangs on what the renderer does not follow.
    """
    if left_out := undrawn(root):
        raise Refusal(
            f"{name} has text in a box that would be left out (“{left_out[:40]}”): turn the "
            "letters into outlines and export it again."
        )
    text = runs(root)
    if not text:
        return None
    generic = {kind: _stand_in(kind, have) for kind in GENERIC}
    named: dict[str, None] = {}
    for run in text:
        families = dict.fromkeys(_family(name, asked, have, generic) for asked in run.asked)
        ignored = [asked.declared for asked in run.asked if not asked.plain]
        if ignored and (len(families) > 1 or "" in families):
            raise Refusal(
                f"{name} gives its text a font in a way that Chalkbeam does not follow "
                f"({ignored[0][:80]}): turn the letters into outlines and export it again."
            )
        for family in families:
            lacking = run.letters.difference(*map(_letters, _files(family, have)))
            if lacking:
                raise Refusal(
                    f"{name} has “{min(lacking)}”, which its font ({family}) lacks: turn the "
                    "letters into outlines and export it again."
                )
        named |= families
    # The renderer's last resort is loaded always: it leaves out what it has no font for.
    files = (path for family in (*named, generic["serif"]) for path in _files(family, have))
    return Fonts(tuple(dict.fromkeys(files)), generic, tuple(named))


def _family(
    name: str, asked: Asked, have: Mapping[str, tuple[Path, ...]], generic: Mapping[str, str]
) -> str:
    """Return the family that a list comes down to; empty where the list cannot be read."""
    if not asked.families:
        return ""
    for family in asked.families:
        if family in have or family in generic:
            return generic.get(family, family)
    raise Refusal(
        f"{name} sets text in {asked.families[0]}, a font this computer does not have: turn the "
        "letters into outlines and export it again, or install the font."
    )


def _files(family: str, have: Mapping[str, tuple[Path, ...]]) -> tuple[Path, ...]:
    return have.get(family, (BUNDLED_FONT,))


def _stand_in(kind: str, have: Mapping[str, tuple[Path, ...]]) -> str:
    return next((family for family in GENERIC[kind] if family in have), _BUNDLED)


@functools.cache
def installed() -> Mapping[str, tuple[Path, ...]]:
    """Return the files of every font family of this computer.

    The renderer matches names letter by letter, capitals too: so are they kept.
    """
    found: dict[str, list[Path]] = {}
    for path, families in _listed() or scanned():
        for family in families:
            found.setdefault(family, []).append(path)
    return {family: tuple(sorted(paths)) for family, paths in found.items()}


def _listed() -> list[tuple[Path, list[str]]] | None:
    """Ask fontconfig, which keeps a list; None where there is none."""
    command = shutil.which("fc-list")
    if command is None:
        return None
    try:
        lines = subprocess.run(
            [command, "--format", "%{file}\t%{family}\n"],
            capture_output=True, check=True, text=True, timeout=20,
        ).stdout.splitlines()  # fmt: skip
    except (OSError, subprocess.SubprocessError, UnicodeDecodeError):
        return None
    pairs = (line.split("\t", 1) for line in lines if "\t" in line)
    return [
        (Path(path), families.split(","))
        for path, families in pairs
        if Path(path).suffix.lower() in _ENDINGS
    ]


def font_folders() -> list[Path]:
    """Return the folders where this system keeps its fonts."""
    home = Path.home()
    if sys.platform == "darwin":
        return [Path("/System/Library/Fonts"), Path("/Library/Fonts"), home / "Library/Fonts"]
    if sys.platform == "win32":
        local = Path(os.environ.get("LOCALAPPDATA", home))
        windows = Path(os.environ.get("WINDIR", r"C:\Windows"))
        return [windows / "Fonts", local / "Microsoft" / "Windows" / "Fonts"]
    shared = [Path("/usr/share/fonts"), Path("/usr/local/share/fonts")]
    return [*shared, home / ".fonts", home / ".local/share/fonts"]


def scanned() -> Iterator[tuple[Path, list[str]]]:
    """Yield every font file in the system's folders with the families it holds."""
    for folder in font_folders():
        for path in sorted(folder.rglob("*")):
            families = _names(path) if path.suffix.lower() in _ENDINGS else []
            if families:
                yield path, families


def _faces(path: Path) -> list[hb.Face]:
    """Return the faces of a font file; none of a file that is no font."""
    try:
        blob = hb.Blob.from_file_path(path)
    except hb.HarfBuzzError:
        return []
    return [hb.Face(blob, number) for number in range(hb.Face(blob).count)]


def _names(path: Path) -> list[str]:
    """Return the families that a font file holds, by every name that they have."""
    kinds = (hb.OTNameIdPredefined.FONT_FAMILY, hb.OTNameIdPredefined.TYPOGRAPHIC_FAMILY)
    return sorted(
        {
            face.get_name(entry.name_id, entry.language)
            for face in _faces(path)
            for entry in face.list_names()
            if entry.name_id in kinds
        }
        - {"", None}
    )


@functools.cache
def _letters(path: Path) -> set[str]:
    """Return the characters that a font file has."""
    return {chr(code) for face in _faces(path) for code in face.unicodes}
