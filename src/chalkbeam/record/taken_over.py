"""What an earlier run has done of an order, for a run that goes on with an edited one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from chalkbeam.orders.garment_words import pile_words
from chalkbeam.orders.order_of_work import Stop
from chalkbeam.orders.pieces import Imprint, Piece, PressSettings
from chalkbeam.record.events import Event, Kind, NewEvent, in_force
from chalkbeam.record.progress import Outcome, Progress

KEPT = (Outcome.PRESSED, Outcome.SPOILED)
"""What stays as it is; what was skipped is to be done after all."""


@dataclass(frozen=True)
class TakenOver:
    """What a new run begins with.

    Attributes
    ----------
    acts : tuple of NewEvent
        One for each imprint that is done already.
    gone : tuple of str
        Pieces that something was pressed on and that the order has no more, a sentence each.
    """

    acts: tuple[NewEvent, ...]
    gone: tuple[str, ...] = ()

    @property
    def pressed(self) -> int:
        """How many imprints are pressed already."""
        return sum(act.data["outcome"] == Outcome.PRESSED.value for act in self.acts)


def take_over(
    run: str, stops: Sequence[Stop], events: Iterable[Event], now: Sequence[Piece]
) -> TakenOver:
    """Return what of an earlier run counts for an order as it reads now.

    A piece counts for one that is the same garment and has every imprint that was pressed on it,
    its own row first. One that has been pressed otherwise is done for: it is told.

    Parameters
    ----------
    run : str
        Id of the earlier run.
    stops, events
        Its order of work and its events.
    now : sequence of Piece
        The order.
    """
    kept = list(events)
    progress = Progress(stops, kept)
    said = {
        event.imprint: event.data
        for event in in_force(kept)
        if event.kind in (Kind.PRESSED, Kind.CARRIED)
    }
    free = {piece.id: piece for piece in now}
    acts: list[NewEvent] = []
    gone: list[str] = []
    for piece in dict.fromkeys(stop.piece for stop in stops):
        done = [each for each in piece.imprints if progress.outcomes.get(each.id) in KEPT]
        if not done:
            continue
        same = min(
            (each for each in free.values() if _serves(done, piece, each)),
            key=lambda each: (each.id != piece.id, _content(each) != _content(piece)),
            default=None,
        )
        if same is None:
            pressed = [each for each in done if progress.outcomes[each.id] is Outcome.PRESSED]
            if pressed:
                gone.append(
                    f"{piece.id} ({pile_words(piece.pile)}): "
                    f"{', '.join(each.location for each in pressed)}"
                )
            continue
        del free[same.id]
        left = list(same.imprints)
        for imprint in done:
            own = next(each for each in left if _print(each) == _print(imprint))
            left.remove(own)
            was = said.get(imprint.id, {})
            data = {key: was[key] for key in ("pose", "nudge", "location") if key in was}
            data |= {"outcome": progress.outcomes[imprint.id].value, "run": run, "as": imprint.id}
            acts.append(NewEvent(Kind.CARRIED, own.id, None, data))
    return TakenOver(tuple(acts), tuple(gone))


def unfinished_pieces(stops: Sequence[Stop], events: Iterable[Event]) -> tuple[str, ...]:
    """Return the ids of the pieces of a run on which something was skipped or spoiled."""
    progress = Progress(stops, events)
    return tuple(
        dict.fromkeys(
            stop.piece.id
            for stop in stops
            if progress.outcomes.get(stop.imprint.id) is not Outcome.PRESSED
        )
    )


def _serves(done: Sequence[Imprint], was: Piece, now: Piece) -> bool:
    """Whether a piece that has these imprints can be taken for another."""
    if was.pile != now.pile:
        return False
    return not Counter(map(_print, done)) - Counter(map(_print, now.imprints))


def _print(imprint: Imprint) -> Imprint:
    """Return what of an imprint is seen on the garment; how it was pressed is not."""
    return replace(
        imprint, id="", follows=None, art=replace(imprint.art, path=None), press=PressSettings(),
        platen="", pad="", pad_place="", overhang=None,
    )  # fmt: skip


def _content(piece: Piece) -> tuple[object, ...]:
    return piece.name, piece.number, piece.recipient, tuple(map(_print, piece.imprints))
