"""The tick sheet: strips with ticks at true scale, the order of work, a picture of each set-up."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.pdfgen.canvas import Canvas

from calibration.geometry import PlatenFace
from chalkbeam.basics.units import Unit, format_length
from chalkbeam.lasers.aims import AimPlan, Stand
from chalkbeam.paper.sizes import PAPERS
from chalkbeam.paper.ticks.page import ALERT, BAR, EDGE, SheetPage
from chalkbeam.paper.ticks.set_ups import (
    COLUMNS,
    LEG,
    ROWS,
    Leg,
    WorkedStop,
    draw_legs,
    draw_set_up,
    legs_of,
    pictured,
)
from chalkbeam.paper.ticks.strips import PITCH, Strip, draw_strip, left_of, on_pages, strips_of

__all__ = ["BAR", "TickSheet", "WorkedStop", "legs_of", "tick_sheet_pdf"]

_FOOT = 34.0


@dataclass(frozen=True)
class TickSheet:
    """What is printed.

    Attributes
    ----------
    title : str
        Of the order, or of the sizes.
    plan : AimPlan
    works : tuple of WorkedStop
        In the order of work.
    cautions : tuple of str
        Printed on every page with strips.
    unit : Unit
    pieces : bool
        Whether it is an order, whose pieces have names.
    """

    title: str
    plan: AimPlan
    works: tuple[WorkedStop, ...]
    cautions: tuple[str, ...]
    unit: Unit = Unit.INCH
    pieces: bool = True

    @property
    def platens(self) -> dict[str, PlatenFace]:
        """The platens by name, in the order in which they are first used."""
        plates = (work.choice.loading.platen for work in self.works)
        return {plate.name: plate.face for plate in plates}

    def stands_on(self, name: str) -> tuple[Stand, ...]:
        """Return the stands that are used with a platen."""
        used = {
            aim.stand
            for work in self.works
            if work.choice.loading.platen.name == name
            for aim in work.set_up.aims
        }
        return tuple(stand for stand in self.plan.stands if stand in used)


def tick_sheet_pdf(sheet: TickSheet, paper: str = "letter") -> bytes:
    """Return the tick sheet as a PDF at true scale, the same bytes for the same input.

    Parameters
    ----------
    sheet : TickSheet
    paper : {"letter", "a4"}
    """
    short, long = PAPERS[paper]
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(long, short), invariant=1)
    canvas.setTitle(f"Tick sheet: {sheet.title}")
    canvas.setCreator("Chalkbeam")
    # Ask viewers not to scale; the bar catches those that do.
    canvas.setViewerPreference("PrintScaling", "None")
    page = SheetPage.on(canvas, paper)
    legs = legs_of(sheet.works)
    rows = int((page.height - 2 * EDGE - 18.0 - _FOOT) // PITCH)
    strips = [
        (name, part)
        for name, face in sheet.platens.items()
        for part in on_pages(strips_of(sheet.stands_on(name), face, page.room), rows)
    ]
    lines = _chunks(legs, int((page.height - 2 * EDGE - 26.0) // LEG))
    cards = _chunks(pictured(legs), COLUMNS * ROWS)
    count = len(strips) + len(lines) + len(cards)
    check = sheet.plan.check
    number = 0
    for name, part in strips:
        number += 1
        face = sheet.platens[name]
        size = " x ".join(format_length(side, sheet.unit) for side in (face.width, face.depth))
        top = page.head("Ticks for the platen's edges", f"{sheet.title} · platen {name}, {size}",
                        check, number, count)  # fmt: skip
        _strips(page, part, top)
        _foot(page, sheet.cautions)
        canvas.showPage()
    first = 1
    for chunk in lines:
        number += 1
        again = sheet.plan.aims_again
        about = f"{sheet.title} · {again} {'aim' if again == 1 else 'aims'} after the first set-up"
        top = page.head("Order of work", about, check, number, count)
        draw_legs(page, chunk, first, top - 2, sheet.pieces)
        first += len(chunk)
        canvas.showPage()
    for group in cards:
        number += 1
        top = page.head("Set-ups", sheet.title, check, number, count)
        wide, high = page.room / COLUMNS, (top - EDGE) / ROWS
        for k, leg in enumerate(group):
            x, y = EDGE + k % COLUMNS * wide, top - k // COLUMNS * high
            draw_set_up(page, leg, x, y, wide, high - 3, sheet.unit)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _chunks(things: Sequence[Leg], most: int) -> list[tuple[Leg, ...]]:
    return [tuple(things[k : k + most]) for k in range(0, len(things), most)]


def _strips(page: SheetPage, strips: Sequence[Strip], top: float) -> None:
    for row, strip in enumerate(strips):
        draw_strip(page, strip, left_of(page, strip), top - 5.0 - row * PITCH)


_STEPS = (
    "Print at 100 % (“actual size”) and measure the bar.",
    "Heat off, platen cold, press open: cut along the thin lines.",
    "Tape each strip on the platen's side with heat-proof tape: ticks up, its upper edge",
    "flush with the platen's face. Round corners: let the ends stand out straight.",
    "With the platen bare, aim each laser so that its line meets both its ticks.",
)


def _foot(page: SheetPage, cautions: Sequence[str]) -> None:
    """Write how the strips are used, what to take care of, and the check bar."""
    top = EDGE + _FOOT - 3
    x = EDGE + BAR + 12.0
    number = 0
    y = top
    for words in _STEPS:
        if words[0].isupper():
            number += 1
            page.text(x, y, str(number), 8.5, bold=True)
        page.text(x + 5, y, words, 8.5)
        y -= 4.1
    page.bar(EDGE, EDGE + 7.0)
    y = top
    for words in cautions:
        y = page.wrapped(EDGE, y, words, 7.5, BAR, colour=ALERT, bold=True, most=4)
