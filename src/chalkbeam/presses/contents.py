"""Files in the queue by what they hold, and an order's artwork, fetched once and kept."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import platformdirs
import sqlalchemy as sa

from calibration.files import read_whole, write_whole
from calibration.refusal import Refusal
from chalkbeam.orders.order_of_work import Stop
from chalkbeam.presses.tables import artworks, contents

LARGEST = 50_000_000
"""Bytes of a file beyond which it is not put into the queue."""


def digest_of_bytes(content: bytes) -> str:
    """Return what a content is known by."""
    return hashlib.sha256(content).hexdigest()


def put_content(connection: sa.Connection, content: bytes) -> str:
    """Keep a content, if it is not there; return its digest."""
    digest = digest_of_bytes(content)
    there = sa.select(contents.c.digest).where(contents.c.digest == digest)
    if connection.execute(there).first() is None:
        connection.execute(sa.insert(contents).values(digest=digest, bytes=content))
    return digest


def content(connection: sa.Connection, digest: str) -> bytes:
    """Return a content by its digest.

    Raises
    ------
    Refusal
        If it is not what it was, or not there.
    """
    query = sa.select(contents.c.bytes).where(contents.c.digest == digest)
    found = connection.execute(query).scalar()
    if found is None or digest_of_bytes(bytes(found)) != digest:
        raise Refusal(
            "A file in the queue is not what was put there: put a backup of the queue back, or "
            "give it the file again."
        )
    return bytes(found)


def art_paths(stops: Sequence[Stop]) -> tuple[Path, ...]:
    """Return the artwork files of an order of work, each once."""
    paths = (stop.imprint.art.path for stop in stops)
    return tuple(dict.fromkeys(path for path in paths if path is not None))


def read_art(stops: Sequence[Stop]) -> dict[str, bytes]:
    """Return what an order's artwork files hold, by path; those that are missing left out."""
    found: dict[str, bytes] = {}
    for path in art_paths(stops):
        try:
            found[str(path)] = read_whole(path, LARGEST)
        except OSError:
            continue  # it may come later, at this press or at another
    return found


def put_art(connection: sa.Connection, run: str, files: Mapping[str, bytes]) -> None:
    """Put an order's artwork into the queue."""
    known = sa.select(artworks.c.path).where(artworks.c.run == run)
    there = set(connection.execute(known).scalars())
    for path, held in files.items():
        if path not in there:
            digest = put_content(connection, held)
            connection.execute(sa.insert(artworks).values(run=run, path=path, digest=digest))


def art_of(connection: sa.Connection, run: str) -> dict[str, str]:
    """Return the digests of an order's artwork, by path."""
    query = sa.select(artworks.c.path, artworks.c.digest).where(artworks.c.run == run)
    return {row.path: row.digest for row in connection.execute(query)}


def kept_place(digest: str, path: str) -> Path:
    """Return where a press keeps a file that it fetched."""
    data = platformdirs.user_data_path("chalkbeam", appauthor=False)
    return data / "presses" / "artwork" / f"{digest}{Path(path).suffix.lower()}"


def is_kept(place: Path, digest: str) -> bool:
    """Whether a fetched file is there and whole."""
    try:
        return digest_of_bytes(read_whole(place, LARGEST)) == digest
    except OSError:
        return False


def missing_here(digests: Mapping[str, str]) -> dict[str, str]:
    """Return the artwork that is not at hand here as the order has it, digests by path."""
    return {
        path: digest
        for path, digest in digests.items()
        if not is_kept(Path(path), digest) and not is_kept(kept_place(digest, path), digest)
    }


def keep_content(held: bytes, path: str) -> None:
    """Keep a fetched file."""
    write_whole(kept_place(digest_of_bytes(held), path), held)


def with_art_here(stops: Sequence[Stop], digests: Mapping[str, str]) -> tuple[Stop, ...]:
    """Return an order of work whose artwork is read where it is at this press."""
    places: dict[Path, Path] = {}
    for path, digest in digests.items():
        own = kept_place(digest, path)
        if not is_kept(Path(path), digest) and own.is_file():
            places[Path(path)] = own
    if not places:
        return tuple(stops)
    pieces = {}
    for stop in stops:
        if stop.piece.id not in pieces:
            imprints = tuple(
                replace(each, art=replace(each.art, path=places.get(each.art.path, each.art.path)))
                if each.art.path is not None
                else each
                for each in stop.piece.imprints
            )
            pieces[stop.piece.id] = replace(stop.piece, imprints=imprints)
    return tuple(
        replace(
            stop,
            piece=pieces[stop.piece.id],
            imprint=next(
                each for each in pieces[stop.piece.id].imprints if each.id == stop.imprint.id
            ),
        )
        for stop in stops
    )
