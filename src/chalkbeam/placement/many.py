"""Placing a whole order: each different imprint is worked out once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from calibration.refusal import Refusal
from chalkbeam.artwork import Artwork
from chalkbeam.garments import Garment
from chalkbeam.locations import Location
from chalkbeam.placement.engine import place
from chalkbeam.placement.solve import Lines
from chalkbeam.placement.values import Placement


@dataclass(frozen=True, eq=False)
class Request:
    """One imprint to place; `extra` and `turn` as in `place`."""

    garment: Garment
    location: Location
    artwork: Artwork
    extra: Lines | None = None
    turn: float | None = None


@dataclass(eq=False)
class Placer:
    """Places imprints and caches the results.

    Garments, locations and artworks are told apart by identity: `garment` and
    `location` return the same object for the same thing, and the caller reads each
    artwork once. Extra lines are told apart by value. What was placed stays in memory
    as long as the placer.
    """

    _known: dict[tuple[object, ...], tuple[Request, Placement | Refusal]] = field(
        default_factory=dict, init=False, repr=False
    )

    def __len__(self) -> int:
        """Return how many different imprints it has worked out."""
        return len(self._known)

    def place(self, request: Request) -> Placement | Refusal:
        """Return the placement, or the refusal that says why there is none."""
        key = (
            id(request.garment),
            id(request.location),
            id(request.artwork),
            tuple((request.extra or {}).items()),
            request.turn,
        )
        known = self._known.get(key)
        if known is None:
            # Stored with its answer, so that no new object can get its objects' identity.
            known = self._known[key] = (request, _answer(request))
        return known[1]

    def place_all(self, requests: Iterable[Request]) -> Iterator[Placement | Refusal]:
        """Yield the answer to each request in turn."""
        return map(self.place, requests)


def _answer(request: Request) -> Placement | Refusal:
    try:
        return place(
            request.garment, request.location, request.artwork, extra=request.extra,
            turn=request.turn,
        )  # fmt: skip
    except Refusal as refusal:
        return refusal
