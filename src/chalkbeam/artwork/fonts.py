"""The fonts that a drawing's text is set in: which files hold them, and what is missing.

A font that is not there is no trifle: the renderer leaves such text out, and the
ink would be placed without it.
"""

from __future__ import annotations

import functools
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from xml.etree.ElementTree import Element

from fontTools.ttLib import TTCollection, TTFont, TTLibError

from calibration.refusal import Refusal
from overlay.lettering import BUNDLED_FONT

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
_TEXT = {"text", "tspan", "textPath", "tref"}
_FAMILY = re.compile(r"font-family\s*:\s*([^;}]+)")
_BLOCK = re.compile(r"([^{}]+)\{([^}]*)\}")
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


def fonts_for(name: str, root: Element) -> Fonts | None:
    """Return the fonts that a drawing's text needs; None if it holds no text.

    Parameters
    ----------
    name : str
        The file's name, for the sentence of a refusal.
    root : Element
        The SVG's root.

    Raises
    ------
    Refusal
        If this computer lacks a font, or a font lacks a letter.
    """
    said = "".join("".join(text.itertext()) for text in root.iter() if _tag(text) == "text")
    letters = {character for character in said if not character.isspace()}
    if not letters:
        return None
    have = installed()
    generic = {kind: _stand_in(kind, have) for kind in GENERIC}
    files: dict[Path, None] = {}
    named: dict[str, None] = {}
    for wanted in _families(root) or [("serif",)]:
        family = next((each for each in wanted if each in have or each in GENERIC), "")
        if not family:
            raise Refusal(
                f"{name} sets text in {wanted[0]}, a font this computer does not have: turn the "
                "letters into outlines and export it again, or install the font."
            )
        family = generic.get(family, family)
        named[family] = None
        files |= dict.fromkeys(have.get(family, (BUNDLED_FONT,)))
    lacking = letters.difference(*(_letters(path) for path in files))
    if lacking:
        raise Refusal(
            f"{name} has “{min(lacking)}”, which its font ({', '.join(named)}) lacks: turn the "
            "letters into outlines and export it again."
        )
    return Fonts(tuple(files), generic, tuple(named))


def _stand_in(kind: str, have: Mapping[str, tuple[Path, ...]]) -> str:
    return next((family for family in GENERIC[kind] if family in have), _BUNDLED)


def _tag(element: Element) -> str:
    return str(element.tag).rpartition("}")[2]


def _families(root: Element) -> list[tuple[str, ...]]:
    """Return each list of families that text is set in, in the order of the file."""
    found: dict[tuple[str, ...], None] = {}
    above = {child: parent for parent in root.iter() for child in parent}
    lettered: set[Element] = set()
    for element in root.iter():
        inside = element if _tag(element) in _TEXT else None
        while inside is not None and inside not in lettered:
            lettered.add(inside)
            inside = above.get(inside)
    names = {f".{name}" for each in lettered for name in each.get("class", "").split()}
    names |= {f"#{each.get('id')}" for each in lettered} | {_tag(each) for each in lettered} | {"*"}
    for declared in _declared(root, lettered, names):
        families = tuple(part.strip().strip("\"'") for part in declared.split(",") if part.strip())
        if families and families[0] != "inherit":
            found[families] = None
    return list(found)


def _declared(root: Element, lettered: set[Element], names: set[str]) -> Iterator[str]:
    for element in root.iter():
        if element in lettered:
            yield element.get("font-family", "")
            yield from _FAMILY.findall(element.get("style", ""))
        elif _tag(element) == "style":
            for selectors, block in _BLOCK.findall(element.text or ""):
                last = {
                    selector.split()[-1] for selector in selectors.split(",") if selector.strip()
                }
                if last & names:
                    yield from _FAMILY.findall(block)


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


def _of_each_face(path: Path, ask: Callable[[TTFont], set[str]]) -> set[str]:
    """Return what all faces of a font file answer; nothing of a file that is no font."""
    try:
        with path.open("rb") as stream:
            many = path.suffix.lower() in {".ttc", ".otc"}
            faces = TTCollection(stream, lazy=True) if many else [TTFont(stream, lazy=True)]
            return set().union(*(ask(face) for face in faces))
    except (TTLibError, OSError, KeyError):
        return set()


def _names(path: Path) -> list[str]:
    """Return the families that a font file holds: the typographic name (16) and the plain (1)."""

    def names(face: TTFont) -> set[str]:
        return {face["name"].getDebugName(number) or "" for number in (1, 16)} - {""}

    return sorted(_of_each_face(path, names))


def _letters(path: Path) -> set[str]:
    """Return the characters that a font file has."""
    return _of_each_face(path, lambda face: {chr(code) for code in face.getBestCmap() or ()})
