"""The locations on disk: the built-in ones, their twins, and the user's presets."""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping
from pathlib import Path

import platformdirs

from calibration.refusal import Refusal
from chalkbeam.basics.suggestions import choices
from chalkbeam.basics.toml_files import (
    DataFolder,
    FolderState,
    checked_data,
    folder_state,
    parse_toml,
    read_folder,
    read_text,
)
from chalkbeam.locations.schema import METHODS, Preset
from chalkbeam.locations.twins import twin_of
from chalkbeam.locations.values import Location

DATA = Path(__file__).parent / "data"


def presets_folder() -> Path:
    """Return the folder of the user's own location files (it need not exist yet)."""
    return platformdirs.user_data_path("chalkbeam", appauthor=False) / "locations"


def read_location(path: Path, builtin: bool = False) -> tuple[Location, ...]:
    """Read one location file, and its twin if it names one.

    Parameters
    ----------
    path : Path
    builtin : bool
        Whether the file comes with the program.

    Raises
    ------
    Refusal
        If the file is unusable, with every fault and its line.
    """
    text = read_text(path)
    raw = parse_toml(text, str(path))
    preset = checked_data(raw, text, Preset, str(path))
    origin = None if builtin else path
    found = Location(path.stem if builtin else _builtin_name(path.stem), preset, origin)
    if preset.twin is None:
        return (found,)
    twin = checked_data(twin_of(raw), text, Preset, str(path))
    return found, Location(preset.twin, twin, origin)


@functools.cache
def builtin_locations() -> Mapping[str, Location]:
    """Return the built-in locations by name."""
    return {
        location.name: location
        for path in sorted(DATA.glob("*.toml"))
        for location in read_location(path, builtin=True)
    }


def _builtin_name(name: str) -> str:
    """Return a user's name for a location as the built-in one of that name is spelled, if any.

    So that a preset takes the built-in location's place however its file is spelled.
    """
    return next((ours for ours in builtin_locations() if _fold(ours) == _fold(name)), name)


@functools.cache
def _builtin_twins() -> Mapping[str, str]:
    """Return the name of the twin of each built-in location that has one."""
    pairs = [(name, found.preset.twin) for name, found in builtin_locations().items()]
    return {mine: its for name, twin in pairs if twin for mine, its in ((name, twin), (twin, name))}


@functools.lru_cache(maxsize=8)
def _read_presets(folder: Path, state: FolderState) -> DataFolder[tuple[Location, ...]]:
    """Read the user's folder; `state` makes a change be read again."""
    del state
    return read_folder(folder, read_location)


def _presets(folder: Path | None) -> DataFolder[tuple[Location, ...]]:
    folder = folder or presets_folder()
    return _read_presets(folder, folder_state(folder))


def _users(presets: DataFolder[tuple[Location, ...]]) -> Mapping[str, Location]:
    return {location.name: location for group in presets.found.values() for location in group}


def _withheld(presets: DataFolder[tuple[Location, ...]]) -> Mapping[str, Refusal]:
    """Return why locations are withheld, by name.

    A preset that cannot be read may hold its twin too: what it would say of that side is
    unknown, and the built-in rule for it is not the shop's.
    """
    broken = {_builtin_name(stem): refusal for stem, refusal in presets.broken.items()}
    withheld, users = dict(broken), _users(presets)
    for name, refusal in broken.items():
        twin = _builtin_twins().get(name)
        if twin and twin not in users:
            withheld.setdefault(twin, refusal)
    return withheld


def locations(folder: Path | None = None) -> Mapping[str, Location]:
    """Return every location by name; a user's preset replaces the built-in one of that name.

    A preset that cannot be used is left out, with a remark on standard error; so are the
    built-in location that it was to replace and, unless the user has one, its twin.

    Parameters
    ----------
    folder : Path, optional
        The user's presets; `presets_folder` if not given.
    """
    presets = _presets(folder)
    presets.remark()
    if not presets.found and not presets.broken:
        return builtin_locations()
    every = {**builtin_locations(), **_users(presets)}
    withheld = _withheld(presets)
    return {name: found for name, found in every.items() if name not in withheld}


@functools.lru_cache(maxsize=4096)
def _fold(text: str) -> str:
    return "".join(character for character in text.lower() if character.isalnum())


def location(name: str, folder: Path | None = None) -> Location:
    """Return a location by its name, title or another of its names, however it is spelled.

    Raises
    ------
    Refusal
        If there is none of that name, listing what there is; or if it is a preset of the
        user's that cannot be used, or the twin of one.
    """
    wanted = _fold(name)
    withheld = _withheld(_presets(folder))
    for hidden, refusal in withheld.items():
        if wanted == _fold(hidden):
            raise refusal
    known = locations(folder)
    for found in known.values():
        if wanted == _fold(found.name):
            return found
    for found in known.values():
        if wanted in {_fold(found.title), *map(_fold, found.preset.also)}:
            return found
    for hidden, refusal in withheld.items():
        builtin = builtin_locations().get(hidden)
        if builtin and wanted in {_fold(builtin.title), *map(_fold, builtin.preset.also)}:
            raise refusal
    way = re.fullmatch(r"(.+?)[\s,-]+by[\s-]+(?:the[\s-]+)?([\w -]+)", name.strip())
    if way is not None:
        return _by(location(way[1], folder), way[2])
    raise Refusal(f"There is no location “{name}”: {choices(name, sorted(known))}.")


def _by(found: Location, words: str) -> Location:
    """Return a location placed by one of its methods, as people call it."""
    for method in found.methods:
        if _fold(words).removesuffix("line") in {
            _fold(each) for each in (method, method.rstrip("s"), METHODS.get(method, method))
        }:
            return found.by(method)
    ways = " or ".join(METHODS.get(method, method) for method in found.methods)
    raise Refusal(
        f"{found.title.capitalize()} is not placed by the {words}: "
        + (f"write by the {ways}." if ways else "it has one way alone, leave that out.")
    )
