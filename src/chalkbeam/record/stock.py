"""What there is of transfers and garments, and what a run has used of it so far."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from chalkbeam.orders.order_of_work import Stop
from chalkbeam.orders.printed import PrintedTransfer
from chalkbeam.record.elsewhere import Elsewhere
from chalkbeam.record.put_back import put


class Stock:
    """The part of a run's progress that counts transfers and garments, over all presses.

    Only what the shop has listed is counted; of all else nothing is known.

    Attributes
    ----------
    transfers, garments : mapping of str to int
        How many there were for the order: by `PrintedTransfer.key`, and by pile.
    words : mapping of str to str
        What each transfer is called.
    taken_from : mapping of str to str
        The sheet, and the number on it, that an imprint's transfer is cut from.
    used : dict of str to int
        Transfers used at this press, by key.
    said : mapping
        What the shop has listed at this press (`Kind.STOCKED`); empty for nothing.
    """

    def __init__(self, stops: Sequence[Stop]) -> None:
        self._stops = stops
        self.transfers: Mapping[str, int] = {}
        self.garments: Mapping[str, int] = {}
        self.words: Mapping[str, str] = {}
        self.taken_from: Mapping[str, str] = {}
        self.used: dict[str, int] = {}
        self.said: Mapping[str, Any] = {}
        self._elsewhere = Elsewhere()
        self._keys: dict[str, str] = {}
        self._wanted: Counter[str] | None = None

    def listed(self, data: Mapping[str, Any]) -> None:
        """Take what the shop has listed here; see `Kind.STOCKED`."""
        self.said = data
        self._take(data)

    def hear(self, elsewhere: Elsewhere) -> None:
        """Take what was used at other presses; and their list, where none was given here."""
        self._elsewhere = elsewhere
        if elsewhere.stocked and not self.said:
            self._take(elsewhere.stocked)

    def _take(self, data: Mapping[str, Any]) -> None:
        self.transfers = {str(key): int(count) for key, count in data["transfers"].items()}
        self.garments = {str(pile): int(count) for pile, count in data["garments"].items()}
        self.words = {str(key): str(words) for key, words in data["words"].items()}
        self.taken_from = {str(name): str(words) for name, words in data["sheets"].items()}

    def use(self, stop: Stop) -> Callable[[], None]:
        """Take it that a stop's transfer is used up; return how to take that back."""
        key = self._key(stop)
        return put(self.used, key, self.used.get(key, 0) + 1)

    def transfers_left(self, stop: Stop) -> int | None:
        """Return how many transfers like a stop's are left; None where nobody has listed them."""
        key = self._key(stop)
        there = self.transfers.get(key)
        used = self.used.get(key, 0) + self._elsewhere.used.get(key, 0)
        return None if there is None else there - used

    def garments_left(self, stop: Stop, replaced: int) -> int | None:
        """Return how many garments like a stop's are left for spoiled ones.

        `replaced` is how many of them took the place of others here already. None where nobody
        has counted them.
        """
        pile = stop.piece.pile
        replaced += self._elsewhere.replaced.get(pile, 0)
        if self._wanted is None:
            piles = {each.piece.id: each.piece.pile for each in self._stops}
            self._wanted = Counter(piles.values())
        there = self.garments.get(pile)
        return None if there is None else there - self._wanted[pile] - replaced

    def _key(self, stop: Stop) -> str:
        name = stop.imprint.id
        if name not in self._keys:
            self._keys[name] = PrintedTransfer.of(stop.piece, stop.imprint).key
        return self._keys[name]
