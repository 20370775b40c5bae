"""Sentences of the program in another language, known by their English words.

A sentence comes with its values already in it. It is found by the English template that it fits,
its values are taken out, put into the other language themselves, and set into the translation.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping

_PLACE = re.compile(r"(?<!\{)\{(\w*)\}(?!\})")

_JOINTS = (r"(?<=[.!?…]) ", r"\n", r" · ", r"; ", r": ", r", ")
"""Where sentences and lists are joined, the loosest joint first."""


def places(template: str) -> set[str]:
    """Return the names of the values in a text."""
    return set(_PLACE.findall(template))


class Sayings:
    """Sentences by their English templates.

    Parameters
    ----------
    known : mapping of str to str
        Template, with ``{0}``, ``{1}`` … for its values, to its translation.
    """

    def __init__(self, known: Mapping[str, str]) -> None:
        self._plain = {words: said for words, said in known.items() if not places(words)}
        ways = [(_pattern(words), words) for words in known if places(words)]
        # Of those that a sentence fits, the one that says the most of it.
        ways.sort(key=lambda way: -len(_PLACE.sub("", way[1])))
        self._ways = [(pattern, known[words]) for pattern, words in ways]
        self.of = functools.lru_cache(4096)(self._of) if known else str

    def _of(self, sentence: str) -> str:
        """Return a sentence in the language; as it is where nothing of it is known."""
        if sentence in self._plain:
            return self._plain[sentence]
        for pattern, said in self._ways:
            if fits := pattern.fullmatch(sentence):
                values = {name: self._of(value) for name, value in fits.groupdict().items()}
                return _filled(said, values)
        for joint in _JOINTS:
            parts = re.split(f"({joint})", sentence)
            if len(parts) > 1:
                return "".join(
                    each if index % 2 else self._of(each) for index, each in enumerate(parts)
                )
        return sentence


def _pattern(template: str) -> re.Pattern[str]:
    """Return what a template's sentences look like; its values are groups: `v0`, `v1`."""
    seen: set[str] = set()
    found = ""
    for index, part in enumerate(_PLACE.split(template)):
        if index % 2 == 0:
            found += re.escape(part)
        elif part in seen:
            found += f"(?P=v{part})"
        else:
            seen.add(part)
            found += f"(?P<v{part}>.+?)"
    return re.compile(found, re.DOTALL)


def _filled(template: str, values: Mapping[str, str]) -> str:
    return _PLACE.sub(lambda place: values[f"v{place[1]}"], template)
