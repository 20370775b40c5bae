"""Rows read from a SQLite file's pages themselves, without its tree: for a file that is damaged.

SQLite finds a row by the pages above it, and reads none of a table once a page on the way is
spoiled. Here every page that holds rows is read for itself, so that a spoiled page costs its
own rows and no other. Works on the files' bytes, and leaves them as they are; follows "Database
File Format" of the SQLite documentation (sections 1.3 to 1.6, 2.1 and 4.1 to 4.3).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import IntEnum
from pathlib import Path

Value = None | int | float | str | bytes

MAGIC = b"SQLite format 3\x00"
WAL_MAGIC = (0x377F0682, 0x377F0683)
USUAL_SIZE = 4096
"""Bytes of a page where the file's head does not say: what SQLite makes since 2016."""
LONGEST = 200_000_000
"""A row of more bytes than this is a spoiled length, not a row."""


class Holds(IntEnum):
    """What kind of page a row was found on: the page's first byte."""

    INDEX_INNER = 2
    INDEX = 10
    TABLE = 13


@dataclass(frozen=True)
class FoundRow:
    """A row as found.

    Attributes
    ----------
    holds : Holds
    rowid : int
        0 on an index's page.
    values : tuple
    """

    holds: Holds
    rowid: int
    values: tuple[Value, ...]


def read(path: Path) -> tuple[bytes, bytes]:
    """Return a database's bytes, and those of the write-ahead log beside it.

    Either is empty if it is not there.
    """
    log = path.with_name(f"{path.name}-wal")
    file, logged = (each.read_bytes() if each.is_file() else b"" for each in (path, log))
    return file, logged


