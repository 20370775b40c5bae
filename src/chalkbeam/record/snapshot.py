"""The order of work as the record stores it: JSON that is read back as it was planned."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from pydantic import TypeAdapter

from chalkbeam.orders.order_of_work import Stop
from chalkbeam.orders.pieces import Piece, PressSetup


@dataclass(frozen=True)
class _Stop:
    """A stop without its piece: which imprint (by place in its piece), and the rest."""

    piece: str
    imprint: int
    fit: PressSetup
    changes: tuple[str, ...]
    seconds: float
    covers: tuple[str, ...] | None = None


@dataclass(frozen=True)
class _Work:
    pieces: tuple[Piece, ...]
    stops: tuple[_Stop, ...]
    as_listed: float
    by_hand: float


@cache
def _adapter() -> TypeAdapter[_Work]:
    return TypeAdapter(_Work)


def dump(stops: Sequence[Stop], as_listed: float, by_hand: float) -> str:
    """Return stops and estimates as JSON."""
    pieces = {stop.piece.id: stop.piece for stop in stops}
    work = tuple(
        _Stop(
            stop.piece.id,
            stop.piece.imprints.index(stop.imprint),
            stop.fit,
            stop.changes,
            stop.seconds,
            stop.covers,
        )
        for stop in stops
    )
    return _adapter().dump_json(_Work(tuple(pieces.values()), work, as_listed, by_hand)).decode()


def load(text: str) -> tuple[tuple[Stop, ...], float, float]:
    """Return the stops and estimates that `dump` wrote."""
    work = _adapter().validate_json(text)
    pieces = {piece.id: piece for piece in work.pieces}
    stops = tuple(
        Stop(
            pieces[stop.piece],
            pieces[stop.piece].imprints[stop.imprint],
            stop.fit,
            stop.changes,
            stop.seconds,
            stop.covers,
        )
        for stop in work.stops
    )
    return stops, work.as_listed, work.by_hand
