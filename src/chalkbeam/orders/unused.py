"""What stands in columns that are not understood, so that no print is dropped in silence."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Collection, Iterator, Sequence

from calibration.refusal import Refusal
from chalkbeam.basics.cells import Cell, Row
from chalkbeam.basics.suggestions import near
from chalkbeam.basics.units import parse_length, parse_size
from chalkbeam.orders.artworks import ArtworkFiles, names_artwork
from chalkbeam.orders.headers import Header, plain
from chalkbeam.orders.headings import FOR_THE_OFFICE, KNOWN, PER_IMPRINT
from chalkbeam.orders.shop import Shop

_SETTINGS: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("temperature", re.compile(r"\d{2,3}\s*(?:°|deg\w*)?\s*[cf]\b|\d{2,3}\s*°")),
    ("time", re.compile(r"\d+(?:[.,]\d+)?(?:\s*[-–]\s*\d+)?\s*(?:s|secs?|seconds?)\b")),
    ("pressure", re.compile(r"(?:light|medium|firm|heavy|high|low)(?:\s+pressure)?|"
                            r"\d+(?:[.,]\d+)?\s*(?:bar|psi|kpa)")),
    ("peel", re.compile(r"(?:peel\s+)?(?:hot|warm|cold)(?:\s+peel)?")),
)  # fmt: skip
_NUMBER = re.compile(r"\d{1,3}", re.ASCII)
_NAME = re.compile(r"[^\W\d_]+(?:[ .'’-]+[^\W\d_]+){0,3}\.?")
_LIKE_A_HEADING = 0.8
"""Headings this like a known one are taken for a misspelling of it; `difflib`'s ratio."""


def unused_columns(
    header: Header, rows: Sequence[Row], files: ArtworkFiles, shop: Shop
) -> Iterator[tuple[int, str, str]]:
    """Yield each column that is not understood and holds something.

    Parameters
    ----------
    header : Header
    rows : sequence of Row
        Below the header.
    files : ArtworkFiles
    shop : Shop

    Yields
    ------
    index : int
    title : str
        Empty for a column without a heading.
    stop : str
        What its cells look like and what to do; empty where it may be left unused.
    """
    used = {column.index for column in (*header.columns, *header.sizes)}
    used |= {again.index for _, again in header.twice}
    titled = dict(header.unknown)
    offered: set[str] = set()
    for index in range(max(map(len, rows), default=0)):
        if index in used or index in header.left_out:
            continue
        texts = [text for row in rows if index < len(row) and (text := _text(row[index]))]
        title = titled.get(index, "")
        if texts or title:
            yield index, title, _stop(title, texts, header, files, shop, offered)


def _text(cell: Cell) -> str:
    return cell.strip() if isinstance(cell, str) else ""


def _stop(
    title: str,
    texts: Sequence[str],
    header: Header,
    files: ArtworkFiles,
    shop: Shop,
    offered: set[str],
) -> str:
    office = plain(title) in FOR_THE_OFFICE
    if found := looks_like(texts, files, shop):
        what, field, example = found
    elif texts and not office and (guess := _of_people(texts, header)):
        what, field, example = guess
    elif texts and title and not office and (meant := near(plain(title), tuple(KNOWN), 1)):
        if not _alike(plain(title), meant[0]):
            return ""
        return f"is not understood: if it means “{meant[0]}”, call it so, {_OR_LEAVE_OUT}"
    else:
        return ""
    free = _free(header, field, title, offered)
    offered.add(free)
    called = f"head it “{free}”"
    if field == "name":
        called = "head it “Name” if they are printed, “For” if they say whose the piece is"
    named = "is not understood" if title else "has no heading"
    return f"{named}, and its cells look like {what} (“{example[:40]}”): {called}, {_OR_LEAVE_OUT}"


_OR_LEAVE_OUT = "or put its heading in brackets to leave it out"


def looks_like(
    texts: Sequence[str], files: ArtworkFiles, shop: Shop
) -> tuple[str, str, str] | None:
    """Return what some cells look like: in words, as a field, and which; None if like nothing."""
    kinds: tuple[tuple[str, str, Callable[[str], bool]], ...] = (
        ("artwork files", "artwork", lambda text: names_artwork(text) or _is_file(text, files)),
        ("locations", "location", lambda text: _is_location(text, shop)),
        ("lengths", "width", _is_length),
    )
    for what, field, fits in kinds:
        if (example := next(filter(fits, texts), None)) is not None:
            return what, field, example
    for field, pattern in _SETTINGS:
        for text in texts:
            if pattern.fullmatch(text.lower()):
                return "press settings", field, text
    return None


def _of_people(texts: Sequence[str], header: Header) -> tuple[str, str, str] | None:
    """Return the same of what is only told by all cells together: names, numbers, quantities."""
    if all(_NUMBER.fullmatch(text) for text in texts):
        if not header.has("quantity") and not header.sizes and not header.has("name"):
            return "quantities", "quantity", texts[0]
        if header.has("name") and not header.has("number"):
            return "numbers of players", "number", texts[0]
        if header.has("temperature") and not header.has("time"):
            return "a press time", "time", texts[0]
        return None
    names = [text for text in texts if _NAME.fullmatch(text) and len(text) <= 30]
    many = len(texts) >= 3 and len(names) >= 0.9 * len(texts)
    if many and len(set(texts)) >= 0.7 * len(texts):
        return "names", "name", names[0]
    return None


def _free(header: Header, field: str, title: str, offered: Collection[str]) -> str:
    """Return the next heading of a field that the sheet has not, nor was offered another column.

    A number at the title's end goes first: “How wide 2” is the second's width.
    """
    word = field.capitalize()
    if field not in PER_IMPRINT:
        return word
    said = re.search(r"([1-9])\s*$", title)
    turns = itertools.count(int(said[1]) if said else 1)
    titles = ((turn, word if turn == 1 else f"{word} {turn}") for turn in turns)
    return next(t for n, t in titles if t not in offered and not header.has(field, n))


def _alike(one: str, other: str) -> bool:
    from difflib import SequenceMatcher

    return SequenceMatcher(None, one, other).ratio() >= _LIKE_A_HEADING


def _is_file(text: str, files: ArtworkFiles) -> bool:
    return files.find(text) is not None and (files.folder / text).suffix != ""


def _is_location(text: str, shop: Shop) -> bool:
    parts = [part for part in re.split(r"\s*[;,/+&]\s*|\s+and\s+", text) if part]
    try:
        return bool(parts) and all(shop.location(part) for part in parts)
    except Refusal:
        return False


def _is_length(text: str) -> bool:
    said = re.sub(r"\s*\b(wide|width|tall|high|w|h)\.?(?=\s*x|$)", "", text, flags=re.IGNORECASE)
    if not re.search(r"[a-z\"”″]", said, re.IGNORECASE):
        return False
    for parse in (parse_length, parse_size):
        try:
            parse(said)
        except Refusal:
            continue
        return True
    return False
