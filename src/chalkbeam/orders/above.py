"""What an office writes above the header: “Style: Crew tee” holds for every row."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from chalkbeam.basics.cells import Row
from chalkbeam.orders.artworks import ArtworkFiles, names_artwork
from chalkbeam.orders.headers import Column, Header, plain, read_column
from chalkbeam.orders.headings import FOR_THE_OFFICE, KNOWN
from chalkbeam.orders.shop import Shop
from chalkbeam.orders.unused import looks_like


def with_above(header: Header, rows: Sequence[Row]) -> Header:
    """Return a header with the columns that are given above it, once for all rows.

    A line counts that holds a heading and one value, in two cells or in one with a colon; a
    column of its own below goes first.
    """
    given: list[Column] = []
    for row in rows[: header.row]:
        said = _said(row)
        column = read_column(-1, said[0]) if said else None
        if said is None or column is None or header.has(column.field, column.turn):
            continue
        if not any((each.field, each.turn) == (column.field, column.turn) for each in given):
            given.append(replace(column, given=said[1]))
    return replace(header, columns=(*header.columns, *given))


def unread_above(
    header: Header, rows: Sequence[Row], files: ArtworkFiles, shop: Shop
) -> list[tuple[int, str]]:
    """Return what stands above the header, is not read, and looks like a part of the order.

    As row of the sheet, counted from 0, and what to do.
    """
    found = []
    read = {column.title for column in header.columns if column.given is not None}
    for index, row in enumerate(rows[: header.row]):
        said = _said(row)
        if said and said[0] in read:
            continue
        texts = [cell for cell in row if isinstance(cell, str) and cell]
        like = looks_like(texts, files, shop)
        word = next((each for text in texts for each in text.split() if names_artwork(each)), "")
        if like is None and not word:
            continue
        example = like[2] if like else word
        found.append(
            (index, f"“{example[:40]}” stands above the header and is not read: give it a column, "
             "or write its heading before it, such as “Location: left chest”")
        )  # fmt: skip
    return found


def unused_above(header: Header, rows: Sequence[Row]) -> list[str]:
    """Return the lines above the header with a heading of an order that are not read."""
    read = {column.title for column in header.columns if column.given is not None}
    given = (_said(row) for row in rows[: header.row])
    said = [each for each in given if each and plain(each[0]) in FOR_THE_OFFICE | KNOWN.keys()]
    return [f"{title} “{value}”" for title, value in said if title not in read]


def _said(row: Row) -> tuple[str, str] | None:
    """Return a line's heading and its value; None if it is no such line."""
    texts = [cell.strip() for cell in row if isinstance(cell, str) and cell.strip()]
    if len(texts) == 1 and (match := re.fullmatch(r"([^:]{1,40}):\s*(\S.*)", texts[0])):
        return match[1].strip(), match[2].strip()
    return (texts[0].rstrip(" :"), texts[1]) if len(texts) == 2 else None
