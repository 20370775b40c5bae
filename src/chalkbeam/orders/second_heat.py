"""Finished prints and the heat of later ones: the order of a piece's imprints that spares them.

Common practice, no source: a finished print that comes under the head again may stick to what lies
on it, shift, or fade, the more so where it is hotter than what the print was pressed at; one that
its supplier has pressed a second time can stand it best.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from chalkbeam.orders.pieces import Imprint, Piece, PressSetup
from chalkbeam.orders.settings import Setting

Covers = Callable[[Piece, Imprint, Imprint], bool]
"""Whether the print of a piece's first imprint lies under the head as its second is pressed."""

MOST_TRIED = 5
"""Parts of a piece whose every order is tried; of more, each time the one that suffers least."""

_BARE_TIME = re.compile(r"\d+(?:[.,]\d+)?\s*[^\W\d_]*\.?")
"""A second press of which only the time is said, and no cover."""

_STANDS_IT, _SUFFERS, _SPOILS = 1, 2, 6


@dataclass(frozen=True)
class Heated:
    """A print that was finished, under the head once more.

    Attributes
    ----------
    print_, by : Imprint
        The finished one, and the one that is pressed then.
    either : bool
        Whether it may as well be the other way round: the order of work decides.
    """

    print_: Imprint
    by: Imprint
    either: bool = False

    @property
    def hotter(self) -> bool:
        """Whether the press is hotter than what the print was pressed at."""
        own, other = Setting.of(self.print_.press), Setting.of(self.by.press)
        if own is None or other is None or own.celsius is None or other.celsius is None:
            return False
        return other.celsius > own.celsius + 0.5

    @property
    def stands_it(self) -> bool:
        """Whether the print's own sheet has it pressed a second time, under a cover it names."""
        second = self.print_.press.second
        return bool(second) and not _BARE_TIME.fullmatch(second.strip())

    def words(self, location: str, by: str, planned: bool = False) -> str:
        """Return what to do about it, a sentence; at which locations the two are.

        `planned`: it is told of an order of work, which may be the sheet's own.
        """
        first, then = (each.replace("-", " ").replace("_", " ") for each in (location, by))
        if self.either:
            return (
                f"No order of work keeps {first} and {then} out of each other's heat: cover the "
                "one that is finished, as its supplier's sheet says."
            )
        said = f"No order of work keeps the finished {first} out of the heat of {then}"
        if planned:
            said = f"The finished {first} is under the head once more with {then}"
        if self.hotter:
            own, other = Setting.of(self.print_.press), Setting.of(self.by.press)
            if own is not None and other is not None:
                said += f", which is hotter ({other.temperature}, its own {own.temperature})"
        if self.stands_it:
            return f"{said}: cover it as for its own second press ({self.print_.press.second})."
        return f"{said}: cover it as its supplier's sheet says."


def of_one_loading(choose: Callable[[Piece, Imprint], PressSetup]) -> Covers:
    """Return what holds where nobody knows how prints lie: all of one loading are under the head.

    A garment threaded another way has them below, beside or off the platen.
    """

    def covers(piece: Piece, one: Imprint, other: Imprint) -> bool:
        return choose(piece, one).loading == choose(piece, other).loading

    return covers


def harm(piece: Piece, one: Sequence[Imprint], other: Sequence[Imprint], covers: Covers) -> int:
    """Return how much finished prints suffer as others are pressed; 0: none comes under the head.

    A print that cannot stand the heat counts more than several that can.
    """
    worst = 0
    for print_, by in itertools.product(one, other):
        if not covers(piece, print_, by):
            continue
        heated = Heated(print_, by)
        worst += _SPOILS if heated.hotter else _STANDS_IT if heated.stands_it else _SUFFERS
    return worst


def parts_of(imprints: Iterable[Imprint]) -> list[tuple[Imprint, ...]]:
    """Return a piece's imprints, each that is placed by another right behind that one."""
    parts: dict[str, list[Imprint]] = {}
    head: dict[str, str] = {}
    for imprint in imprints:
        first = head.get(imprint.follows or "", imprint.id)
        head[imprint.id] = first
        parts.setdefault(first, []).append(imprint)
    return [tuple(part) for part in parts.values()]


def firsts_of(piece: Piece, covers: Covers) -> frozenset[tuple[str, str]]:
    """Return which parts of a piece are to be pressed before which others, by their first ids.

    Only where that spares a print something: an order of work that keeps to these pairs lets
    finished prints suffer as little as any.
    """
    if len(piece.imprints) < 2:
        return frozenset()
    order, harms = _least(piece, covers)
    pairs = itertools.combinations(order, 2)
    return frozenset(
        (a[0].id, b[0].id) for a, b in pairs if harms[a[0].id, b[0].id] < harms[b[0].id, a[0].id]
    )


def heated_anyway(piece: Piece, covers: Covers) -> list[Heated]:
    """Return the finished prints of a piece that come under the head once more in any case.

    In the order that spares them most; what is laid together with what it follows is left out.
    """
    order, harms = _least(piece, covers)
    return [
        Heated(print_, by, harms[one[0].id, other[0].id] == harms[other[0].id, one[0].id])
        for one, other in itertools.combinations(order, 2)
        for print_, by in itertools.product(one, other)
        if covers(piece, print_, by)
    ]


def in_turn(
    keys: Sequence[str], firsts: Iterable[tuple[str, str]], rank: Callable[[str], Any]
) -> list[str]:
    """Return keys by their rank, but each behind those that are to be pressed before it."""
    before: dict[str, set[str]] = {key: set() for key in keys}
    for one, other in firsts:
        if one in before and other in before:
            before[other].add(one)
    rest, done = sorted(keys, key=rank), dict[str, None]()
    while rest:
        free = next(key for key in rest if before[key] <= done.keys())
        done[free] = None
        rest.remove(free)
    return list(done)


def _least(
    piece: Piece, covers: Covers
) -> tuple[tuple[tuple[Imprint, ...], ...], dict[tuple[str, str], int]]:
    """Return a piece's parts in the order in which prints suffer least, and how much by pairs.

    Of equal orders it is the one nearest to the sheet's.
    """
    parts = parts_of(piece.imprints)
    harms = {
        (one[0].id, other[0].id): harm(piece, one, other, covers)
        for one, other in itertools.permutations(parts, 2)
    }

    def suffered(order: Iterable[tuple[Imprint, ...]]) -> int:
        return sum(harms[a[0].id, b[0].id] for a, b in itertools.combinations(order, 2))

    if len(parts) <= MOST_TRIED:
        return min(itertools.permutations(parts), key=suffered), harms
    order: list[tuple[Imprint, ...]] = []
    rest = list(parts)

    def gained(part: tuple[Imprint, ...]) -> int:
        here, others = part[0].id, [each[0].id for each in rest if each is not part]
        return sum(harms[here, each] - harms[each, here] for each in others)

    while rest:
        order.append(min(rest, key=gained))
        rest.remove(order[-1])
    return tuple(order), harms
