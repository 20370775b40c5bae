"""`chalkbeam proof`: the page a customer signs, or a paper template where there is no projector.

Exit 0: written. 1: written, but pressing it so would spoil the garment, or no place
satisfies the rules. 2: bad input.
"""

from __future__ import annotations

import json as jsonlib
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit
from chalkbeam.cli.advice import typed
from chalkbeam.cli.options.artwork import (
    ArcOption,
    ArtOption,
    CentreOption,
    FontOption,
    HeightOption,
    MirroredOption,
    NarrowestOption,
    PageOption,
    PickOption,
    SheetMarginOption,
    SheetWidthOption,
    TextOption,
    TurnOption,
    WholeOption,
    WidthOption,
    read_art,
    read_turn,
)
from chalkbeam.cli.options.as_json import JsonOption
from chalkbeam.cli.options.garment import (
    FitOption,
    MeasuredOption,
    SizeOption,
    StyleOption,
    UnitsOption,
    find_garment,
)
from chalkbeam.cli.options.length import read_length
from chalkbeam.cli.options.paper import Paper, PaperOption

if TYPE_CHECKING:
    from chalkbeam.paper.worn import Worn

WHITE = (236, 238, 240)
"""Cloth where no fabric is named: any art shows on it."""

VIEW = 900
"""Height of a picture of the garment as worn, px."""

INK_ON_PALE, INK_ON_DARK = (28, 36, 44), (245, 245, 242)


def proof(
    style: StyleOption,
    size: SizeOption,
    location: Annotated[str, typer.Option(help="Location, such as left-chest or “full back”.")],
    out: Annotated[Path, typer.Option(help="PDF to write.")] = Path("proof.pdf"),
    art: ArtOption = None,
    text: TextOption = None,
    width: WidthOption = None,
    height: HeightOption = None,
    sheet_width: SheetWidthOption = None,
    sheet_margin: SheetMarginOption = None,
    mirrored: MirroredOption = False,
    whole: WholeOption = False,
    pick: PickOption = None,
    page: PageOption = 1,
    centre: CentreOption = "auto",
    turn: TurnOption = None,
    font: FontOption = None,
    arc: ArcOption = None,
    narrowest: NarrowestOption = None,
    fit: FitOption = "regular",
    measured: MeasuredOption = None,
    fabric: Annotated[
        str | None, typer.Option(help="The cloth's colour: navy, “heather grey”, #1d2441.")
    ] = None,
    paper: PaperOption = Paper.LETTER,
    template: Annotated[
        bool,
        typer.Option("--template", help="Write a paper template at true scale instead."),
    ] = False,
    belly: Annotated[
        float, typer.Option(help="How full the wearer's belly is, from 0 to 1, in the worn views.")
    ] = 0.25,
    views: Annotated[
        Path | None, typer.Option(help="Folder for pictures of the garment as worn.")
    ] = None,
    customer: Annotated[str, typer.Option(help="Written at the head.")] = "",
    order: Annotated[str, typer.Option(help="Written at the head.")] = "",
    date: Annotated[str, typer.Option(help="Written at the head.")] = "",
    units: UnitsOption = Unit.INCH,
    json: JsonOption = False,
) -> None:
    """Write a proof for the customer to sign: the print in place, its measures, how it wears."""
    from calibration.files import check_can_write, write_whole
    from chalkbeam.garments.fabrics import find_fabric
    from chalkbeam.locations import location as find_location
    from chalkbeam.paper.proof import Proof, ink_picture, letter_picture, proof_pdf, template_pdf
    from chalkbeam.paper.proof.sheet import worn_of
    from chalkbeam.placement import Impossible, Severity, place

    if not 0 <= belly <= 1:
        raise Refusal(f"A belly of {belly:g} is none: write a number from 0 (flat) to 1 (full).")
    check_can_write(out, ".pdf")
    garment = find_garment(style, size, fit, measured)
    found = find_location(location)
    cloth = find_fabric(fabric) if fabric else None
    artwork = read_art(
        art, text, garment, found, width=width, height=height, sheet_width=sheet_width,
        sheet_margin=sheet_margin, mirrored=mirrored, whole=whole, pick=pick, page=page,
        centre=centre, font=font, arc=arc, narrowest=narrowest,
    )  # fmt: skip
    try:
        placement = place(garment, found, artwork, turn=read_turn(turn))
    except Impossible as conflict:
        print(conflict.words.say(units))
        raise typer.Exit(1) from None
    colour = cloth.colour if cloth else WHITE
    dark = sum(colour) < 330
    picture = (
        ink_picture(
            art,
            page=page,
            mirrored=mirrored,
            whole=whole,
            pick=pick,
            sheet_width=read_length(sheet_width),
        )
        if art is not None
        else letter_picture(
            artwork,
            INK_ON_DARK if dark else INK_ON_PALE,
        )
    )
    made = Proof(
        placement,
        picture,
        colour,
        cloth.name if cloth else "",
        units,
        customer,
        order,
        date,
        belly,
    )
    print("Drawing the template …" if template else "Drawing the proof …", file=sys.stderr)
    files = {out: (template_pdf if template else proof_pdf)(made, paper.value)}
    if views is not None:
        files |= _views(worn_of(made), views)
    for path, content in files.items():
        write_whole(path, content)
    if json:
        from chalkbeam.paper.worn import losses

        seen = losses(worn_of(made))
        print(
            jsonlib.dumps(
                {
                    "written": [str(path) for path in files],
                    "warnings": [each.sentence.say(units) for each in placement.warnings],
                    "out_of_sight": round(seen.out_of_sight, 4),
                    "edge_on": round(seen.edge_on, 4),
                    "under_hood": round(seen.under_hood, 4),
                },
                indent=1,
                ensure_ascii=False,
            )
        )
    else:
        what = "a template at true scale: print it at 100 %" if template else "a proof to sign"
        print(f"{out}: {what}.")
        for concern in placement.warnings:
            print(f"  {concern.sentence.say(units, typed)}")
    if placement.worst is Severity.STOP:
        raise typer.Exit(1)


def _views(worn: Worn, folder: Path) -> dict[Path, bytes]:
    import io

    from PIL import Image

    from chalkbeam.paper.worn import VIEWS, look

    files = {}
    for view in VIEWS:
        if view == "front" and not worn.face.endswith("sleeve"):
            continue  # the straight view is the front one
        buffer = io.BytesIO()
        Image.fromarray(look(worn, view, VIEW)).save(buffer, "PNG")
        files[folder / f"worn-{view.replace('_', '-')}.png"] = buffer.getvalue()
    return files


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("proof")(proof)
