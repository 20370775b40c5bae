"""Where imprints lie by what was said at the press: nudges, real collars, other locations."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from chalkbeam.orders.order_of_work import Stop
from chalkbeam.placement.shift import Shift
from chalkbeam.record.elsewhere import Elsewhere
from chalkbeam.record.events import Event
from chalkbeam.record.put_back import all_back, put, take


class Corrections:
    """The part of a run's progress that says where imprints lie.

    Parameters
    ----------
    carried : mapping of imprint id to Shift, optional
        Nudges brought over from an earlier run (a reorder).
    places : mapping of imprint id to str, optional
        Locations brought over likewise.

    Attributes
    ----------
    elsewhere : Elsewhere
        What the other presses have said.
    """

    def __init__(
        self, carried: Mapping[str, Shift] | None = None, places: Mapping[str, str] | None = None
    ) -> None:
        self.elsewhere = Elsewhere()
        self._earlier = dict(carried or {})
        self._places = dict(places or {})
        self._nudges: dict[str, Shift] = {}
        self._batch_nudges: dict[str, Shift] = {}
        self._frozen: dict[str, Shift] = {}
        self._collars: dict[str, Shift] = {}
        self._presets: dict[str, str] = {}

    # -- reading ---------------------------------------------------------------------------

    def carried(self, stop: Stop) -> Shift:
        """Return the correction a stop comes with: earlier run and rest-of-batch nudges, mm."""
        batch = self._frozen.get(stop.imprint.id)
        return self._earlier.get(stop.imprint.id, Shift()) + (batch or self._of_batch(stop))

    def nudge(self, stop: Stop) -> Shift:
        """Return the whole correction of the lay lines at a stop, platen frame, mm and rad."""
        imprint = stop.imprint.id
        there = self.elsewhere.nudges.get(imprint, Shift())  # a piece taken over in the middle
        return self.carried(stop) + (there + self._nudges.get(imprint, Shift()))

    def collar(self, stop: Stop) -> Shift | None:
        """Return the garment frame's correction at a stop: this piece's, else its batch's."""
        for key in (_way(stop), f"batch {stop.batch}"):
            for said in (self._collars, self.elsewhere.collars):
                if key in said:
                    return said[key]
        return None

    def location(self, stop: Stop) -> str:
        """Return the location in force: the preset chosen, the earlier run's, or the sheet's."""
        imprint = stop.imprint
        usual = self._places.get(imprint.id, imprint.location)
        usual = self.elsewhere.places.get(imprint.id, usual)
        return self._presets.get(imprint.id, usual)

    def said(self) -> Elsewhere:
        """Return what was said here, for the other presses; outcomes apart."""
        return Elsewhere(
            nudges=dict(self._nudges), batch_nudges=dict(self._batch_nudges),
            collars=dict(self._collars), places=dict(self._presets),
        )  # fmt: skip

    def _of_batch(self, stop: Stop) -> Shift:
        """Return what was moved for a stop's batch, here and at other presses."""
        there = self.elsewhere.batch_nudges.get(stop.batch, Shift())
        return self._batch_nudges.get(stop.batch, Shift()) + there

    # -- taking events; each returns how to take it back -----------------------------------

    def nudged(self, event: Event) -> Callable[[], None]:
        """Move the lay lines of an imprint, or of its batch."""
        shift = Shift.of(event.data)
        batch = str(event.data.get("batch", ""))
        if batch:
            return put(self._batch_nudges, batch, self._batch_nudges.get(batch, Shift()) + shift)
        return put(self._nudges, event.imprint, self._nudges.get(event.imprint, Shift()) + shift)

    def collared(self, event: Event, stop: Stop) -> Callable[[], None]:
        """Take where the real collar is."""
        batch = str(event.data.get("batch", ""))
        key = f"batch {batch}" if batch else _way(stop)
        return put(self._collars, key, Shift.of(event.data))

    def preset(self, event: Event) -> Callable[[], None]:
        """Take another location for an imprint."""
        return put(self._presets, event.imprint, str(event.data["location"]))

    def freeze(self, stop: Stop) -> Callable[[], None]:
        """Keep a stop as it is: later nudges of its batch must not change what is pressed."""
        return put(self._frozen, stop.imprint.id, self._of_batch(stop))

    def forget(self, stops: Sequence[Stop]) -> Callable[[], None]:
        """Forget what was said of stops whose garment is replaced, but for their batches."""
        undo = []
        for stop in stops:
            undo.append(take(self._frozen, stop.imprint.id))
            undo.append(take(self._nudges, stop.imprint.id))
            undo.append(take(self._collars, _way(stop)))
        return all_back(*undo)


def _way(stop: Stop) -> str:
    return f"{stop.piece.id}/{stop.fit.loading}"
