"""What is pressed and waits for its peel or its second press; and what was pre-pressed."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace

from chalkbeam.orders.order_of_work import Stop
from chalkbeam.orders.pieces import piece_of
from chalkbeam.record.events import Event, Step
from chalkbeam.record.put_back import all_back, put, take


@dataclass(frozen=True)
class Waiting:
    """A pressed imprint with its carrier on.

    Attributes
    ----------
    since : float
        When the press opened, s on the session's clock; a later session counts from its start.
    wait : float or None
        Seconds that it cools; None where nobody says.
    aside : bool
        Whether its garment was taken off for the next one.
    laid : str
        Id of what was laid beside it and pressed with it.
    """

    since: float
    wait: float | None
    aside: bool = False
    laid: str = ""

    @property
    def cools_until(self) -> float | None:
        """When it has cooled, s on the session's clock; None where nobody says."""
        return None if self.wait is None else self.since + self.wait


class Unpeeled:
    """The part of a run's progress that is neither open nor done.

    Attributes
    ----------
    waiting : dict of imprint id to Waiting
        In the order in which they were pressed.
    """

    def __init__(self) -> None:
        self.waiting: dict[str, Waiting] = {}
        self._prepressed: dict[str, bool] = {}

    def prepressed(self, stop: Stop) -> bool:
        """Whether a stop's garment was pre-pressed as it is threaded for it."""
        return _way(stop) in self._prepressed

    def stepped(self, stop: Stop, event: Event, before: Step) -> Callable[[], None]:
        """Take a step of a stop, from another one; return how to take it back."""
        imprint = stop.imprint
        if event.step is Step.PEEL and imprint.id not in self.waiting:
            laid = str(event.data.get("laid", ""))
            waits = Waiting(event.clock, imprint.press.cooling_wait, laid=laid)
            return put(self.waiting, imprint.id, waits)
        if event.step is Step.LAY and before is Step.PREPRESS:
            return put(self._prepressed, _way(stop), True)
        return lambda: None

    def left(self, stop: Stop) -> Callable[[], None]:
        """Take it that another garment comes on the press before a waiting one is done."""
        waits = self.waiting.get(stop.imprint.id)
        if waits is None:
            return lambda: None
        return put(self.waiting, stop.imprint.id, replace(waits, aside=True))

    def aside(self, event: Event) -> Callable[[], None]:
        """Put an imprint aside."""
        before = self.waiting.get(event.imprint)
        wait, laid = event.data.get("wait"), str(event.data.get("laid", ""))
        since = event.clock if before is None else before.since
        waits = Waiting(since, None if wait is None else float(wait), True, laid)
        return put(self.waiting, event.imprint, waits)

    def done(self, imprint: str) -> Callable[[], None]:
        """Take it that an imprint waits no more."""
        return take(self.waiting, imprint)

    def replaced(self, stop: Stop) -> Callable[[], None]:
        """Take it that a fresh garment, or none, comes in place of a stop's."""
        return all_back(
            take(self.waiting, stop.imprint.id), take(self._prepressed, _way(stop))
        )  # fmt: skip

    def forget(self, pieces: Collection[str]) -> None:
        """Take it that another press sees to these pieces."""
        self.waiting = {
            name: each for name, each in self.waiting.items() if piece_of(name) not in pieces
        }

    def opened(self, at: float) -> None:
        """Count the time that everything cools from now on: nobody knows how long it was."""
        self.waiting = {name: replace(each, since=at) for name, each in self.waiting.items()}


def _way(stop: Stop) -> str:
    return f"{stop.piece.id}/{stop.fit.loading}"
