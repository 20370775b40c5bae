"""The proof of a whole order: every print with its sizes on a few pages, to be signed once."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.lib.colors import HexColor
from reportlab.pdfgen.canvas import Canvas

from chalkbeam.basics.units import Unit, format_length
from chalkbeam.orders.pieces import ArtKind
from chalkbeam.paper.drawing import INK, QUIET
from chalkbeam.paper.fonts import BOLD, FONT
from chalkbeam.paper.proof.entries import ProofEntry, SizeRow, Wearer
from chalkbeam.paper.proof.parts import MARGIN, RULE, image_of, signature, text_at
from chalkbeam.paper.proof.sheet import flat, loss_words, worn_of
from chalkbeam.paper.sizes import PAPERS
from chalkbeam.paper.worn import look, losses
from chalkbeam.placement import Severity
from chalkbeam.placement.loading import origin_words

GAP = 18.0
PICTURES = 128.0
"""Height of an entry's two pictures, pt."""
LINE = 10.5
_HEAD, _FOOT, _SIGNED = 56.0, 16.0, 96.0
_WORN = 420  # px, some 220 dots to the inch on the page
_COLUMNS = (0.0, 0.18, 0.30, 0.62, 0.80)


@dataclass(frozen=True)
class ProofHead:
    """What stands at the head of an order's proof; empty words are left out.

    Attributes
    ----------
    title : str
        Of the order.
    shop, customer, date : str
    """

    title: str
    shop: str = ""
    customer: str = ""
    date: str = ""


def order_proof_pdf(
    entries: Sequence[ProofEntry],
    wearers: Sequence[Wearer],
    head: ProofHead,
    unit: Unit,
    paper: str = "letter",
) -> bytes:
    """Return the proof as a PDF, the same bytes for the same order.

    Parameters
    ----------
    entries : sequence of ProofEntry
    wearers : sequence of Wearer
        Their names and numbers are listed to be read over.
    head : ProofHead
    unit : Unit
    paper : {"letter", "a4"}
    """
    pages = _Pages(head, PAPERS[paper])
    for entry in entries:
        notes = _notes(entry, unit, pages.column)
        high = _high(entry, notes)
        x, top = pages.place(high)
        _draw(pages.canvas, entry, notes, unit, x, top, pages.column)
    for block in _blocks(wearers):
        x, top = pages.place(LINE * (len(block) + 2.4))
        _names(pages.canvas, block, x, top, pages.column)
    pages.sign()
    return pages.done()


class _Pages:
    """Two columns a page, filled from the left; the head on each, the box to sign on the last."""

    def __init__(self, head: ProofHead, size: tuple[float, float]) -> None:
        self.head, (self.width, self.height) = head, size
        self.column = (self.width - 2 * MARGIN - GAP) / 2
        self.buffer = io.BytesIO()
        self.canvas = Canvas(self.buffer, pagesize=size, invariant=1)
        self.canvas.setTitle(f"Proof: {head.title}")
        self.canvas.setCreator("Chalkbeam")
        self.number = 0
        self._begin()

    def _begin(self) -> None:
        if self.number:
            self.canvas.showPage()
        self.number += 1
        _head(self.canvas, self.head, self.number, self.height - MARGIN, self.width - 2 * MARGIN)
        self.tops = [self.height - MARGIN - _HEAD] * 2
        self.at = 0

    def place(self, high: float) -> tuple[float, float]:
        """Return where a block of this height goes: its left edge and its top, pt."""
        for _ in range(3):
            if self.tops[self.at] - high >= MARGIN + _FOOT:
                break
            if self.at:
                self._begin()
            else:
                self.at = 1
        top = self.tops[self.at]
        self.tops[self.at] = top - high - GAP
        return MARGIN + self.at * (self.column + GAP), top

    def sign(self) -> None:
        """Draw the box to sign below what stands there, on a page more where that is full."""
        if min(self.tops) < MARGIN + _SIGNED:
            self._begin()
        signature(self.canvas, (MARGIN, MARGIN, self.width - 2 * MARGIN, 84.0))

    def done(self) -> bytes:
        self.canvas.showPage()
        self.canvas.save()
        return self.buffer.getvalue()


def _head(canvas: Canvas, head: ProofHead, number: int, top: float, inner: float) -> None:
    right = MARGIN + inner
    text_at(canvas, MARGIN, top - 17, head.shop or "Proof", BOLD, 19, room=0.55 * inner)
    below = f"Proof: {head.title}" if head.shop else head.title
    text_at(canvas, MARGIN, top - 33, below, FONT, 10, QUIET, room=0.55 * inner)
    said = [line for line in (head.customer, head.date) if line] + [f"page {number}"]
    for place, line in enumerate(said):
        font = BOLD if place == 0 and head.customer else FONT
        text_at(canvas, right, top - 9 - 12.5 * place, line, font, 10, right=True,
                room=0.42 * inner)  # fmt: skip
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(0.8)
    canvas.line(MARGIN, top - 44, right, top - 44)


