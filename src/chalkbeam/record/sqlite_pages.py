"""Rows read from the pages of a damaged SQLite file, without its tree.

SQLite finds a row by the pages above it in the tree, and reads none of a table once such a page
is damaged. Here every page that holds rows is read by itself, so that a damaged page costs only
its own rows. Works on the files' bytes, and leaves them as they are; follows "Database
File Format" of the SQLite documentation (sections 1.3 to 1.6, 2.1 and 4.1 to 4.3).
"""

from __future__ import annotations

import functools
import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import IntEnum
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.files import read_whole

Value = None | int | float | str | bytes

MAGIC = b"SQLite format 3\x00"
WAL_MAGIC = (0x377F0682, 0x377F0683)
USUAL_SIZE = 4096
"""Bytes of a page where the file's head does not say: what SQLite makes since 2016."""
LARGEST = 4_000_000_000
"""Bytes of a record that is read whole; a busy shop's year takes a hundredth."""
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
    return _bytes(path), _bytes(log_beside(path))


def log_beside(path: Path) -> Path:
    """Return where a database's write-ahead log lies."""
    return path.with_name(f"{path.name}-wal")


def _bytes(path: Path) -> bytes:
    return read_whole(path, LARGEST) if path.is_file() else b""


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
        Written in every frame since the log was last restarted.
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
    """Return a log's head, from its frames if it is spoiled; None if there is none."""
    return _sound_head(log) or _head_by_frames(file, log)


def _sound_head(log: bytes) -> _Head | None:
    """Return a log's head as it is written (section 4.1); None if it is spoiled."""
    if len(log) < 32:
        return None
    magic, _, size = struct.unpack_from(">III", log)
    order = ">" if magic & 1 else "<"
    if magic not in WAL_MAGIC or not 512 <= size <= 65536 or size & (size - 1):
        return None
    read = np.frombuffer(log, f"{order}u4", 6)[None, :]
    sums: tuple[int, int] = struct.unpack_from(">II", log, 24)
    sound = tuple(_check_sums(np.zeros((1, 2), np.uint32), read)[0]) == sums
    return _Head(size, log[16:24], order, sums) if sound else None


def _head_by_frames(file: bytes, log: bytes) -> _Head | None:
    """Return what a spoiled head said: the page's size is the file's.

    The salts are those of the first frame whose check sums go on from the frame before it.
    """
    size = _page_size(file) or USUAL_SIZE
    frames = _frames(log, size)
    found: list[tuple[int, bytes, str]] = []
    for order in "<>":
        follows = _go_on(frames, order, (0, 0))
        follows[:1] = False
        follows[1:] &= (frames[1:, 8:16] == frames[:-1, 8:16]).all(axis=1)
        follows &= frames[:, :4].any(axis=1)
        found += [(at, frames[at, 8:16].tobytes(), order) for at in np.flatnonzero(follows)[:1]]
    if not found:
        return None
    _, salts, order = min(found)
    return _Head(size, salts, order, None)


def _frames(log: bytes, size: int) -> NDArray[np.uint8]:
    """Return the whole frames of a log, a row each: 24 bytes of its own, then the page."""
    count = max(0, len(log) - 32) // (24 + size)
    return np.frombuffer(log, np.uint8, count * (24 + size), 32 if count else 0).reshape(
        count, 24 + size
    )


def _logged(log: bytes, head: _Head | None) -> Iterator[tuple[int, bytes]]:
    """Yield the committed pages of a write-ahead log as (number, bytes), oldest first."""
    if head is None:
        return
    waiting: list[tuple[int, bytes]] = []
    for frame in _frames(log, head.size):
        number, committed = struct.unpack_from(">II", frame)
        # Others are spoiled, or left over from an earlier use of the log.
        if frame[8:16].tobytes() != head.salts:
            continue
        waiting.append((number, frame[24:].tobytes()))
        if committed:
            yield from waiting
            waiting.clear()


def breaks_off(path: Path) -> bool:
    """Whether the log beside a database is spoiled before its end, so that SQLite drops the rest.

    SQLite reads a log up to the first page whose check sum is wrong, and says nothing: after
    a kill or a power cut that is the end of what was written. Where two or more commits come
    after it, it is not: each was on the disk before the next was begun. The same is true of a
    head whose check sum is wrong, unless the file has taken in already what the log holds.

    The log alone is read, which SQLite keeps short; the file only where the log's head is spoiled.
    """
    log = _bytes(log_beside(path))
    head = _sound_head(log)
    if head is None and log:
        file = _bytes(path)
        head = _head_by_frames(file, log)
        if head is not None and _taken_in(file, log, head):
            return False
    if head is None:
        return False
    frames = _frames(log, head.size)
    ours = (frames[:, 8:16] == np.frombuffer(head.salts, np.uint8)).all(axis=1)
    first = 0
    if head.sums is not None:
        whole = ours & _go_on(frames, head.order, head.sums)
        if whole.all():
            return False
        first = int(np.argmin(whole)) + 1
    commits = ours[first:] & frames[first:, 4:8].any(axis=1)
    return int(commits.sum()) > 1


def _taken_in(file: bytes, log: bytes, head: _Head) -> bool:
    """Whether every page of a log stands in the file as it was logged last."""
    return all(
        file[(number - 1) * head.size : number * head.size] == page
        for number, page in dict(_logged(log, head)).items()
    )


def _go_on(frames: NDArray[np.uint8], order: str, sums: tuple[int, int]) -> NDArray[np.bool_]:
    """Whether the check sums of each frame go on from those of the one before, shape (N,).

    `sums` are those before the first.
    """
    written = frames[:, 16:24].view(">u4").astype(np.uint32)
    before = np.vstack([np.array([sums], np.uint32), written])[:-1]
    read = np.hstack([frames[:, :8].view(f"{order}u4"), frames[:, 24:].view(f"{order}u4")])
    return np.asarray((_check_sums(before, read) == written).all(axis=1), np.bool_)


def _check_sums(before: NDArray[np.uint32], words: NDArray[np.uint32]) -> NDArray[np.uint32]:
    """Return the running check sums of a log (section 4.2) after so many words, shape (N, 2).

    Of words w the sums become ``s0 += w0 + s1; s1 += w1 + s0`` for each two of them. So a word
    with m words after it adds F(m) w to s0 and F(m + 1) w to s1, F being Fibonacci's numbers;
    what s1 was before counts as a word before the first, and what s0 was adds to the first.

    Parameters
    ----------
    before : ndarray, shape (N, 2)
        The sums s0 and s1 to begin with.
    words : ndarray, shape (N, an even number)
    """
    counted = np.hstack([before[:, 1:], words]).astype(np.uint32)
    counted[:, 1] += before[:, 0]
    return np.asarray(counted @ _weights(counted.shape[1]), np.uint32)


@functools.lru_cache(maxsize=4)
def _weights(count: int) -> NDArray[np.uint32]:
    """Return F(m) and F(m + 1) modulo 2³² for m from count - 1 down to 0, shape (count, 2)."""
    numbers = [0, 1]
    while len(numbers) <= count:
        numbers.append((numbers[-1] + numbers[-2]) & 0xFFFFFFFF)
    return np.array([numbers[:count], numbers[1 : count + 1]], np.uint32).T[::-1].copy()


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
