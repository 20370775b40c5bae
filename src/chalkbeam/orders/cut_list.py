"""Which piece gets which transfer of which sheet, and what is left over."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from chalkbeam.orders.pieces import Cut, Imprint, Piece
from chalkbeam.orders.printed import Printed, PrintedTransfer


@dataclass(frozen=True)
class CutPlace:
    """One transfer of a sheet.

    Attributes
    ----------
    number : int
        On its sheet, from 1; of a ganged file the number of the artwork.
    transfer : PrintedTransfer
    piece, imprint
        What it is for; None: it is spare.
    """

    number: int
    transfer: PrintedTransfer
    piece: Piece | None = None
    imprint: Imprint | None = None


@dataclass(frozen=True)
class CutSheet:
    """One sheet to be cut.

    Attributes
    ----------
    name : str
    copy, copies : int
        Which of how many alike, from 1.
    places : tuple of CutPlace
    file, cut
        As of `PrintedSheet`.
    """

    name: str
    copy: int
    copies: int
    places: tuple[CutPlace, ...]
    file: Path | None = None
    cut: Cut | None = None

    @property
    def title(self) -> str:
        """Its name, and which of several it is."""
        return self.name if self.copies == 1 else f"{self.name}, sheet {self.copy} of {self.copies}"


@dataclass(frozen=True)
class CutList:
    """All sheets of an order.

    Attributes
    ----------
    sheets : tuple of CutSheet
    short : tuple of (PrintedTransfer, int)
        What is missing, and how many.
    spares : tuple of (PrintedTransfer, int)
        What is left over.
    unlisted : tuple of (PrintedTransfer, int)
        What the list of what was printed does not speak of, and how many are wanted.
    """

    sheets: tuple[CutSheet, ...]
    short: tuple[tuple[PrintedTransfer, int], ...]
    spares: tuple[tuple[PrintedTransfer, int], ...]
    unlisted: tuple[tuple[PrintedTransfer, int], ...] = ()

    def taken_from(self) -> dict[str, str]:
        """Return for each imprint the sheet and the number on it, by the imprint's id."""
        return {
            place.imprint.id: f"{sheet.title}, number {place.number}"
            for sheet in self.sheets
            for place in sheet.places
            if place.imprint is not None
        }


def cut_list(pieces: Sequence[Piece], printed: Printed) -> CutList:
    """Return which transfer goes to which piece: in the order given, sheet after sheet.

    Parameters
    ----------
    pieces : sequence of Piece
        In the order of work, so that the first sheet holds what is pressed first.
    printed : Printed
    """
    waiting: dict[PrintedTransfer, deque[tuple[Piece, Imprint]]] = {}
    for piece in pieces:
        for imprint in piece.imprints:
            waiting.setdefault(PrintedTransfer.of(piece, imprint), deque()).append((piece, imprint))
    sheets: list[CutSheet] = []
    spares: Counter[PrintedTransfer] = Counter()
    for sheet in printed.sheets:
        for copy in range(1, sheet.sheets + 1):
            places: list[CutPlace] = []
            for transfer, on_each in sheet.holds:
                for _ in range(on_each):
                    number = len(places) + 1
                    if sheet.numbered and transfer.pick is not None:
                        number = transfer.pick
                    queue = waiting.get(transfer)
                    if queue:
                        places.append(CutPlace(number, transfer, *queue.popleft()))
                    else:
                        spares[transfer] += 1
                        places.append(CutPlace(number, transfer))
            sheets.append(
                CutSheet(sheet.name, copy, sheet.sheets, tuple(places), sheet.file, sheet.cut)
            )
    lacking = [(transfer, len(queue)) for transfer, queue in waiting.items() if queue]
    short = tuple(each for each in lacking if each[0] in printed.counts)
    unlisted = tuple(each for each in lacking if each[0] not in printed.counts)
    return CutList(tuple(sheets), short, tuple(spares.items()), unlisted)
