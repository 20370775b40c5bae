"""`chalkbeam cards` and `chalkbeam pattern`: what to print and what to project to calibrate."""

from __future__ import annotations

import json
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.units import parse_pixels, parse_size


class Paper(StrEnum):
    """Paper the cards are printed on."""

    LETTER = "letter"
    A4 = "a4"


PlatenOption = Annotated[
    str, typer.Option(help="Width x depth as you stand at the press, such as 406mmx508mm.")
]


def cards(
    platen: PlatenOption,
    out: Annotated[Path, typer.Option(help="PDF to write.")] = Path("cards.pdf"),
    paper: Annotated[Paper, typer.Option(help="Paper size.")] = Paper.LETTER,
    png: Annotated[
        Path | None, typer.Option(help="Folder for a picture of each card and layout.json.")
    ] = None,
    dpi: Annotated[float, typer.Option(help="Resolution of those pictures.")] = 300.0,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print what was written as JSON.")
    ] = False,
) -> None:
    """Write the cards to print, cut out and lay on the platen's corners."""
    from calibration import card_sheet
    from calibration.cards import layout
    from calibration.files import write_whole
    from calibration.geometry import PlatenFace

    if not 50 <= dpi <= 2400:
        raise Refusal(f"{dpi:g} dpi is no resolution for cards: give 50 to 2400, such as 300.")
    face = PlatenFace(*parse_size(platen))
    laid = layout(face)
    files = {out: card_sheet.pdf(laid, face, paper.value)}
    record = card_sheet.layout_record(laid, face)
    if png is not None:
        files |= {png / card_sheet.png_name(card): card_sheet.png(card, dpi) for card in laid}
        files[png / "layout.json"] = (json.dumps(record, indent=2) + "\n").encode()
    for path, content in files.items():
        write_whole(path, content)
    if as_json:
        print(json.dumps({**record, "written": [str(path) for path in files]}))
        return
    print(f"Wrote {out}: four cards of {laid[0].size:g} mm for {paper.value.capitalize()} paper.")
    print("Print at 100 % (“actual size”) and measure the bar on every sheet: 100 mm.")
    if png is not None:
        print(f"Wrote a picture of each card and layout.json to {png}.")


def pattern(
    size: Annotated[str, typer.Option(help="The projector's own resolution, such as 1920x1080.")],
    out: Annotated[Path, typer.Option(help="PNG to write.")] = Path("pattern.png"),
    platen: Annotated[
        str | None,
        typer.Option(help="Width x depth; a small platen gets a finer pattern."),
    ] = None,
) -> None:
    """Write the picture to project while the calibration photos are taken."""
    import cv2

    from calibration.files import write_whole
    from calibration.geometry import PlatenFace
    from calibration.pattern import Pattern, wants_fine

    shown = Pattern(parse_pixels(size))
    fine = platen is not None and wants_fine(PlatenFace(*parse_size(platen)))
    done, coded = cv2.imencode(".png", shown.draw(fine))
    if not done:
        raise Refusal(f"The pattern could not be written as a picture: give {out} another name.")
    write_whole(out, coded.tobytes())
    print(
        f"Wrote {out}. Show it full screen at {shown.size[0]} x {shown.size[1]} pixels, without "
        "scaling, with keystone correction set once and then left alone."
    )
    print("Do not look into the projector's beam.")


def register(app: typer.Typer) -> None:
    """Add the commands to the program."""
    app.command()(cards)
    app.command()(pattern)
