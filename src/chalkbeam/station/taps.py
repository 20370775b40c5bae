"""Taps at a page: keys from afar, each asked for once and only by who saw what it is about.

A garment lies on a hot press: of two people who tap at the same moment only one may step it, and
a tap that the network brings twice must not act twice. So every tap bears an id of its own and
the number of the state that its sender saw. What a camera at the press says meanwhile changes no
number: keys mean what they meant.
"""

from __future__ import annotations

import secrets
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import Enum
from typing import TYPE_CHECKING

from overlay.window.inputs import Key

if TYPE_CHECKING:  # who sends taps needs no station
    from chalkbeam.station.controller import StationController

REMEMBERED = 512
"""Taps whose answers are kept, for a repeat to be told the same."""


class Taken(Enum):
    """What became of a tap."""

    DONE = "done"
    STALE = "stale"
    """Its sender had not seen the state that is now: nothing was done."""


@dataclass(frozen=True)
class Tap:
    """Keys asked for from afar.

    Attributes
    ----------
    id : str
        Chosen by the sender, at random.
    seen : str
        Number of the state it saw.
    keys : tuple of Key
        Without a time: they are typed when they arrive.
    """

    id: str
    seen: str
    keys: tuple[Key, ...]


@dataclass(frozen=True)
class TapAnswer:
    """What became of a tap, and the number of the state after it."""

    id: str
    taken: Taken
    number: str


class Taps:
    """Takes taps to a controller; its numbers are of this run of the program alone."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock, self._mark = clock, secrets.token_hex(4)
        self._answers: OrderedDict[str, TapAnswer] = OrderedDict()

    def number(self, station: StationController) -> str:
        """Return the number of the state that a controller is in."""
        return f"{self._mark}.{station.meaning}"

    def take(self, station: StationController, tap: Tap) -> TapAnswer:
        """Do what a tap asks for, unless it was done or its sender saw something else."""
        known = self._answers.get(tap.id)
        if known is not None:
            return known
        taken = Taken.STALE
        if tap.seen == self.number(station):
            taken = Taken.DONE
            for key in tap.keys:
                station.take(replace(key, at=self._clock()))
        answer = TapAnswer(tap.id, taken, self.number(station))
        self._answers[tap.id] = answer
        while len(self._answers) > REMEMBERED:
            self._answers.popitem(last=False)
        return answer
