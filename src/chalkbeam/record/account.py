"""A run as people ask after it: how many of what, pressed how, spoiled and left.

All of it is folded from the order of work and the events; the statistics are in `summary`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from chalkbeam.orders.garment_words import cut_words
from chalkbeam.orders.order_of_work import Stop
from chalkbeam.orders.pieces import Piece, piece_of
from chalkbeam.orders.settings import Setting
from chalkbeam.record.events import Event, Kind, in_force
from chalkbeam.record.progress import Outcome, Progress


@dataclass(frozen=True)
class SizeCount:
    """The pieces of one size.

    Attributes
    ----------
    size : str
    ordered, finished : int
        Pieces, and those with every imprint pressed.
    """

    size: str
    ordered: int
    finished: int

    def __str__(self) -> str:
        if self.finished == self.ordered:
            return f"{self.size} {self.ordered}"
        return f"{self.size} {self.finished} of {self.ordered}"


@dataclass(frozen=True)
class StyleCount:
    """The pieces of one style, fit and colour.

    Attributes
    ----------
    garment, colour : str
    sizes : tuple of SizeCount
        In the order of the sheet.
    """

    garment: str
    colour: str
    sizes: tuple[SizeCount, ...]

    @property
    def ordered(self) -> int:
        """How many pieces there are."""
        return sum(size.ordered for size in self.sizes)

    @property
    def finished(self) -> int:
        """How many of them are finished."""
        return sum(size.finished for size in self.sizes)


@dataclass(frozen=True)
class SettingUsed:
    """What imprints were pressed with, as the supplier's sheet was entered.

    Attributes
    ----------
    setting : Setting or None
        None where the sheet says nothing.
    transfer : str
        The product of the shop's shelf; empty where the sheet names none.
    imprints : int
        Pressed with it.
    set : int
        How often the operator said that the press is set to it.
    """

    setting: Setting | None
    transfer: str
    imprints: int
    set: int


@dataclass(frozen=True)
class SpoiledPiece:
    """A garment that was spoiled.

    Attributes
    ----------
    piece : Piece
    wall : str
        When, as its event has it.
    reason : str
    replaced : bool
        Whether a fresh garment took its place.
    missing : str
        For want of what none did; empty if that was not said.
    """

    piece: Piece
    wall: str
    reason: str
    replaced: bool
    missing: str


@dataclass(frozen=True)
class Account:
    """A run as people ask after it.

    Attributes
    ----------
    customer, order_number : str
        As the sheet says them; several with commas, empty for none.
    styles : tuple of StyleCount
    settings : tuple of SettingUsed
        The most used first.
    spoiled : tuple of SpoiledPiece
        In the order it happened.
    to_press : tuple of Stop
        What is neither pressed nor left out for good: still open, or skipped for now.
    """

    customer: str
    order_number: str
    styles: tuple[StyleCount, ...]
    settings: tuple[SettingUsed, ...]
    spoiled: tuple[SpoiledPiece, ...]
    to_press: tuple[Stop, ...]

    @property
    def heading(self) -> str:
        """Whose order it is, in a line; empty where the sheet does not say."""
        number = f"order {self.order_number}" if self.order_number else ""
        return " · ".join(part for part in (self.customer, number) if part)


def account_of(stops: Sequence[Stop], events: Iterable[Event]) -> Account:
    """Return what there is to tell of a run.

    Parameters
    ----------
    stops : sequence of Stop
        Its order of work.
    events : iterable of Event
        By sequence number.
    """
    everything = list(events)
    in_effect = in_force(everything)
    progress = Progress(stops, everything)
    pieces = {stop.piece.id: stop.piece for stop in stops}
    of_rows = sorted(pieces.values(), key=lambda piece: (piece.row, piece.copy))
    waiting = (None, Outcome.SKIPPED)
    return Account(
        ", ".join(dict.fromkeys(piece.customer for piece in of_rows if piece.customer)),
        ", ".join(dict.fromkeys(piece.order_number for piece in of_rows if piece.order_number)),
        _styles(of_rows, progress),
        _settings(stops, progress, in_effect),
        tuple(
            _spoiled(pieces[piece], event)
            for event in in_effect
            if event.kind is Kind.SPOILED and (piece := piece_of(event.imprint)) in pieces
        ),
        tuple(stop for stop in stops if progress.outcomes.get(stop.imprint.id) in waiting),
    )


def _styles(pieces: Sequence[Piece], progress: Progress) -> tuple[StyleCount, ...]:
    """Return the pieces by style, fit and colour, and in each by size."""
    found: dict[tuple[str, str], dict[str, list[bool]]] = {}
    for piece in pieces:
        garment = cut_words(piece)
        ended = [progress.outcomes.get(imprint.id) for imprint in piece.imprints]
        sizes = found.setdefault((garment, piece.colour), {})
        sizes.setdefault(piece.size, []).append(all(each is Outcome.PRESSED for each in ended))
    return tuple(
        StyleCount(
            *which, tuple(SizeCount(size, len(done), sum(done)) for size, done in sizes.items())
        )
        for which, sizes in found.items()
    )


def _settings(
    stops: Sequence[Stop], progress: Progress, events: Sequence[Event]
) -> tuple[SettingUsed, ...]:
    wanted = {
        stop.imprint.id: (Setting.of(stop.imprint.press), stop.imprint.press.transfer)
        for stop in stops
    }
    pressed = Counter(
        wanted[imprint]
        for imprint, outcome in progress.outcomes.items()
        if outcome is Outcome.PRESSED
    )
    said = Counter(
        wanted[event.imprint][0]
        for event in events
        if event.kind is Kind.SET and event.imprint in wanted
    )
    return tuple(
        SettingUsed(setting, transfer, count, said[setting])
        for (setting, transfer), count in pressed.most_common()
    )


def _spoiled(piece: Piece, event: Event) -> SpoiledPiece:
    data = event.data
    return SpoiledPiece(
        piece,
        event.wall,
        str(data.get("reason") or "no reason given"),
        bool(data.get("replaced")),
        str(data.get("missing") or ""),
    )
