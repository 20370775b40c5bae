"""The shop's own files on all its machines: rigs, locations, charts, lists; every version kept.

A machine remembers which version of each file it last had in common with the queue. What changed
on one side goes to the other; what changed on both is told and left as it is on both.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

import platformdirs
import sqlalchemy as sa

from calibration.files import read_whole, write_whole
from chalkbeam.presses.contents import content, digest_of_bytes, put_content
from chalkbeam.presses.engine import Queue
from chalkbeam.presses.places import SHOP_FILE
from chalkbeam.presses.settings import read_shop
from chalkbeam.presses.tables import shared_files

SHARED = (
    "rigs/*.json", "locations/*.toml", "charts/*.toml", "transfers.toml", "platens.toml",
    "fabrics.toml", SHOP_FILE,
)  # fmt: skip
"""What of the user's data folder is the shop's."""
LARGEST = 5_000_000


@dataclass(frozen=True)
class SharedVersion:
    """The newest version of a file in the queue."""

    name: str
    version: int
    digest: str


@dataclass(frozen=True)
class Shared:
    """What sharing came to: names of files, each in one of these.

    Attributes
    ----------
    sent, fetched : tuple of str
    at_odds : tuple of str
        Changed here and in the queue: neither is touched.
    removed : tuple of str
        Removed here, still in the queue: they do not come back by themselves.
    """

    sent: tuple[str, ...]
    fetched: tuple[str, ...]
    at_odds: tuple[str, ...]
    removed: tuple[str, ...]


def newest(connection: sa.Connection) -> dict[str, SharedVersion]:
    """Return the newest version of every shared file, by name."""
    last = (
        sa.select(shared_files.c.name, sa.func.max(shared_files.c.version).label("version"))
        .group_by(shared_files.c.name)
        .subquery()
    )
    query = sa.select(shared_files.c.name, shared_files.c.version, shared_files.c.digest).join(
        last, (last.c.name == shared_files.c.name) & (last.c.version == shared_files.c.version)
    )
    return {row.name: SharedVersion(*row) for row in connection.execute(query)}


def put_version(
    connection: sa.Connection, name: str, held: bytes, after: int, press: str, wall: str
) -> SharedVersion | None:
    """Add a version behind the one that is known; None if another came between.

    The key of name and version forbids two versions with one number.
    """
    known = newest(connection).get(name)
    if (0 if known is None else known.version) != after:
        return None
    digest = put_content(connection, held)
    connection.execute(
        sa.insert(shared_files).values(
            name=name, version=after + 1, digest=digest, press=press, wall=wall
        )
    )
    return SharedVersion(name, after + 1, digest)


def share(
    queue: Queue, press: str, wall: str, folder: Path | None = None, prefer: str = ""
) -> Shared:
    """Bring this machine's files and the queue's to one state, where nothing is at odds.

    Parameters
    ----------
    prefer : str
        Which side goes first where a file is at odds, “here” or “queue”, as a person says; the
        other's is kept: as an older version there, beside it (.before) here. Empty: neither.

    Raises
    ------
    Refusal
        If the queue does not answer, or a file cannot be written.
    """
    folder = folder or platformdirs.user_data_path("chalkbeam", appauthor=False)
    state = folder / "presses" / "shared.json"
    known = _known(state, str(queue.address))
    here = {name: digest_of_bytes(held) for name, held in _files(folder)}
    there = queue.transact(newest)
    sent, fetched, at_odds, removed = [], [], [], []
    for name in sorted({*here, *filter(_is_shared, there)}):
        own, other, common = here.get(name), there.get(name), known.get(name)
        if other is not None and own == other.digest:
            known[name] = other
        elif own is None and common is not None:
            removed.append(name)
        elif other is not None and (
            own is None or (common and own == common.digest) or prefer == "queue"
        ):
            if own is not None and not (common and own == common.digest):
                write_whole(folder / f"{name}.before", read_whole(folder / name, LARGEST))
            held = queue.transact(lambda c, one=other.digest: content(c, one))  # type: ignore[misc]
            write_whole(folder / name, held)
            known[name] = other
            fetched.append(name)
        elif own is not None and (
            other is None or (common and common == other) or prefer == "here"
        ):
            held = read_whole(folder / name, LARGEST)
            after = 0 if other is None else other.version
            added = queue.transact(
                lambda c, n=name, h=held, a=after: put_version(c, n, h, a, press, wall)  # type: ignore[misc]
            )
            if added is None:
                at_odds.append(name)
                continue
            known[name] = added
            sent.append(name)
        else:
            at_odds.append(name)
    _remember(state, str(queue.address), known)
    return Shared(tuple(sent), tuple(fetched), tuple(at_odds), tuple(removed))


def _is_shared(name: str) -> bool:
    """Whether a name out of the queue is of a file that is shared: no other is ever written."""
    path = PurePosixPath(name)
    plain = not name.startswith("/") and not {".", ".."} & set(name.split("/"))
    alike = (each for each in SHARED if len(PurePosixPath(each).parts) == len(path.parts))
    return plain and "\\" not in name and any(path.match(each) for each in alike)


def _files(folder: Path) -> Iterator[tuple[str, bytes]]:
    for pattern in SHARED:
        for path in sorted(folder.glob(pattern)):
            if path.is_file() and not path.name.startswith("."):
                held = read_whole(path, LARGEST)
                if pattern == SHOP_FILE:  # a password in it goes nowhere
                    read_shop(held.decode(errors="replace"), str(path))
                yield path.relative_to(folder).as_posix(), held


def _known(state: Path, address: str) -> dict[str, SharedVersion]:
    """Return what this machine last had in common with a queue; nothing where that is lost."""
    try:
        said = json.loads(read_whole(state))[address]
        return {name: SharedVersion(name, int(v), str(d)) for name, (v, d) in said.items()}
    except (OSError, ValueError, LookupError, TypeError, AttributeError):
        return {}


def _remember(state: Path, address: str, known: Mapping[str, SharedVersion]) -> None:
    said = {name: (each.version, each.digest) for name, each in known.items()}
    write_whole(state, json.dumps({address: said}))
