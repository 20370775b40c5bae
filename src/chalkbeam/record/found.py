"""Orders found again: every run of the record with its customer, how far it is, and its names."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from chalkbeam.record.progress import Progress
from chalkbeam.record.resume import local_time
from chalkbeam.record.store import Store

_ID = 4
"""Letters of a run's id that a word must have to mean it."""


@dataclass(frozen=True)
class FoundOrder:
    """One run of an order.

    Attributes
    ----------
    run : str
        Its id.
    sheet, title : str
    customer, order_number : str
        As the sheet says them; empty if it does not.
    begun, ended : str
        Day and hour by the shop's clock; `ended` is empty while something is left to do.
    pressed, imprints, spoiled : int
    """

    run: str
    sheet: str
    title: str
    customer: str
    order_number: str
    begun: str
    ended: str
    pressed: int
    imprints: int
    spoiled: int

    @property
    def finished(self) -> bool:
        """Whether nothing is left to do."""
        return bool(self.ended)


def find_orders(store: Store, words: Sequence[str] = ()) -> tuple[FoundOrder, ...]:
    """Return the runs that all words occur in, the newest first.

    A word is looked for in title, customer, order number, the day it was begun or ended
    (2026-11-26), and the names and recipients of its pieces, whatever its case; or it is the
    beginning of the run's id, of four letters or more.
    """
    wanted = [word.casefold() for word in words]
    found = []
    for heading in reversed(store.runs()):
        run = store.run(heading.id)
        events = store.events(run)
        progress = Progress(run.stops, events)
        pieces = {stop.piece.id: stop.piece for stop in run.stops}.values()
        ended = ""
        if progress.stop is None:
            last = next((event.wall for event in reversed(events) if event.imprint), run.begun)
            ended = local_time(last)
        order = FoundOrder(
            run.id, run.sheet, run.title,
            ", ".join(dict.fromkeys(piece.customer for piece in pieces if piece.customer)),
            ", ".join(dict.fromkeys(piece.order_number for piece in pieces if piece.order_number)),
            local_time(run.begun), ended, progress.pressed(), len(run.stops),
            sum(progress.spoiled_pieces.values()),
        )  # fmt: skip
        said = [order.title, order.customer, order.order_number, order.begun, order.ended]
        said += [text for piece in pieces for text in (piece.name, piece.recipient)]
        whole = "\n".join(said).casefold()
        named = [word for word in wanted if len(word) >= _ID and run.id.startswith(word)]
        if all(word in whole or word in named for word in wanted):
            found.append(order)
    return tuple(found)
