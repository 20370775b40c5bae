"""Which names and numbers of an order are laid together and pressed once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import NamedTuple

from calibration.refusal import Refusal
from chalkbeam.orders.pieces import Imprint, Piece
from chalkbeam.orders.place_imprint import place_imprint
from chalkbeam.placement import Placement
from chalkbeam.placement.loading import Loading, load
from chalkbeam.placement.many import Placer
from chalkbeam.placement.platens import Platen, platens


class PressedOnce(NamedTuple):
    """How many pieces with a number under a name are pressed once, and how many twice."""

    once: int
    twice: int


def loaded_together(
    one: Placement, other: Placement, platen: Platen
) -> tuple[Loading, Loading] | None:
    """Return how a garment lies on a platen so that two prints are pressed at once.

    None where no way of lying that one of them would have alone takes the other as well.
    """
    for first, second in ((one, other), (other, one)):
        try:
            lead = load(first, platen)
            rest = load(second, platen, overhang=lead.overhang, aside=lead.aside)
        except Refusal:
            continue
        return (lead, rest) if first is one else (rest, lead)
    return None


def together_on(one: Placement, other: Placement) -> list[str]:
    """Return the platens on file on which two prints of a garment are pressed at once."""
    found = ((name, loaded_together(one, other, each)) for name, each in platens().items())
    return [name for name, loadings in found if loadings is not None]


def pressed_once(pieces: Iterable[Piece], on: Mapping[str, Platen] | None = None) -> PressedOnce:
    """Return how many pieces are pressed once for name and number, on the platens on file.

    One piece of each garment and size stands for the others.
    """
    placer = Placer()
    plates = list((platens() if on is None else on).values())
    answers: dict[tuple[str, str, str], bool] = {}
    once = twice = 0
    for piece in pieces:
        pair = _name_and_number(piece)
        if pair is None:
            continue
        key = (piece.style, piece.size, piece.fit)
        if key not in answers:
            answers[key] = _goes(placer, piece, pair, plates, lambda each: each.location)
        once, twice = once + answers[key], twice + (not answers[key])
    return PressedOnce(once, twice)


def _name_and_number(piece: Piece) -> tuple[Imprint, Imprint] | None:
    for number in piece.imprints:
        if number.follows:
            name = next(each for each in piece.imprints if each.id == number.follows)
            return (name, number) if name.press == number.press else None
    return None


def _goes(
    placer: Placer,
    piece: Piece,
    pair: tuple[Imprint, Imprint],
    plates: list[Platen],
    location_of: Callable[[Imprint], str],
) -> bool:
    try:
        one, other = (place_imprint(placer, piece, each, location_of) for each in pair)
    except Refusal:  # told where the order is checked
        return False
    return any(loaded_together(one, other, plate) is not None for plate in plates)
