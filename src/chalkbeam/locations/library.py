"""The locations on disk: the program's own, their twins, and the user's presets."""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Mapping
from pathlib import Path

import platformdirs

from calibration.refusal import Refusal
from chalkbeam.datafile import read_data
from chalkbeam.locations.schema import Location, Preset
from chalkbeam.locations.twins import twin_of

DATA = Path(__file__).parent / "data"


def presets_folder() -> Path:
    """Return the folder of the user's own location files (it need not exist yet)."""
    return platformdirs.user_data_path("chalkbeam", appauthor=False) / "locations"


def read_location(path: Path, own: bool = False) -> tuple[Location, ...]:
    """Read one location file, and its twin if it names one.

    Parameters
    ----------
    path : Path
    own : bool
        Whether the file is one of the program's own.

    Raises
    ------
    Refusal
        If the file is unusable, with every fault and its line.
    """
    preset = read_data(path, Preset)
    origin = None if own else path
    found = Location(path.stem, preset, origin)
    if preset.twin is None:
        return (found,)
    raw = tomllib.loads(path.read_text(encoding="utf-8"))
    return found, Location(preset.twin, Preset.model_validate(twin_of(raw)), origin)


def _read_folder(folder: Path, own: bool) -> dict[str, Location]:
    return {
        location.name: location
        for path in sorted(folder.glob("*.toml"))
        for location in read_location(path, own)
    }


@functools.cache
def own_locations() -> Mapping[str, Location]:
    """Return the program's own locations by name."""
    return _read_folder(DATA, own=True)


@functools.lru_cache(maxsize=8)
def _user_locations(folder: Path, state: tuple[tuple[str, int], ...]) -> Mapping[str, Location]:
    """Read the user's folder; `state`, its files and times, makes a change be read again."""
    del state
    return _read_folder(folder, own=False)


def locations(folder: Path | None = None) -> Mapping[str, Location]:
    """Return every location by name; a user's preset replaces the program's of that name.

    Parameters
    ----------
    folder : Path, optional
        The user's presets; `presets_folder` if not given.

    Raises
    ------
    Refusal
        If one of the user's files is unusable.
    """
    folder = folder or presets_folder()
    if not folder.is_dir():
        return own_locations()
    state = tuple(sorted((p.name, p.stat().st_mtime_ns) for p in folder.glob("*.toml")))
    return {**own_locations(), **_user_locations(folder, state)}


def _fold(text: str) -> str:
    return "".join(character for character in text.lower() if character.isalnum())


def location(name: str, folder: Path | None = None) -> Location:
    """Return a location by its name, title or another of its names, however it is spelled.

    Raises
    ------
    Refusal
        If there is none of that name, listing what there is.
    """
    wanted = _fold(name)
    known = locations(folder)
    for found in known.values():
        if wanted == _fold(found.name):
            return found
    for found in known.values():
        if wanted in {_fold(found.title), *map(_fold, found.preset.also)}:
            return found
    raise Refusal(f"There is no location “{name}”: take one of {', '.join(sorted(known))}.")
