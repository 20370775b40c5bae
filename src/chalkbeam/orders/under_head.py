"""Which prints of a piece the head closes on as another one is pressed, by where they lie."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import replace

import shapely

from calibration.refusal import Refusal
from chalkbeam.locations import location as find_location
from chalkbeam.orders.pieces import ArtKind, Imprint, Piece
from chalkbeam.orders.place_imprint import Lay, place_imprint
from chalkbeam.orders.second_heat import Covers
from chalkbeam.placement import Placement
from chalkbeam.placement.clearance import ink_shape, moved
from chalkbeam.placement.many import Placer
from chalkbeam.placement.pressed import TRACE

LocationOf = Callable[[Imprint], str]


def by_where_they_lie(
    lay: Lay, location_of: LocationOf = lambda imprint: imprint.location
) -> Covers:
    """Return what tells whether a print is under the head: each is laid as it would be alone.

    What cannot be placed or laid counts as under the head, if it is on the same face. Names and
    numbers of one kind and size lie alike. Remembers its answers.

    Parameters
    ----------
    lay : Lay
        See `chalkbeam.orders.place_imprint.Lay`.
    location_of : callable
        Imprint to the name of the location in force for it.
    """
    placer = Placer()
    known: dict[Hashable, bool] = {}

    def covers(piece: Piece, one: Imprint, other: Imprint) -> bool:
        if one.follows == other.id or other.follows == one.id:
            return True  # laid so that both are pressed
        alike = (piece.style, piece.size, piece.fit, *(_alike(each) for each in (one, other)))
        if alike not in known:
            known[alike] = _covers(piece, one, other)
        return known[alike]

    def _alike(imprint: Imprint) -> Imprint:
        art = imprint.art
        if art.kind is not ArtKind.FILE:
            art = replace(art, text=art.kind.value)
        follows = imprint.follows and "another"
        return replace(imprint, id="", follows=follows, location=location_of(imprint), art=art)

    def _covers(piece: Piece, one: Imprint, other: Imprint) -> bool:
        try:
            if len({find_location(location_of(each)).face for each in (one, other)}) > 1:
                return False
            print_ = place_imprint(placer, piece, one, location_of)
            pressed = place_imprint(placer, piece, other, location_of)
            return _under(print_, pressed, lay, other)
        except Refusal:  # told where the order is checked
            return True

    return covers


def _under(print_: Placement, pressed: Placement, lay: Lay, imprint: Imprint) -> bool:
    loading = lay(pressed, imprint)
    edge = loading.platen_from_garment.inverse().apply(loading.platen.pressed())
    ink = moved(ink_shape(print_.artwork), print_.garment_from_art)
    return bool(shapely.Polygon(edge).intersection(ink).area > TRACE)
