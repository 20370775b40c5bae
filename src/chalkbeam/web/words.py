"""Every text of the page, by key, and what the rest of the program says there, in its language.

The page's own texts stand in `texts/en.toml`. A shop may have them in another language: a file
`texts.toml` in its data folder, with the same tables, and one more, `said`, for sentences that come
from elsewhere in the program, by their English words (`python -m tools.texts_to_translate` writes
all of them). What is not translated stays English.
"""

from __future__ import annotations

import functools
import logging
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from string import Formatter
from typing import Any

import platformdirs

from calibration.refusal import Refusal
from chalkbeam.basics.toml_files import parse_toml, read_text
from chalkbeam.web.sayings import Sayings, places

_LOG = logging.getLogger(__name__)
FILE = "texts.toml"
SAID = "said"


@dataclass(frozen=True, eq=False)
class Language:
    """The page's texts in one language.

    Attributes
    ----------
    texts : mapping of str to str
        By key.
    sayings : Sayings
        Of the rest of the program.
    """

    texts: Mapping[str, str]
    sayings: Sayings


def t(key: str, **values: object) -> str:
    """Return the text of a key.

    Parameters
    ----------
    key : str
        Table and name in `texts/en.toml`, such as "press.next".
    **values
        What stands for the names in its braces.

    Raises
    ------
    KeyError
        If there is none: a fault of the program.
    """
    return texts()[key].format(**values) if values else texts()[key]


def say(sentence: object) -> str:
    """Return what the rest of the program says, in the page's language."""
    return language().sayings.of(str(sentence))


def part(table: str) -> dict[str, str]:
    """Return the texts of one table, by their keys; for a page that puts words in by script."""
    found = {key: text for key, text in texts().items() if key.startswith(f"{table}.")}
    if not found:
        raise KeyError(table)
    return found


def texts() -> Mapping[str, str]:
    """Return every text by its key."""
    return language().texts


@functools.cache
def language() -> Language:
    """Return the shop's language, English where it has none of its own; read once."""
    file = resources.files(__package__) / "texts" / "en.toml"
    own = dict(_flat("", tomllib.loads(file.read_text("utf-8"))))
    there = platformdirs.user_data_path("chalkbeam", appauthor=False) / FILE
    if not there.is_file():
        return Language(own, Sayings({}))
    try:
        return translated(own, there)
    except Refusal as refusal:
        _LOG.warning("chalkbeam: %s The page stays English until it is mended.", refusal)
        return Language(own, Sayings({}))


def translated(own: Mapping[str, str], file: Path) -> Language:
    """Return the texts in the language of a file; what it does not have stays as it is.

    A text that names other values than the one it stands for is left out, with a remark.

    Raises
    ------
    Refusal
        If the file cannot be read.
    """
    raw = parse_toml(read_text(file), str(file))
    said = raw.pop(SAID, {})
    given = {key: text for key, text in _flat("", raw) if key in own and text}
    sayings = {
        key: text for key, text in (said.items() if isinstance(said, dict) else ())
        if isinstance(text, str) and text
    }  # fmt: skip
    odd = [key for key, text in given.items() if not _fields(text) <= _fields(own[key])]
    odd += [key for key, text in sayings.items() if not places(text) <= places(key)]
    for key in odd:
        _LOG.warning("chalkbeam: %s: “%s” names other values than in English: left out.", file, key)
        given.pop(key, None)
        sayings.pop(key, None)
    return Language({**own, **given}, Sayings(sayings))


def _fields(text: str) -> set[str]:
    """Return the names of the values in a text; one that none has for what cannot be filled in."""
    try:
        return {name for _, name, _, _ in Formatter().parse(text) if name is not None}
    except ValueError:
        return {"{"}


def _flat(path: str, table: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for name, value in table.items():
        key = f"{path}.{name}" if path else name
        if isinstance(value, str):
            yield key, value
        elif isinstance(value, Mapping):
            yield from _flat(key, value)
