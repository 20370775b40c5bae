"""The stops of an order by their ids, their pieces and their numbers."""

from __future__ import annotations

from collections.abc import Sequence

from chalkbeam.orders.order_of_work import Stop


class Stops:
    """An order of work in which a stop is found by what the operator says.

    Attributes
    ----------
    all : tuple of Stop
        In the order of work.
    place : dict of imprint id to int
        Its index in `all`.
    of_piece : dict of piece id to list of int
        Indices of its stops.
    """

    def __init__(self, stops: Sequence[Stop]) -> None:
        self.all = tuple(stops)
        self.place = {stop.imprint.id: index for index, stop in enumerate(self.all)}
        self.of_piece: dict[str, list[int]] = {}
        for index, stop in enumerate(self.all):
            self.of_piece.setdefault(stop.piece.id, []).append(index)
        self._numbers = {piece: number for number, piece in enumerate(self.of_piece, start=1)}

    def number(self, stop: Stop) -> int:
        """Return which piece of the order of work a stop is about, from 1."""
        return self._numbers[stop.piece.id]

    def named(self, text: str) -> list[int]:
        """Return the indices of what an id or a piece's number says; none where nothing is so.

        `text` is a piece's or an imprint's id, as a barcode says it, or the piece's
        number in the order of work, as it is shown ("17 of 59"). Ids go first.
        """
        text = text.strip()
        if text in self.place:
            return [self.place[text]]
        pieces = tuple(self.of_piece)
        if text not in self.of_piece and text.isdecimal() and 1 <= int(text) <= len(pieces):
            text = pieces[int(text) - 1]
        return self.of_piece.get(text, [])
