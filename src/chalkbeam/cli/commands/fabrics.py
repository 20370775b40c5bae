"""`chalkbeam fabrics`: cloth colours, measuring one from a photo, and lines that show on it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.cli.options.as_json import JsonOption

if TYPE_CHECKING:
    from chalkbeam.garments.fabrics import Box, Fabric
    from overlay.colour.visibility import Lighting


def show_fabrics(
    names: Annotated[
        list[str] | None, typer.Argument(help="Colours, by name or hex; all known ones without.")
    ] = None,
    ladder: Annotated[
        Path | None, typer.Option(help="Write a picture of every line on these cloths, PNG.")
    ] = None,
    photo: Annotated[Path | None, typer.Option(help="Measure a cloth from this photo.")] = None,
    patch: Annotated[
        str, typer.Option(help="Part of the photo that shows the cloth: left,top,width,height px.")
    ] = "",
    white: Annotated[
        str, typer.Option(help="Part that shows plain white paper beside it, in the same way.")
    ] = "",
    save: Annotated[str, typer.Option(help="Keep the measured cloth under this name.")] = "",
    projector: Annotated[
        float, typer.Option(help="Light of projected white on the platen, lux.")
    ] = 2500.0,
    room: Annotated[float, typer.Option(help="Light of the room on the platen, lux.")] = 500.0,
    json: JsonOption = False,
) -> None:
    """List cloth colours with how well lines show on them, or measure one from a photo."""
    from chalkbeam.garments.fabrics import fabrics, find_fabric, save_fabric
    from overlay.colour.visibility import Lighting

    if not (1 <= projector <= 1e6 and 0 <= room <= 1e5):
        raise Refusal("--projector and --room take lux, such as 2500 and 500.")
    if photo is None:
        for option, value in (("--patch", patch), ("--white", white), ("--save", save)):
            if value:
                raise Refusal(f"{option} goes with --photo: name the photo too.")
    elif names:
        raise Refusal("Name colours or give a --photo to measure, not both.")
    if ladder is not None and ladder.suffix.lower() != ".png":
        raise Refusal(f"{ladder} must end in .png.")
    light = Lighting(projector, room)
    if photo is not None:
        found = [_measured(photo, patch, white, save)]
        if save:
            kept = save_fabric(found[0])
            typer.echo(f"{save} is kept in {kept}.", err=True)
    elif names:
        found = [find_fabric(name) for name in names]
    else:
        found = list(fabrics().values())
    if ladder is not None:
        from calibration.files import write_whole
        from chalkbeam.paper.light_on_cloth import LADDER, draw_ladder

        shown = found if names or photo else [find_fabric(name) for name in LADDER]
        write_whole(ladder, draw_ladder(shown, light))
    _print(found, light, json)


def _box(text: str, option: str) -> Box:
    if not text:
        raise Refusal(
            f"Say which part of the photo shows the cloth: write {option} left,top,width,height "
            "in px, 8 px or more each way."
        )
    parts = text.replace(" ", "").split(",")
    if len(parts) != 4 or not all(re.fullmatch(r"[0-9]{1,6}", part) for part in parts):
        raise Refusal(
            f"“{text[:60]}” is no part of a photo: write {option} left,top,width,height in px."
        )
    left, top, width, height = (int(part) for part in parts)
    return left, top, width, height


def _measured(photo: Path, patch: str, white: str, name: str) -> Fabric:
    from calibration.photo.read import read_photo
    from chalkbeam.garments.fabrics import measure_fabric

    cloth = _box(patch, "--patch")
    paper = _box(white, "--white") if white else None
    return measure_fabric(read_photo(photo), cloth, paper, name or photo.stem)


def _print(found: list[Fabric], light: Lighting, json: bool) -> None:
    from overlay.colour.visibility import palette_for, role_visibilities
    from overlay.marks import Role

    rows = []
    for fabric in found:
        palette = palette_for(fabric.colour, light)
        seen = role_visibilities(palette, fabric.colour, light)
        rows.append((fabric, palette, seen))
    if json:
        import json as json_module

        typer.echo(
            json_module.dumps(
                [
                    {
                        "name": fabric.name,
                        "colour": fabric.hex,
                        "lines": {
                            role.value: {
                                "colour": "#{:02x}{:02x}{:02x}".format(*palette.look(role).colour),
                                "from_cloth_ciede2000": round(seen[role].difference, 1),
                                "lighter_by": round(seen[role].lightness, 1),
                            }
                            for role in Role
                        },
                    }
                    for fabric, palette, seen in rows
                ],
                ensure_ascii=False,
            )
        )
        return
    from rich.table import Table
    from rich.text import Text

    from chalkbeam.cli.terminal import terminal
    from overlay.colour.visibility import CLOTH_DIFFERENCE, CLOTH_LIGHTNESS

    table = Table("cloth", "", *(role.value for role in Role), box=None, pad_edge=False)
    for column in table.columns[2:]:
        column.justify = "right"
    faint = []
    for fabric, _, seen in rows:
        red, green, blue = fabric.colour
        table.add_row(
            fabric.name,
            Text("████", style=f"rgb({red},{green},{blue})"),
            *(f"{seen[role].difference:.0f}" for role in Role),
        )
        worst = min(
            min(s.difference / CLOTH_DIFFERENCE, s.lightness / CLOTH_LIGHTNESS)
            for role, s in seen.items()
            if role is not Role.CHECK
        )
        if worst < 0.5:
            faint.append(fabric.name)
    console = terminal()
    console.print(table)
    console.print(
        "\nHow far each line stands out from the cloth (CIEDE2000), in the colours chosen for it; "
        f"{CLOTH_DIFFERENCE:.0f} is plain to see.",
    )
    if faint:
        console.print(
            f"\nFaint in this light on {', '.join(faint)}: shade the press or dim the room.",
        )


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("fabrics")(show_fabrics)
