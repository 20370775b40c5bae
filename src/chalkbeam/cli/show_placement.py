"""A placement on the terminal, to be read at 80 columns."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from chalkbeam.basics.units import Unit, format_length
from chalkbeam.cli.advice import typed

if TYPE_CHECKING:
    from rich.console import Console

    from chalkbeam.basics.sentences import Sentence
    from chalkbeam.placement import Concern, Placement
    from chalkbeam.placement.loading import Loading

_SIGNS = {"STOP": ("stop", "bold red"), "CAUTION": ("look", "bold yellow"), "NOTE": ("note", "")}


def show_placement(placement: Placement, loading: Loading | None, unit: Unit) -> None:
    """Print a placement for people, to be read at 80 columns."""
    from rich.table import Table
    from rich.text import Text

    from chalkbeam.artwork import Box
    from chalkbeam.cli.terminal import terminal
    from chalkbeam.placement import alternatives, check_words, reasons, tolerance_words
    from chalkbeam.placement.loading import (
        centre_line,
        centre_words,
        fitting,
        loading_words,
        origin_words,
    )

    console = terminal()
    artwork, face = placement.artwork, placement.face
    ink = Box.around(placement.hull())
    title = placement.location.title
    console.print(Text(f"{title[:1].upper()}{title[1:]}, {placement.garment.label}", "bold"))
    size = f"{format_length(artwork.ink.width, unit)} x {format_length(artwork.ink.height, unit)}"
    sheet = artwork.sheet
    console.print(
        f"{artwork.name}: ink {size}, sheet {format_length(sheet.width, unit)} x "
        f"{format_length(sheet.height, unit)}"
    )
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    x, y = placement.centre
    origin = origin_words(face.name)
    for name, value, line in (
        ("top of the ink", ink.top, origin),
        ("bottom of the ink", ink.bottom, origin),
        ("optical centre", y, origin),
    ):
        table.add_row(name, format_length(abs(value), unit), f"{_side(value)} the {line}")
    off = x - centre_line(placement)
    side = "right" if off > 0 else "left"
    line = centre_words(face.name)
    where = f"{side} of the {line}, as you look at it" if abs(off) > 0.5 else f"on the {line}"
    table.add_row("", format_length(abs(off), unit) if abs(off) > 0.5 else "", where)
    if abs(placement.garment_from_art.angle) > 1e-9:
        degrees = -math.degrees(placement.garment_from_art.angle)
        table.add_row("turn", f"{abs(degrees):.0f}°", "rising" if degrees > 0 else "falling")
    console.print(table)
    _bullets(console, "Why", [reason.say(unit) for reason in reasons(placement)])
    checks = [check_words(check).say(unit) for check in placement.cross_checks]
    _bullets(console, "Checks", [*checks, tolerance_words(placement).say(unit)])
    if loading is not None:
        words = loading_words(placement, loading).say(unit)
        lit = format_length(loading.height, Unit.MM, 1)
        lines = [f"{words[:1].upper()}{words[1:]}.", f"The cloth is lit {lit} above the platen."]
        _bullets(console, f"On the platen {loading.platen.name}", lines)
    else:
        fits = fitting(placement)
        names = ", ".join(fit.platen.name for fit in fits[:4]) or "none on file"
        _bullets(console, "Platens", [f"It fits on {names}."])
    concerns = [*placement.warnings, *(loading.concerns if loading else ())]
    _warnings(console, sorted(concerns, key=lambda c: -c.severity), unit)
    _bullets(console, "What would work", [_or(alternatives(placement), unit)])


def _or(answers: tuple[Sentence, ...], unit: Unit) -> str:
    """Return answers as one sentence; empty if there are none."""
    words = ", or ".join(answer.say(unit) for answer in answers)
    return f"{words[:1].upper()}{words[1:]}." if words else ""


def _side(value: float) -> str:
    return "below" if value >= 0 else "above"


def _bullets(console: Console, title: str, lines: list[str]) -> None:
    from rich.padding import Padding
    from rich.text import Text

    lines = [line for line in lines if line]
    if not lines:
        return
    console.print(Text(f"\n{title}", "bold"))
    for line in lines:
        console.print(Padding(Text(line), (0, 0, 0, 2)))


def _warnings(console: Console, concerns: list[Concern], unit: Unit) -> None:
    from rich.table import Table
    from rich.text import Text

    if not concerns:
        return
    console.print(Text("\nBefore pressing", "bold"))
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 1, 0, 0))
    for concern in concerns:
        word, style = _SIGNS[concern.severity.name]
        table.add_row(Text(f"  {word}", style), Text(concern.sentence.say(unit, typed)))
    console.print(table)
