"""Reading the trade's data: TOML files checked against a pydantic model, faults with their line."""

from __future__ import annotations

import functools
import logging
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, ValidationError

from calibration.files import read_whole
from calibration.refusal import Refusal

Model = TypeVar("Model", bound=BaseModel)
Thing = TypeVar("Thing")

_LOG = logging.getLogger(__name__)
"""Tells what is left out; without a handler of its own it is printed on standard error."""

_HEADER = re.compile(r"\s*(\[\[?)\s*(.+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(
    r"\s*((?:[\w-]+|\"[^\"]*\"|'[^']*')(?:\s*\.\s*(?:[\w-]+|\"[^\"]*\"|'[^']*'))*)\s*="
)
_PART = re.compile(r"[\w-]+|\"[^\"]*\"|'[^']*'")


def _parts(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip("\"'") for part in _PART.findall(dotted))


def _lines_by_place(text: str) -> dict[tuple[str | int, ...], int]:
    """Return the line number of every table and key, by its path (list items by index)."""
    places: dict[tuple[str | int, ...], int] = {}
    counts: dict[tuple[str | int, ...], int] = {}
    table: tuple[str | int, ...] = ()
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            path: tuple[str | int, ...] = ()
            names = _parts(header[2])
            for position, name in enumerate(names):
                path += (name,)
                last = position == len(names) - 1
                if last and header[1] == "[[":
                    counts[path] = counts.get(path, 0) + 1
                if path in counts:
                    path += (counts[path] - 1,)
            table = path
            places.setdefault(table, number)
        elif key := _KEY.match(line):
            places.setdefault(table + _parts(key[1]), number)
    return places


def line_of(text: str, place: Sequence[str | int]) -> int:
    """Return the line of TOML `text` on which the value at `place` stands, from 1.

    A value that is missing is placed on the line of the table that should hold it.
    """
    places = _lines_by_place(text)
    path = tuple(place)
    while path:
        if path in places:
            return places[path]
        path = path[:-1]
    return 1


_PLAINER = {
    "field required": "is missing",
    "extra inputs are not permitted": "is not known here",
    "string should have at least": "write at least",
    "input should": "it should",
    "unable to parse string as a number": "write a number, such as 12.5",
    "value is not a valid": "write a valid",
}
"""What the model's library says, in words for people who write such files."""


def _sentence(message: str) -> str:
    message = message.removeprefix("Value error, ").strip().rstrip(".")
    message = message[:1].lower() + message[1:]
    for technical, plainer in _PLAINER.items():
        if message.startswith(technical):
            return plainer + message[len(technical) :]
    return message


def parse_data(text: str, model: type[Model], name: str) -> Model:
    """Return TOML `text` as a `model`.

    Parameters
    ----------
    text : str
        The file's text.
    model : type of pydantic model
    name : str
        How a refusal calls the file.

    Raises
    ------
    Refusal
        With every fault and the line it stands on.
    """
    return checked_data(parse_toml(text, name), text, model, name)


def parse_toml(text: str, name: str) -> dict[str, Any]:
    """Return TOML `text` as it stands.

    Raises
    ------
    Refusal
        If it is none, or holds numbers or nests beyond what is read.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise Refusal(f"{name} is not TOML: {_sentence(str(error))}; correct that line.") from None
    except (ValueError, RecursionError):  # of Python's limits for whole numbers and calls
        raise Refusal(
            f"{name} is not TOML: it has a number of thousands of digits, or brackets thousands "
            "deep; correct that."
        ) from None


def checked_data(raw: Mapping[str, object], text: str, model: type[Model], name: str) -> Model:
    """Return what was read of `text` as a `model`. Parameters and refusals as `parse_data`."""
    try:
        return model.model_validate(raw)
    except (ArithmeticError, RecursionError):  # of a sum of numbers, each of which may be
        raise Refusal(f"{name} cannot be used: it has a number that is far too large.") from None
    except ValidationError as error:
        faults = []
        for fault in error.errors():
            place = tuple(part for part in fault["loc"] if part != "__root__")
            where = ".".join(str(part) for part in place)
            line = line_of(text, place)
            faults.append(f"line {line}{f' ({where})' if where else ''}: {_sentence(fault['msg'])}")
        raise Refusal(f"{name} cannot be used: {'; '.join(faults)}.") from None


def read_data(path: Path, model: type[Model]) -> Model:
    """Read a TOML file as a `model`.

    Raises
    ------
    Refusal
        If the file cannot be read, is not TOML or does not fit the model, with the line.
    """
    return parse_data(read_text(path), model, str(path))


def read_text(path: Path) -> str:
    """Return a data file's text.

    Raises
    ------
    Refusal
        If the file cannot be read, or is not UTF-8.
    """
    try:
        return read_whole(path).decode("utf-8").replace("\r\n", "\n")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not UTF-8 text"
        raise Refusal(f"{path} cannot be read: {reason}.") from None


FolderState = tuple[tuple[str, int], ...]
"""The data files of a folder and when each was changed; -1 where that cannot be told."""


def _data_files(folder: Path) -> Iterable[Path]:
    """Return a folder's data files by name, without the hidden ones that editors leave there."""
    return sorted(path for path in folder.glob("*.toml") if not path.name.startswith("."))


def folder_state(folder: Path) -> FolderState:
    """Return what a folder's data files are now; empty if there is no such folder."""
    return tuple((path.name, _changed(path)) for path in _data_files(folder))


def _changed(path: Path) -> int:
    try:
        return path.stat().st_mtime_ns
    except OSError:  # a link to nothing, a file just removed: to be found broken when it is read
        return -1


@dataclass(frozen=True)
class DataFolder(Generic[Thing]):
    """What a user's folder of data files holds, as read.

    Attributes
    ----------
    found : mapping of str to Thing
        By the file's stem.
    broken : mapping of str to Refusal
        Why a file, by its stem, is left out.
    """

    found: Mapping[str, Thing]
    broken: Mapping[str, Refusal]

    def remark(self) -> None:
        """Say which files are left out, and why: once for each fault."""
        for refusal in self.broken.values():
            _say(f"chalkbeam: {refusal} Left out until it is mended.")


@functools.lru_cache(maxsize=256)
def _say(remark: str) -> None:
    _LOG.warning("%s", remark)


def read_folder(folder: Path, read: Callable[[Path], Thing]) -> DataFolder[Thing]:
    """Read every data file of a user's folder; those that are broken are listed apart."""
    found: dict[str, Thing] = {}
    broken: dict[str, Refusal] = {}
    for path in _data_files(folder):
        try:
            found[path.stem] = read(path)
        except Refusal as refusal:
            broken[path.stem] = refusal
    return DataFolder(found, broken)
