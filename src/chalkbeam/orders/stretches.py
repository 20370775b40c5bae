"""An order of work for people: stops that differ in nothing but the piece, as one line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from chalkbeam.orders.garment_words import pile_words
from chalkbeam.orders.order_of_work import Plan
from chalkbeam.orders.settings import Setting


@dataclass(frozen=True)
class Stretch:
    """A run of stops that differ in nothing but the piece.

    Attributes
    ----------
    pile, location, stack : str
        Garments, where on them, and the transfers; what follows on the same piece is named with
        the location.
    changes : str
        What is changed before it, in words.
    pieces : tuple of str
        Ids, in the order they are pressed.
    """

    pile: str
    location: str
    stack: str
    changes: str
    pieces: tuple[str, ...]

    @property
    def codes(self) -> str:
        """The pieces, those that count up within one row of the sheet as "9-1…9-5"."""
        return _ranges(self.pieces)


def stretches(planned: Plan) -> tuple[Stretch, ...]:
    """Return the order of work as stretches."""
    found: list[Stretch] = []
    before: object = None
    for stop in planned.stops:
        location = stop.imprint.location.replace("-", " ").replace("_", " ")
        if stop.imprint.follows:
            if not found[-1].location.endswith(location):
                found[-1] = replace(found[-1], location=f"{found[-1].location} + {location}")
            continue
        setting = Setting.of(stop.imprint.press)
        now = (stop.piece.pile, location, stop.imprint.art.stack, stop.fit, setting)
        if now == before:
            found[-1] = replace(found[-1], pieces=(*found[-1].pieces, stop.piece.id))
            continue
        before = now
        words = {
            "platen": stop.fit.platen_words,
            "pad": stop.fit.pad_words,
            "stack": "transfers",
            "pile": "garments",
        }
        if setting is not None:
            words["setting"] = f"press {setting.words()}"
        # Nobody knows what is on the press at the start: say what the first stop needs.
        needed = [each for each in ("platen", "pad") if not found and getattr(stop.fit, each)]
        needed += ["setting"] if not found else []
        every = dict.fromkeys((*needed, *stop.changes))
        changes = ", ".join(words[each] for each in every if each in words)
        found.append(
            Stretch(
                pile_words(stop.piece.pile),
                location,
                stop.imprint.art.stack,
                changes,
                (stop.piece.id,),
            )
        )
    return tuple(found)


def heated_lines(planned: Plan) -> list[str]:
    """Return which finished prints the order of work heats again all the same, a line each."""
    pieces: dict[str, list[str]] = {}
    for stop, heated in planned.heated:
        said = heated.words(heated.print_.location, heated.by.location, planned=True)
        pieces.setdefault(said, []).append(stop.piece.id)
    return [f"{_ranges(codes)}: {said}" for said, codes in pieces.items()]


def _ranges(codes: Sequence[str]) -> str:
    runs: list[list[str]] = []
    for code in codes:
        row, _, number = code.rpartition("-")
        if runs and f"{row}-{int(number) - 1}" == runs[-1][-1]:
            runs[-1].append(code)
        else:
            runs.append([code])
    return ", ".join(run[0] if len(run) == 1 else f"{run[0]}…{run[-1]}" for run in runs)
