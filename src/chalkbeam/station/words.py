"""What an imprint is called at the press: its piece, its location, its artwork."""

from __future__ import annotations

from pathlib import PurePath

from chalkbeam.orders.order_of_work import Stop
from chalkbeam.orders.pieces import ArtKind
from chalkbeam.record.progress import Progress


def piece_lines(stop: Stop) -> tuple[str, ...]:
    """Return what tells a piece from its neighbours, a line each: colour and size, whose it is."""
    piece = stop.piece
    whose = " ".join(part for part in (piece.name, piece.number) if part)
    what = ", ".join(part for part in (piece.colour, piece.size) if part)
    return tuple(part for part in (what, whose) if part)


def piece_words(stop: Stop) -> str:
    """Return the same in one line."""
    return ", ".join(piece_lines(stop))


def place_words(location: str) -> str:
    """Return a location's name as people say it."""
    return location.replace("-", " ")


def art_words(stop: Stop) -> str:
    """Return what is pressed: a file without its ending, or the name or number itself."""
    art = stop.imprint.art
    return PurePath(art.text).stem if art.kind is ArtKind.FILE else art.text


def elsewhere_words(stop: Stop, there: str, here: str) -> str:
    """Return the question whether artwork goes to another location than the one in force."""
    return f"Put {art_words(stop)} at {place_words(there)} in place of {place_words(here)}?"


def unseen_words(progress: Progress) -> str:
    """Return what is asked where the press step was not seen to begin.

    After a power cut, or after an undo. It names the imprint: with the press step dark,
    nothing else in the light does.
    """
    stop, index = progress.stop, progress.at.index
    if stop is None or index is None:
        return ""
    pieces = list(dict.fromkeys(each.piece.id for each in progress.stops))
    which = f"piece {pieces.index(stop.piece.id) + 1} of {len(pieces)}"
    what = f"{place_words(progress.location(index))}: {art_words(stop)}"
    said = ", ".join(part for part in (which, piece_words(stop), what) if part)
    return f"{said}: was it pressed? space: yes, page up: no"
