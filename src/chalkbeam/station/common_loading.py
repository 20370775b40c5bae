"""One way to lay all sizes of a run, so that its hundredth piece matches its first.

Each size has a loading of its own that is best for it. Garments are laid by the same marks again
and again, so one that is as good for all of them goes before: sizes differ where they must.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import TypeVar

from calibration.refusal import Refusal
from chalkbeam.orders.pieces import ArtKind, Imprint, Piece
from chalkbeam.placement import Placement
from chalkbeam.placement.clearance import ink_shape, moved
from chalkbeam.placement.loading import Loading, looks_of
from chalkbeam.placement.pressed import MARGIN, under_head
from chalkbeam.placement.seeker import OFF_LENGTH, OFF_MIDDLE, OVERHANG

Member = TypeVar("Member", bound=Hashable)

FLAT = ("seam", "side_fold")
"""Ridges that are usual anywhere under the head."""
ALIKE = 0.5
"""Loadings that differ by less are one, mm."""


def as_good(placement: Placement, laid: Loading, own: Loading) -> bool:
    """Whether a piece lies as well as in the loading that is best for it alone.

    No more to look at under the head, nothing there that is higher than a seam and was not before,
    threaded as that one, its sheet no nearer the platen's edge than it needs be.
    """
    if looks_of(laid) > looks_of(own) or laid.threaded != own.threaded:
        return False
    if not _high(placement, laid) <= _high(placement, own):
        return False
    if laid.platen.pad is not None:
        return True
    return _room(placement, laid) >= min(_room(placement, own), MARGIN) - ALIKE


def _high(placement: Placement, loading: Loading) -> set[str]:
    """Return what is under the head, flat seams apart."""
    thickness, pose = placement.garment.thickness, loading.platen_from_garment
    ink = moved(ink_shape(placement.artwork), pose @ placement.garment_from_art)
    found = under_head(placement.face, thickness, loading.platen, pose, ink)
    return {ridge.name for ridge, _ in found if ridge.kind not in FLAT}


def _room(placement: Placement, loading: Loading) -> float:
    """Return how far the sheet stays inside the platen's edge, mm; negative if it does not."""
    pose = loading.platen_from_garment @ placement.garment_from_art
    corners = pose.apply(placement.artwork.sheet.corners())
    face = loading.platen.face
    x, y = abs(corners).max(axis=0)
    return float(min(face.width / 2 - x, face.depth / 2 - y))


def common(
    own: Mapping[Member, Loading],
    placement_of: Callable[[Member], Placement],
    lay: Callable[[Member, Loading], Loading],
) -> dict[Member, Loading]:
    """Return the loading to lay each member by: few different ones, the usual one before others.

    Parameters
    ----------
    own : mapping of member to Loading
        What is best for each alone, on one platen.
    placement_of, lay : callable
        A member's placement; how it lies by another's loading, which may refuse.
    """
    found: dict[Member, Loading] = {}
    open_ = list(own)
    candidates = sorted(_different([*map(_usual, own.values()), *own.values()]), key=_unusual)

    def served(candidate: Loading) -> list[Member]:
        members = []
        for member in open_:
            with suppress(Refusal):
                if as_good(placement_of(member), lay(member, candidate), own[member]):
                    members.append(member)
        return members

    while open_:
        best: list[Member] = []
        leading = own[open_[0]]
        for candidate in candidates:
            members = served(candidate)
            if len(members) > len(best):
                best, leading = members, candidate
            if len(best) == len(open_):
                break
        if not best:  # what is best for one serves at least that one, but for rounding
            break
        found |= dict.fromkeys(best, leading)
        open_ = [member for member in open_ if member not in found]
    return found


def _different(loadings: Iterable[Loading]) -> list[Loading]:
    found: dict[tuple[int, ...], Loading] = {}
    for each in loadings:
        pad = each.platen.pad
        where = (each.overhang, each.aside, *(() if pad is None else pad.centre))
        found.setdefault(tuple(round(value / ALIKE) for value in where), each)
    return list(found.values())


def _usual(loading: Loading) -> Loading:
    """Return a bare platen's usual loading; of one with a pad its own."""
    padded = loading.platen.pad is not None
    return loading if padded else replace(loading, overhang=OVERHANG, aside=0.0)


def _unusual(loading: Loading) -> float:
    """Return how far a loading is from the usual one, as the search weighs it."""
    return OFF_LENGTH * abs(loading.overhang - OVERHANG) + OFF_MIDDLE * abs(loading.aside)


Wanted = tuple[Piece, Imprint]
"""An imprint of an order on its piece."""


def of_a_kind(order: Iterable[Wanted], piece: Piece, imprint: Imprint) -> list[Wanted]:
    """Return the imprints of an order that one loading may serve with another, each once.

    On one garment's sizes, of one location and pad; each artwork once a size, of names and numbers
    the longest and the shortest.
    """
    once: dict[Hashable, Wanted] = {}
    letters: dict[Hashable, list[Wanted]] = {}
    for other, each in order:
        if (other.style, other.fit, each.location, each.padding) != (
            piece.style, piece.fit, imprint.location, imprint.padding,
        ) or each.overhang is not None or each.aside is not None:  # fmt: skip
            continue
        if each.art.kind is ArtKind.FILE:
            key = (other.size, each.art, each.width, each.height, each.turn)
            once.setdefault(key, (other, each))
        else:
            letters.setdefault((other.size, each.art.kind), []).append((other, each))
    return [*once.values(), *(each for those in letters.values() for each in _ends(those))]


def _ends(those: Sequence[Wanted]) -> list[Wanted]:
    def length(each: Wanted) -> int:
        return len(each[1].art.text)

    longest, shortest = max(those, key=length), min(those, key=length)
    return [longest] if longest is shortest else [longest, shortest]
