"""How far a run has come: a fold of its events over the order of work, without database or clock.

`Progress` takes events one at a time, each in constant time, and remembers how to take
the last ones back, so that undo and redo need not read the record again.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from chalkbeam.orders.order_of_work import Stop
from chalkbeam.orders.pieces import PressSettings, piece_of
from chalkbeam.orders.settings import Setting
from chalkbeam.placement.shift import Shift
from chalkbeam.record.corrections import Corrections
from chalkbeam.record.elsewhere import Elsewhere
from chalkbeam.record.events import REVOCABLE, Event, Kind, Step
from chalkbeam.record.press_state import PressState
from chalkbeam.record.put_back import all_back, put, take
from chalkbeam.record.stock import Stock
from chalkbeam.record.stops import Stops
from chalkbeam.record.unpeeled import Unpeeled, Waiting
from chalkbeam.record.way import WayThrough

UNDO_DEPTH = 1000
"""How many actions can be taken back; bounds memory over a long run."""


class Outcome(Enum):
    """How an imprint ended."""

    PRESSED = "pressed"
    SKIPPED = "skipped"
    SPOILED = "spoiled"


@dataclass(frozen=True)
class At:
    """The current imprint and the step; `index` is its place in the order, None when done."""

    index: int | None
    step: Step = Step.LOAD


class Progress:
    """The state of a run after its events.

    Parameters
    ----------
    stops : sequence of Stop
        The order of work.
    events : iterable of Event
        Everything that has happened so far, by `seq`.
    carried : mapping of imprint id to Shift, optional
        Nudges brought over from an earlier run (a reorder).
    places : mapping of imprint id to str, optional
        Locations brought over likewise.

    Attributes
    ----------
    press : PressState
        What the press is set to, and what may be on it.
    confirmed : dict of piece id to str
        Pieces whose garment was looked at and is the right one, and by what that was said.
    stock : Stock
        What there is of transfers and garments.
    mine : frozenset of str or None
        The pieces that this press may work, where several share the order; None: all of it.
    """

    def __init__(
        self,
        stops: Sequence[Stop],
        events: Iterable[Event] = (),
        carried: dict[str, Shift] | None = None,
        places: dict[str, str] | None = None,
    ) -> None:
        self._stops = Stops(stops)
        self.stops = self._stops.all
        self.at = At(0 if self.stops else None)
        self.press = PressState()
        self.mine: frozenset[str] | None = None
        self.outcomes: dict[str, Outcome] = {}
        self.spoiled_pieces: dict[str, int] = {}
        self.confirmed: dict[str, str] = {}
        self.paused = False
        self._corrections = Corrections(carried, places)
        self._way = WayThrough(self._stops, self.ended)
        self._done: deque[tuple[Event, Callable[[], None]]] = deque(maxlen=UNDO_DEPTH)
        self._taken_back: list[Event] = []
        self._unpeeled = Unpeeled()
        self.stock = Stock(self.stops)
        self._replaced: dict[str, int] = {}
        for event in events:
            self.apply(event)

    # -- reading ---------------------------------------------------------------------------

    @property
    def stop(self) -> Stop | None:
        """The current stop; None when nothing is left."""
        return None if self.at.index is None else self.stops[self.at.index]

    @property
    def undoable(self) -> Event | None:
        """The action that undo would take back."""
        return self._done[-1][0] if self._done else None

    @property
    def redoable(self) -> Event | None:
        """The action that redo would put back."""
        return self._taken_back[-1] if self._taken_back else None

    def following(self) -> At:
        """Return where pressing the current imprint would lead."""
        index, stop = self.at.index, self.stop
        if index is None or stop is None:
            return At(None)
        waits = self.waits(index)
        lies = waits is None or not waits.aside
        others = {
            key: each for key, each in self._unpeeled.waiting.items() if key != stop.imprint.id
        }
        return self._after(index, lies, others)

    def pressed(self) -> int:
        """Return how many imprints are pressed."""
        return sum(outcome is Outcome.PRESSED for outcome in self.outcomes.values())

    @property
    def pieces(self) -> int:
        """How many pieces the order has."""
        return len(self._stops.of_piece)

    @property
    def count(self) -> int:
        """How many imprints there are for this press."""
        if self.mine is None:
            return len(self.stops)
        return sum(len(self._stops.of_piece.get(piece, ())) for piece in self.mine)

    def number(self, stop: Stop) -> int:
        """Return which piece of the order of work a stop is about, from 1."""
        return self._stops.number(stop)

    def places_of(self, piece: str) -> Sequence[int]:
        """Return the indices of a piece's stops."""
        return self._stops.of_piece[piece]

    def find(self, text: str) -> int | None:
        """Return the index of the next open stop of a piece, None if there is no such piece.

        `text` is as `Stops.named` takes it.
        """
        places = self._stops.named(text)
        pending = [place for place in places if not self.ended(place)]
        return next(iter(pending or places), None)

    def due_at(self, location: str) -> int | None:
        """Return the index of another imprint of the current piece still to do at a location."""
        if self.stop is None:
            return None
        others = (
            place for place in self._stops.of_piece[self.stop.piece.id] if place != self.at.index
        )
        due = (each for each in others if not self.ended(each) and self.location(each) == location)
        return next(due, None)

    def carried(self, index: int) -> Shift:
        """Return the correction the stop comes with: earlier run and rest-of-batch nudges, mm."""
        return self._corrections.carried(self.stops[index])

    def nudge(self, index: int, more: Shift = Shift()) -> Shift:  # noqa: B008 - a frozen value
        """Return the whole correction of the lay lines at a stop, platen frame, mm and rad.

        `more` is a nudge that may follow: what the correction will be with it.
        """
        return self._corrections.nudge(self.stops[index]) + more

    def collar(self, index: int) -> Shift | None:
        """Return the garment frame's correction at a stop: this piece's, else its batch's."""
        return self._corrections.collar(self.stops[index])

    def location(self, index: int) -> str:
        """Return the location in force: the preset chosen, the earlier run's, or the sheet's."""
        return self._corrections.location(self.stops[index])

    @property
    def elsewhere(self) -> Elsewhere:
        """What the other presses have said."""
        return self._corrections.elsewhere

    def to_set(self, at: At) -> Setting | None:
        """Return what the press is to be set to before a stop goes on; None if to nothing."""
        return None if at.index is None else self.press.to_set(self.stops[at.index], at.step)

    def to_fit(self, at: At) -> str | None:
        """Return the platen that is to be put on before a stop goes on; None if none is."""
        return None if at.index is None else self.press.to_fit(self.stops[at.index], at.step)

    def to_confirm(self, at: At) -> bool:
        """Whether a garment is to be loaded that nobody has looked at yet."""
        if at.index is None or at.step is not Step.LOAD:
            return False
        return self.stops[at.index].piece.id not in self.confirmed

    def prepress(self, index: int) -> PressSettings | None:
        """Return the settings that ask for a pre-press before a stop is laid; None if none do.

        Once for each way in which a garment is threaded, as long as anything asks for that is
        pressed in it.
        """
        if self._unpeeled.prepressed(self.stops[index]):
            return None
        last = index
        while last + 1 < len(self.stops) and self.stays(last + 1):
            last += 1
        asked = [stop.imprint.press for stop in self.stops[index : last + 1]]
        asked = [each for each in asked if each.prepress]
        return max(asked, key=lambda each: each.prepress_dwell or 0.0, default=None)

    def garments_left(self, index: int) -> int | None:
        """Return how many garments like a stop's are left over; None where nobody has counted."""
        stop = self.stops[index]
        return self.stock.garments_left(stop, self._replaced.get(stop.piece.pile, 0))

    def laid_on(self, index: int) -> tuple[Stop, ...]:
        """Return the stops of a piece whose transfers are on the garment: another needs others."""
        found = []
        for place in self._stops.of_piece[self.stops[index].piece.id]:
            pressed = self.outcomes.get(self.stops[place].imprint.id) is Outcome.PRESSED
            if pressed or self.waits(place) or self.at == At(place, Step.PRESS):
                found.append(self.stops[place])
        return tuple(found)

    def waits(self, index: int) -> Waiting | None:
        """Return what is known of a stop that is pressed and not peeled; None if it is not so."""
        return self._unpeeled.waiting.get(self.stops[index].imprint.id)

    def aside(self) -> tuple[int, ...]:
        """Return the stops that were put aside to cool, the first one first, but for the current.

        What was pressed with one of them counts as being under it.
        """
        places = (self._stops.place[imprint] for imprint in self._unpeeled.waiting)
        return tuple(place for place in places if place != self.at.index)

    def aside_of(self, index: int) -> int | None:
        """Return the stop of the same piece that waits for its peel; None if none does."""
        piece = self.stops[index].piece.id
        return next((each for each in self.aside() if self.stops[each].piece.id == piece), None)

    def stays(self, index: int) -> bool:
        """Whether the garment lies for a stop as it lay for the one before it.

        The plan knows only the sheet's locations: for others it is loaded again.
        """
        as_listed = (self.location(i) == self.stops[i].imprint.location for i in (index - 1, index))
        return not self.stops[index].loads and all(as_listed)

    def lies_alike(self, one: int, other: int) -> bool:
        """Whether the garment stays as it lies from one stop to another, by the plan.

        The same piece, face, platen and pad, with nothing between that moves the garment.
        """
        first, last = sorted((one, other))
        return all(self.stays(index) for index in range(first + 1, last + 1))

    def placed_at(self, imprint: str) -> str:
        """Return the location in force for an imprint, by its id."""
        return self.location(self._stops.place[imprint])

    def seconds_left(self) -> float:
        """Return the estimate for what is still open, by the plan's own seconds."""
        return sum(stop.seconds for index, stop in enumerate(self.stops) if not self.ended(index))

    # -- taking events ---------------------------------------------------------------------

    def apply(self, event: Event) -> None:
        """Take one event, in constant time."""
        if event.kind is Kind.UNDONE:
            if self._done and self._done[-1][0].id == event.data["event"]:
                done, back = self._done.pop()
                back()
                self._taken_back.append(done)
                self._go_where_mine()
        elif event.kind is Kind.REDONE:
            if self._taken_back and self._taken_back[-1].id == event.data["event"]:
                self._act(self._taken_back.pop())
        elif event.kind is Kind.CARRIED and event.imprint in self._stops.place:
            self.outcomes[event.imprint] = Outcome(event.data["outcome"])
            self.stock.use(self.stops[self._stops.place[event.imprint]])
            if self.at.index is not None and self.ended(self.at.index):
                self.at = self._after(self.at.index, False, self._unpeeled.waiting)
        elif event.kind in (Kind.CLAIMED, Kind.GIVEN):
            pieces = frozenset(event.data["pieces"])
            mine = self.mine or frozenset()
            self.mine = mine | pieces if event.kind is Kind.CLAIMED else mine - pieces
            if event.kind is Kind.GIVEN:  # another press peels it
                self._unpeeled.forget(pieces)
            self._go_where_mine()
        elif event.kind is Kind.STOCKED:
            self.stock.listed(event.data)
        elif event.kind in (Kind.PAUSED, Kind.WENT_ON, Kind.OPENED):
            self.paused = event.kind is Kind.PAUSED
        elif event.kind in REVOCABLE and event.imprint in self._stops.place:
            self._taken_back.clear()
            self._act(event)
        self._update_press(event)

    def is_mine(self, index: int) -> bool:
        """Whether this press may work a stop; it may work all where no others share the order."""
        return self.mine is None or self.stops[index].piece.id in self.mine

    def said(self) -> Elsewhere:
        """Return what was said here, for the other presses; outcomes apart."""
        return replace(
            self._corrections.said(), used=dict(self.stock.used), replaced=dict(self._replaced),
            stocked=self.stock.said,
        )  # fmt: skip

    def hear(self, elsewhere: Elsewhere) -> None:
        """Take what the other presses have said by now."""
        before, self._corrections.elsewhere = self.elsewhere, elsewhere
        self.stock.hear(elsewhere)
        here = "" if self.stop is None else self.stop.imprint.id
        ended_there = here in elsewhere.ended and here not in before.ended
        if not here or (ended_there and self.at.step is Step.LOAD):
            self._go_where_open()

    def _go_where_mine(self) -> None:
        """Leave a stop that is not, or no more, for this press; begin again where one came."""
        if self.mine is not None and (self.at.index is None or not self.is_mine(self.at.index)):
            self._go_where_open()

    def _go_where_open(self) -> None:
        index = self.at.index
        start = -1 if index is None else index
        self.at = self._after(start, False, self._unpeeled.waiting)

    def _update_press(self, event: Event) -> None:
        """Update what may be on the press: undoing takes back the record, not what was done."""
        loaded = event.kind is Kind.STEPPED and self.at.step is not Step.LOAD
        self.press.asked_for(None if self.stop is None else self.stop.fit, loaded=loaded)
        if event.kind is Kind.OPENED:
            self._unpeeled.opened(event.clock)
            self.press.opened()

    def _act(self, event: Event) -> None:
        at, way_back = self.at, self._way.keep()
        back = getattr(self, f"_on_{event.kind.value}")(event, self._stops.place[event.imprint])

        def take_back() -> None:
            back()
            way_back()
            self.at = at

        self._done.append((event, take_back))

    def _on_stepped(self, event: Event, index: int) -> Callable[[], None]:
        leaves = self.at.index is not None and index != self.at.index
        undo = []
        if leaves:
            undo.append(self._unpeeled.left(self.stops[self.at.index or 0]))
        self._way.jumped(self.at.index if leaves else None, index)
        before = Step.LOAD if leaves else self.at.step
        if event.step is Step.PEEL:
            undo.append(self._laid_on(index))
        undo.append(self._unpeeled.stepped(self.stops[index], event, before))
        self.at = At(index, event.step or Step.LOAD)
        return all_back(*undo)

    def _on_nudged(self, event: Event, index: int) -> Callable[[], None]:
        return self._corrections.nudged(event)

    def _on_collared(self, event: Event, index: int) -> Callable[[], None]:
        return self._corrections.collared(event, self.stops[index])

    def _on_set(self, event: Event, index: int) -> Callable[[], None]:
        return self.press.was_set(self.stops[index])

    def _on_fitted(self, event: Event, index: int) -> Callable[[], None]:
        return self.press.was_fitted(self.stops[index])

    def _on_confirmed(self, event: Event, index: int) -> Callable[[], None]:
        return put(self.confirmed, self.stops[index].piece.id, str(event.data.get("by", "")))

    def _on_preset(self, event: Event, index: int) -> Callable[[], None]:
        if event.step is not None:  # older records stayed in the current step
            self.at = At(index, event.step)
        return self._corrections.preset(event)

    def _on_pressed(self, event: Event, index: int) -> Callable[[], None]:
        undo_frozen = self._corrections.freeze(self.stops[index])
        undo_outcome = put(self.outcomes, event.imprint, Outcome.PRESSED)
        waits = self._unpeeled.waiting.get(event.imprint)
        undo_used = self._laid_on(index)
        undo_waiting = self._unpeeled.done(event.imprint)
        lies = event.step is not Step.LOAD and not (waits is not None and waits.aside)
        self._go_on(index, lies, event.clock)
        return all_back(undo_frozen, undo_outcome, undo_used, undo_waiting)

    def _on_aside(self, event: Event, index: int) -> Callable[[], None]:
        undo_frozen = self._corrections.freeze(self.stops[index])
        undo_used = self._laid_on(index)
        undo_waiting = self._unpeeled.aside(event)
        self._go_on(index, False, event.clock)
        return all_back(undo_frozen, undo_used, undo_waiting)

    def _laid_on(self, index: int) -> Callable[[], None]:
        """Count a stop's transfer as used, once: when its press has closed on it."""
        return (lambda: None) if self.waits(index) else self.stock.use(self.stops[index])

    def _on_wasted(self, event: Event, index: int) -> Callable[[], None]:
        return self.stock.use(self.stops[index])

    def _on_skipped(self, event: Event, index: int) -> Callable[[], None]:
        loaded = self.at.index == index and self.at.step is not Step.LOAD
        on_platen = loaded and event.step is not Step.LOAD
        undo = put(self.outcomes, event.imprint, Outcome.SKIPPED)
        self._go_on(index, on_platen, event.clock)
        return undo

    def _on_spoiled(self, event: Event, index: int) -> Callable[[], None]:
        piece = piece_of(event.imprint)
        undo = [put(self.spoiled_pieces, piece, self.spoiled_pieces.get(piece, 0) + 1)]
        if event.data.get("used") or self.at == At(index, Step.PRESS):
            undo.append(self._laid_on(index))
        if event.data.get("replaced"):
            pile = self.stops[index].piece.pile
            undo.append(put(self._replaced, pile, self._replaced.get(pile, 0) + 1))
        undo.append(take(self.confirmed, piece))
        for place in self._stops.of_piece[piece]:
            imprint = self.stops[place].imprint.id
            undo.append(self._unpeeled.replaced(self.stops[place]))
            if event.data.get("replaced"):
                # A new garment: everything on it is to be done again.
                undo.append(take(self.outcomes, imprint))
            else:
                undo.append(put(self.outcomes, imprint, Outcome.SPOILED))
        if event.data.get("replaced"):
            places = self._stops.of_piece[piece]
            undo.append(self._corrections.forget([self.stops[place] for place in places]))
            self.at = At(index)
        else:
            self._go_on(index, False, event.clock)
        return all_back(*undo)

    def _go_on(self, index: int, on_platen: bool, clock: float) -> None:
        """Go on from a stop that has ended; back from a jump nothing is to come back any more."""
        waiting = self._unpeeled.waiting
        behind = self._way.next_open(index, waiting)
        self.at = self._after(index, on_platen, waiting, clock)
        if self.at.step is Step.PEEL:
            self._way.peels_before(behind)
        else:
            self._way.left(index, self.at.index)

    def ended(self, index: int) -> bool:
        """Whether nothing is left to do at a stop, for this press."""
        imprint = self.stops[index].imprint.id
        return (
            imprint in self.outcomes or imprint in self.elsewhere.ended or not self.is_mine(index)
        )

    def _after(
        self,
        index: int,
        on_platen: bool,
        waiting: Mapping[str, Waiting],
        clock: float | None = None,
    ) -> At:
        """Return where to go on behind a stop, `clock` s into the session.

        The next open stop, unless a garment that was put aside is to be peeled before; `waiting`
        are the imprints with their carriers on.
        """
        place = self._way.next_open(index, waiting)
        if place is not None and place == index + 1 and on_platen and self.stays(place):
            return At(place, Step.LAY)
        back = self._way.to_peel(place, waiting, clock)
        return At(place) if back is None else At(back, Step.PEEL)
