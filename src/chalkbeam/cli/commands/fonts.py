"""`chalkbeam fonts`: the faces that names and numbers are set in."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from chalkbeam.cli.answers import print_json
from chalkbeam.cli.options.as_json import JsonOption

LINE = 14.0
"""Height of a specimen's capitals, mm."""
SPECIMEN = "MONTGOMERY 0123456789"


def list_fonts(
    png: Annotated[
        Path | None, typer.Option(help="Also draw a line in each face: .png, .svg or .pdf.")
    ] = None,
    text: Annotated[str, typer.Option(help="What that line says.")] = SPECIMEN,
    json: JsonOption = False,
) -> None:
    """List the faces for names and numbers, and where the shop's own go."""
    from chalkbeam.artwork.faces import BUILTIN, PLAIN, USUAL, faces_folder, own_files

    own = own_files()
    if png is not None:
        from chalkbeam.paper.specimen import save_specimen

        save_specimen(
            [*((name, path) for name, (path, _) in BUILTIN.items()),
             *((path.stem, path) for path in own)], text, png,
        )  # fmt: skip
    if json:
        print_json(
            {
                "faces": {name: about for name, (_, about) in BUILTIN.items()},
                "own": [path.stem for path in own],
                "folder": str(faces_folder()),
            }
        )
        return
    for name, (_, about) in BUILTIN.items():
        print(f"{name:10} {about}")
    for path in own:
        print(f"{path.stem:10} the shop's own, {path.name}")
    print(f"\nWithout a face, lines are set in {USUAL}; in {PLAIN} where that lacks a letter.")
    print(f"The shop's own fonts (.ttf, .otf) go into {faces_folder()}.")
    if png is not None:
        print(f"{png}: a line in each.")


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("fonts")(list_fonts)