def rows(file: bytes, log: bytes = b"") -> Iterator[FoundRow]:
    """Yield every row that can be read, in no order; one may come more than once.

    Parameters
    ----------
    file : bytes
        The database.
    log : bytes
        The write-ahead log beside it; its pages go before the file's.
    """
    head = _head_of(file, log)
    size = _page_size(file) or (head.size if head else USUAL_SIZE)
    pages = {at // size + 1: file[at : at + size] for at in range(0, len(file), size)}
    earlier: list[tuple[int, bytes]] = []
    for number, page in _logged(log, head):
        if number in pages:
            earlier.append((number, pages[number]))
        pages[number] = page
    # A page that was written more than once is worth reading in each of its states: rows are
    # only ever added.
    for number, page in [*earlier, *pages.items()]:
        yield from _on_page(number, page, pages, size)


def version(file: bytes, log: bytes = b"") -> int | None:
    """Return the file's own version mark (`PRAGMA user_version`); None if its head is spoiled.

    Parameters as of `rows`.
    """
    first = file[:100]
    for number, page in _logged(log, _head_of(file, log)):
        first = page[:100] if number == 1 else first
    if len(first) < 100 or not first.startswith(MAGIC):
        return None
    return int.from_bytes(first[60:64], "big")


def _page_size(file: bytes) -> int | None:
    """Return the size of a page as the file's head says it; None if that is spoiled."""
    said = int.from_bytes(file[16:18], "big") if file.startswith(MAGIC) else 0
    said = 65536 if said == 1 else said
    return said if said >= 512 and not said & (said - 1) else None


@dataclass(frozen=True)
class _Head:
    """What the frames of a write-ahead log are read by.

    Attributes
    ----------
    size : int
        Bytes of a page.
    salts : bytes
        Borne by every frame since the log was last begun anew.
    order : str
        Byte order of the check sums, as `struct` writes it.
    sums : (int, int) or None
        The head's own check sums, with which those of the frames begin; None if the head is
        spoiled, so that SQLite takes the log for empty.
    """

    size: int
    salts: bytes
    order: str
    sums: tuple[int, int] | None


def _head_of(file: bytes, log: bytes) -> _Head | None:
    """Return a log's head (section 4.1), from its frames if it is spoiled; None if there is none.

    Where the head is spoiled, the page's size is the file's, and the salts are those of the
    first frame whose check sums go on from the frame before it.
    """
    if len(log) < 32:
        return None
    magic, _, size = struct.unpack_from(">III", log)
    sums = struct.unpack_from(">II", log, 24)
    order = ">" if magic & 1 else "<"
    sound = magic in WAL_MAGIC and 512 <= size <= 65536 and not size & (size - 1)
    if sound and _check_sums(log[:24], order, (0, 0)) == sums:
        return _Head(size, log[16:24], order, sums)
    size = _page_size(file) or USUAL_SIZE
    for at in list(_frames(log, size))[1:]:
        before = at - 24 - size
        salts = log[at + 8 : at + 16]
        if log[at : at + 4] == bytes(4) or log[before + 8 : before + 16] != salts:
            continue
        sums = struct.unpack_from(">II", log, before + 16)
        for order in "<>":
            if _follows(log, at, size, order, sums):
                return _Head(size, salts, order, None)
    return None


def _frames(log: bytes, size: int) -> range:
    """Return where the whole frames of a log begin."""
    return range(32, len(log) - 24 - size + 1, 24 + size)


def _logged(log: bytes, head: _Head | None) -> Iterator[tuple[int, bytes]]:
    """Yield the committed pages of a write-ahead log as (number, bytes), oldest first."""
    if head is None:
        return
    waiting: list[tuple[int, bytes]] = []
    for at in _frames(log, head.size):
        number, committed = struct.unpack_from(">II", log, at)
        # Others are spoiled, or left over from an earlier use of the log.
        if log[at + 8 : at + 16] != head.salts:
            continue
        waiting.append((number, log[at + 24 : at + 24 + head.size]))
        if committed:
            yield from waiting
            waiting.clear()


def breaks_off(file: bytes, log: bytes) -> bool:
    """Whether a write-ahead log is spoiled before its end, so that SQLite drops what follows.

    SQLite reads a log up to the first page whose check sum is wrong, and says nothing: after
    a kill or a power cut that is the end of what was written. Where two or more commits come
    after it, it is not: each was on the disk before the next was begun. The same is true of a
    head whose check sum is wrong, unless the file has taken in already what the log holds.
    """
    head = _head_of(file, log)
    if head is None:
        return False
    if head.sums is None and _taken_in(file, log, head):
        return False
    sums, whole, commits = head.sums or (0, 0), head.sums is not None, 0
    for at in _frames(log, head.size):
        if log[at + 8 : at + 16] != head.salts:
            whole = False
        elif whole:
            whole = _follows(log, at, head.size, head.order, sums)
            sums = struct.unpack_from(">II", log, at + 16)
        elif log[at + 4 : at + 8] != bytes(4):
            commits += 1
    return commits > 1


def _taken_in(file: bytes, log: bytes, head: _Head) -> bool:
    """Whether every page of a log stands in the file as it was logged last."""
    return all(
        file[(number - 1) * head.size : number * head.size] == page
        for number, page in dict(_logged(log, head)).items()
    )


def _follows(log: bytes, at: int, size: int, order: str, sums: tuple[int, int]) -> bool:
    """Whether the check sums of the frame at `at` go on from `sums`."""
    read = log[at : at + 8] + log[at + 24 : at + 24 + size]
    return _check_sums(read, order, sums) == struct.unpack_from(">II", log, at + 16)


def _check_sums(data: bytes, order: str, sums: tuple[int, int]) -> tuple[int, int]:
    """Return the running check sums of a log (section 4.2)."""
    first, second = sums
    words = struct.unpack(f"{order}{len(data) // 4}I", data)
    for one, other in zip(words[::2], words[1::2], strict=True):
        first = (first + one + second) & 0xFFFFFFFF
        second = (second + other + first) & 0xFFFFFFFF
    return first, second


def _on_page(number: int, page: bytes, pages: Mapping[int, bytes], size: int) -> Iterator[FoundRow]:
    head = 100 if number == 1 else 0
    try:
        holds = Holds(page[head])
    except (ValueError, IndexError):
        return
    inner = holds is Holds.INDEX_INNER
    count = int.from_bytes(page[head + 3 : head + 5], "big")
    first = head + (12 if inner else 8)
    for place in range(min(count, (len(page) - first) // 2)):
        at = int.from_bytes(page[first + 2 * place : first + 2 * place + 2], "big")
        try:
            yield _cell(holds, page, at + (4 if inner else 0), pages, size)
        except (IndexError, ValueError, struct.error):
            continue


def _cell(holds: Holds, page: bytes, at: int, pages: Mapping[int, bytes], size: int) -> FoundRow:
    """Return the row of one cell.

    Raises
    ------
    IndexError, ValueError, struct.error
        If it is spoiled.
    """
    length, at = _varint(page, at)
    rowid = 0
    if holds is Holds.TABLE:
        rowid, at = _varint(page, at)
    return FoundRow(holds, rowid, _record(_payload(holds, page, at, length, pages, size)))


def _payload(
    holds: Holds, page: bytes, at: int, length: int, pages: Mapping[int, bytes], size: int
) -> bytes:
    """Return a row's bytes, gathered from the pages that a long one runs on to."""
    if length > LONGEST:
        raise ValueError("no row is that long")
    most = size - 35 if holds is Holds.TABLE else (size - 12) * 64 // 255 - 23
    if length <= most:
        local = length
    else:
        least = (size - 12) * 32 // 255 - 23
        local = least + (length - least) % (size - 4)
        local = local if local <= most else least
    parts = [page[at : at + local]]
    left = length - len(parts[0])
    following = page[at + local : at + local + 4]
    while left > 0:
        more = pages.get(int.from_bytes(following, "big"))
        if more is None or len(more) <= 4:
            raise ValueError("the rest is gone")
        following = more[:4]
        parts.append(more[4 : 4 + left])
        left -= len(parts[-1])
    return b"".join(parts)


def _record(payload: bytes) -> tuple[Value, ...]:
    end, at = _varint(payload, 0)
    kinds = []
    while at < end:
        kind, at = _varint(payload, at)
        kinds.append(kind)
    values: list[Value] = []
    at = end
    for kind in kinds:
        value, width = _value(kind, payload, at)
        values.append(value)
        at += width
    if at != len(payload):
        raise ValueError("the row is not as long as its columns")
    return tuple(values)


_WHOLE = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}
"""Bytes of a whole number by its serial type."""


def _value(kind: int, payload: bytes, at: int) -> tuple[Value, int]:
    """Return a column's value and how many bytes it takes."""
    if kind == 0:
        return None, 0
    if kind in (8, 9):
        return kind - 8, 0
    width = _WHOLE.get(kind, 8 if kind == 7 else (kind - 12) // 2)
    raw = payload[at : at + width]
    if len(raw) != width or kind in (10, 11):
        raise ValueError("no such column")
    if kind == 7:
        return float(struct.unpack(">d", raw)[0]), width
    if kind in _WHOLE:
        return int.from_bytes(raw, "big", signed=True), width
    return (raw.decode() if kind % 2 else raw), width


def _varint(data: bytes, at: int) -> tuple[int, int]:
    """Return a number of one to nine bytes, and where it ends."""
    number = 0
    for place in range(at, at + 8):
        number = number << 7 | (data[place] & 0x7F)
        if data[place] < 0x80:
            return number, place + 1
    number = number << 8 | data[at + 8]
    return number - (1 << 64) if number >> 63 else number, at + 9
