"""Rigs by name, in the user's data folder: one per press and platen, one of them the default."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import platformdirs

from calibration.files import read_whole, write_whole
from calibration.refusal import Refusal, Remedy, RemedyKind

if TYPE_CHECKING:
    from calibration.rig.file import Rig

_DEFAULT = "default.txt"

_RESERVED = re.compile(r"(CON|PRN|AUX|NUL|(COM|LPT)[0-9])(\..*)?", re.IGNORECASE)
"""Names that are devices to Windows (Microsoft, "Naming Files, Paths, and Namespaces")."""


def folder() -> Path:
    """Return the folder of named rigs; it need not exist yet."""
    return platformdirs.user_data_path("chalkbeam", appauthor=False) / "rigs"


def names() -> tuple[str, ...]:
    """Return the names of all rigs in the library, in alphabetical order."""
    return tuple(sorted((path.stem for path in folder().glob("*.json")), key=str.casefold))


def default() -> str | None:
    """Return the default rig's name: the chosen one, else the only one, else None."""
    known = names()
    chosen = folder() / _DEFAULT
    if chosen.is_file():
        name = _known_as(read_whole(chosen).decode("utf-8", errors="replace").strip())
        if name in known:
            return name
    return known[0] if len(known) == 1 else None


def set_default(name: str) -> None:
    """Make a rig the default.

    Raises
    ------
    Refusal
        If there is no rig of that name, or none that can be read.
    """
    known = _known_as(name)
    if known not in names():
        raise Refusal(f"There is no rig named “{name}”: {_known()}.")
    _load(place(known))  # a damaged one would stop every command later
    write_whole(folder() / _DEFAULT, known + "\n")


def place(name: str) -> Path:
    """Return the file of a named rig, whether it exists or not; capitals make no other name.

    Raises
    ------
    Refusal
        If the name cannot be a file name on every system.
    """
    name = unicodedata.normalize("NFC", name)
    if not re.fullmatch(r"[\w][\w .()-]{0,60}", name) or name != name.strip(" ."):
        raise Refusal(
            f"“{name}” cannot name a rig: use letters, digits, spaces, hyphens and dots, up to 60."
        )
    if _RESERVED.fullmatch(name):
        raise Refusal(f"“{name}” cannot name a rig: on some systems a device is called so.")
    return folder() / f"{_known_as(name)}.json"


def _known_as(name: str) -> str:
    """Return the name as it is in the library; the name itself where none is called so."""
    known = names()
    if name in known:
        return name
    return next((each for each in known if _folded(each) == _folded(name)), name)


def _folded(name: str) -> str:
    # Some systems take letters and their accents apart in the names of files.
    return unicodedata.normalize("NFC", name).casefold()


def find(text: str | None) -> Path:
    """Return the file of a rig given as a path, as a name, or not at all.

    Parameters
    ----------
    text : str or None
        A path to a rig file, the name of a rig in the library, or None for the default.

    Raises
    ------
    Refusal
        If that leads to no rig, or leaves open which one is meant.
    """
    if text is None:
        chosen = default()
        if chosen is None and not names():
            raise Refusal(
                "There is no rig yet: ",
                Remedy(RemedyKind.NEW_RIG, "make one"),
                ", or ",
                Remedy(RemedyKind.RIG, "name a file"),
                ".",
            )
        if chosen is None:
            raise Refusal(
                f"Several rigs are known and none is the default: {_known()}; ",
                Remedy(RemedyKind.RIG, "name one"),
                ", or ",
                Remedy(RemedyKind.DEFAULT_RIG, "choose one for good"),
                ".",
            )
        return place(chosen)
    path = Path(text)
    if path.is_file() or path.suffix == ".json" or path.name != text:
        return path
    if _known_as(text) in names():
        return place(text)
    raise Refusal(f"There is no rig file or rig named “{text}”: {_known()}.")


def open_rig(text: str | None) -> Rig:
    """Return the rig given as a path, as a name, or not at all (the default)."""
    return _load(find(text))


def rename(name: str, new: str) -> Path:
    """Give a named rig another name, and return its file; it stays the default if it was.

    Raises
    ------
    Refusal
        If there is no such rig, another bears that name, or it can be no name.
    """
    old = _known_as(name)
    if old not in names():
        raise Refusal(f"There is no rig named “{name}”: {_known()}.")
    to = place(new)
    if to.stem in names() and to.stem != old:
        raise Refusal(f"Another rig is named “{to.stem}”: choose another name.")
    was_default = default() == old
    rig = replace(_load(place(old)), name=unicodedata.normalize("NFC", new))
    to = folder() / f"{rig.name}.json"
    _save(rig, to)
    if not to.samefile(folder() / f"{old}.json"):
        (folder() / f"{old}.json").unlink()
    if was_default:
        write_whole(folder() / _DEFAULT, rig.name + "\n")
    return to


def report_place(rig: Rig) -> Path:
    """Return where the report of a calibration is kept, PNG; it need not exist."""
    return folder() / "reports" / f"{rig.calibration_id}.png"


def set_aside(name: str) -> Path | None:
    """Keep a copy of a named rig before another takes its name; None where there is none.

    The copy is not in the library, but can be used by its path like any file.
    """
    path = place(name)
    if not path.is_file():
        return None
    copy = folder() / "earlier" / f"{path.stem} {datetime.now(UTC):%Y-%m-%d %H%M%S}.json"
    write_whole(copy, read_whole(path))
    return copy


def keep(rig: Rig) -> Path:
    """Save a rig in the library under its name, and return its file."""
    path = place(rig.name)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Refusal(
            f"{path.parent} cannot be made ({error.strerror}): ",
            Remedy(RemedyKind.RIG_FILE, "save the rig in a file"),
            ".",
        ) from None
    _save(rig, path)
    return path


def _known() -> str:
    known = names()
    return "known are " + ", ".join(known) if known else "none has been saved yet"


# Who asks for names alone is spared numpy and the image library.


def _load(path: Path) -> Rig:
    from calibration.rig.file import load

    return load(path)


def _save(rig: Rig, path: Path) -> None:
    from calibration.rig.file import save

    save(rig, path)
