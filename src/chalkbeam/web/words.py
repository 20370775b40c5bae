"""Every text of the page, by key: one file a language, so that it can be translated."""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Iterator, Mapping
from importlib import resources
from typing import Any


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


def part(table: str) -> dict[str, str]:
    """Return the texts of one table, by their keys; for a page that puts words in by script."""
    found = {key: text for key, text in texts().items() if key.startswith(f"{table}.")}
    if not found:
        raise KeyError(table)
    return found


@functools.cache
def texts() -> Mapping[str, str]:
    """Return every text by its key."""
    file = resources.files(__package__) / "texts" / "en.toml"
    return dict(_flat("", tomllib.loads(file.read_text("utf-8"))))


def _flat(path: str, table: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for name, value in table.items():
        key = f"{path}.{name}" if path else name
        if isinstance(value, str):
            yield key, value
        else:
            yield from _flat(key, value)