def _high(entry: ProofEntry, notes: Sequence[str]) -> float:
    return 30 + PICTURES + 8 + LINE * (1.2 + len(entry.rows)) + LINE * len(notes)


def _draw(
    canvas: Canvas,
    entry: ProofEntry,
    notes: Sequence[str],
    unit: Unit,
    x: float,
    top: float,
    wide: float,
) -> None:
    proof = entry.proof
    placement = proof.placement
    title = placement.location.title
    text_at(canvas, x, top - 11, f"{title[:1].upper()}{title[1:]}: {_what(entry)}", BOLD, 11,
            room=wide)  # fmt: skip
    fabric = f", {proof.fabric}" if proof.fabric else ""
    garment = placement.garment.label.partition(",")[0]
    fit = ", women's" if placement.garment.fit == "womens" else ""
    below = f"top: below the {origin_words(placement.face.name)}"
    about = f"{garment}{fit}{fabric}; {entry.pieces} in all; {below}"
    text_at(canvas, x, top - 23, about, FONT, 8.5, QUIET, room=wide)
    low = top - 30 - PICTURES
    flat(canvas, proof, (x - 18, low, 0.56 * wide + 18, PICTURES))
    column = 0.42 * wide
    picture = look(worn_of(proof), "straight", _WORN, round(_WORN * column / PICTURES))
    canvas.drawImage(image_of(picture), x + wide - column, low, column, PICTURES)
    level = low - 14
    print_ = "print" if entry.kind is ArtKind.FILE else "print, at most"
    for start, name in zip(_COLUMNS, ("size", "pieces", print_, "top", "sideways"), strict=True):
        text_at(canvas, x + start * wide, level, name, FONT, 7, QUIET)
    for row in entry.rows:
        level -= LINE
        drawn = row.size == placement.garment.size and len(entry.rows) > 1
        for start, words in zip(_COLUMNS, _cells(row, unit), strict=True):
            said = f"{words} (drawn)" if drawn and not start else words
            text_at(canvas, x + start * wide, level, said, BOLD if not start else FONT, 8)
    for note in notes:
        level -= LINE
        text_at(canvas, x, level, note, FONT, 7.5, _LOOK)


_LOOK = HexColor("#A3461F")


def _what(entry: ProofEntry) -> str:
    if entry.kind is ArtKind.FILE:
        return entry.proof.placement.artwork.name
    return "each wearer's own"


def _cells(row: SizeRow, unit: Unit) -> tuple[str, ...]:
    def length(value: float) -> str:
        return format_length(value, unit)

    beside = "centred"
    if abs(row.aside) > 0.5:
        beside = f"{length(abs(row.aside))} {'right' if row.aside > 0 else 'left'}"
    return (
        row.size,
        str(row.pieces),
        f"{length(row.width)} x {length(row.height)}",
        length(row.top),
        beside,
    )


def _notes(entry: ProofEntry, unit: Unit, wide: float) -> list[str]:
    """Return what the customer is to know of a print, broken into lines."""
    from reportlab.lib.utils import simpleSplit

    proof = entry.proof
    placement = proof.placement
    told = [
        each.sentence.say(unit)
        for each in placement.warnings
        if each.about != "file" and each.severity >= Severity.CAUTION
    ]
    lost = losses(worn_of(proof))
    if lost.out_of_sight >= 0.01 or lost.edge_on >= 0.01 or lost.under_hood > 0:
        told += loss_words(lost, placement.location.face)
    return [line for words in told for line in simpleSplit(words, FONT, 7.5, wide)]


_A_BLOCK = 24


def _blocks(wearers: Sequence[Wearer]) -> list[Sequence[Wearer]]:
    return [wearers[at : at + _A_BLOCK] for at in range(0, len(wearers), _A_BLOCK)]


def _names(canvas: Canvas, block: Sequence[Wearer], x: float, top: float, wide: float) -> None:
    text_at(canvas, x, top - 11, "Names and numbers, letter by letter", BOLD, 11, room=wide)
    starts = (0.0, 0.14, 0.62, 0.78)
    level = top - 13
    for wearer in block:
        level -= LINE
        for start, words in zip(
            starts, (wearer.piece, wearer.name, wearer.number, wearer.size), strict=True
        ):
            font = BOLD if start in starts[1:3] else FONT
            text_at(canvas, x + start * wide, level, words, font, 8, room=0.46 * wide)
    canvas.setFillColor(INK)
