"""Where a run goes on: the next open stop, what was left by a jump, garments that cooled."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping

from chalkbeam.orders.order_of_work import Stop
from chalkbeam.orders.pieces import piece_of
from chalkbeam.orders.settings import Setting
from chalkbeam.record.stops import Stops
from chalkbeam.record.unpeeled import Waiting


class WayThrough:
    """The part of a run's progress that knows the way through the order.

    Parameters
    ----------
    stops : Stops
    ended : callable
        Whether nothing is left to do at a stop, by its index.
    """

    def __init__(self, stops: Stops, ended: Callable[[int], bool]) -> None:
        self._stops, self._ended = stops, ended
        self._jumped_from: int | None = None
        self._goes_on_at: int | None = None  # after a garment that came back to be peeled

    def keep(self) -> Callable[[], None]:
        """Return how to put back what is known by now."""
        jumped_from, goes_on_at = self._jumped_from, self._goes_on_at

        def back() -> None:
            self._jumped_from, self._goes_on_at = jumped_from, goes_on_at

        return back

    def jumped(self, start: int | None, to: int) -> None:
        """Take it that a step led to a stop, away from `start`; None where it stayed there."""
        if start is not None:
            self._goes_on_at = None
            if self._jumped_from is None:
                self._jumped_from = start
        if to == self._jumped_from:
            self._jumped_from = None

    def peels_before(self, behind: int | None) -> None:
        """Take it that a garment that waited comes back; `behind` is still to come after it."""
        self._goes_on_at = behind

    def left(self, index: int, to: int | None) -> None:
        """Take it that a stop ended and `to` follows; back from a jump nothing is to come back."""
        if not self._same_piece(index, index + 1) or to != index + 1:
            self._jumped_from = self._goes_on_at = None

    def next_open(self, index: int, waiting: Mapping[str, Waiting]) -> int | None:
        """Return the next open stop behind `index`, else the first one left open before it.

        After a jump, once the piece jumped to lies there no more, what was left comes back. A
        piece whose carrier is on waits.
        """
        first = index + 1
        if self._goes_on_at is not None and not self._same_piece(index, first):
            first = self._goes_on_at
        jumped_from = self._jumped_from
        if jumped_from is not None and not self._same_piece(index, first):
            first = jumped_from
        cooling = {piece_of(imprint) for imprint in waiting}
        for place in itertools.chain(range(first, len(self._stops.all)), range(first)):
            if not self._ended(place) and self._stops.all[place].piece.id not in cooling:
                return place
        return None

    def to_peel(
        self, following: int | None, waiting: Mapping[str, Waiting], clock: float | None
    ) -> int | None:
        """Return the stop put aside that is to be peeled before the next garment is loaded.

        The first that has cooled, `clock` s into the session; where the press is to be set
        otherwise for the next garment, or there is none, the first that is waited for.
        """
        for imprint, waits in waiting.items():
            place, until = self._stops.place[imprint], waits.cools_until
            if following is None or (clock is not None and until is not None and until <= clock):
                return place
            last, other = self._stops.all[place], self._stops.all[following]
            if last.imprint.press.second and _dialled(last) != _dialled(other):
                return place
        return None

    def _same_piece(self, index: int, following: int) -> bool:
        """Whether the next stop is open and of the same piece."""
        if following >= len(self._stops.all) or self._ended(following):
            return False
        return self._stops.all[index].piece.id == self._stops.all[following].piece.id


def _dialled(stop: Stop) -> tuple[str, ...]:
    """Return what takes time to change at the press: temperature, pressure, platen and pad."""
    setting = Setting.of(stop.imprint.press) or Setting()
    return setting.temperature, setting.pressure, stop.fit.platen, stop.fit.pad
