"""`chalkbeam rig platen`: the further platens of a press, all under one calibration."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from calibration.refusal import Refusal
from chalkbeam.cli.answers import print_json
from chalkbeam.cli.options.as_json import JsonOption
from chalkbeam.cli.options.photos import photos_with_heights
from chalkbeam.cli.options.rig import (
    OutOption,
    PairsOption,
    PlatenHeightOption,
    PlatenSizeOption,
    RigOption,
    ToleranceOption,
    check_place,
    read_platen_height,
    read_positive,
)
from chalkbeam.cli.parsing import RAISED, WithRaised
from chalkbeam.cli.show_rig import rig_json, rig_words
from chalkbeam.cli.terminal import say_doing

if TYPE_CHECKING:
    from calibration.geometry import PlatenFace
    from calibration.rig.file import Rig
    from calibration.solve.fit import Solution

NameArgument = Annotated[str, typer.Argument(help="What the platen is called: sleeve-5x18in.")]

platens_app = typer.Typer(
    no_args_is_help=True, help="The platens of one press, all under one calibration."
)


def add(
    context: typer.Context,
    name: NameArgument,
    photos: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="[PHOTO...]",
            help="Photos of cards in this platen's corners, with the pattern, as for calibrate.",
        ),
    ] = None,
    pairs: PairsOption = False,
    rig: RigOption = None,
    platen: PlatenSizeOption = None,
    crosses: Annotated[
        Path | None,
        typer.Option(
            help="CSV of crosses set by hand on this platen, without photos: x_mm,y_mm from its "
            "middle and x_px,y_px. Three, on a wide platen one near each of its four corners."
        ),
    ] = None,
    height: PlatenHeightOption = None,
    bar: Annotated[
        str | None, typer.Option(help="Measured length of the printed 100 mm bar: 99.7mm.")
    ] = None,
    laid: Annotated[str, typer.Option(help="Every card lies within this of its place.")] = "0.8mm",
    tolerance: ToleranceOption = "1mm",
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Add a platen to a rig: where it lies on the post, from one photo, or three crosses."""
    from calibration.rig import library
    from calibration.rig.from_photos import read_and_observe
    from calibration.rig.platens import find_by_crosses, find_by_photos
    from chalkbeam.setup.bar import parse_bar
    from chalkbeam.setup.point_files import read_crosses

    place, press = library.find(rig), library.open_rig(rig)
    check_place(out)
    if bool(photos) == (crosses is not None):
        raise Refusal("Give photos of cards on this platen, or crosses set by hand with --crosses.")
    face = platen_face(name, platen)
    stated = replace(
        press.stated,
        laid=read_positive(laid, "--laid"),
        tolerance=read_positive(tolerance, "--tolerance"),
        bar=None if bar is None else parse_bar(bar),
        lens=None,
    )
    if crosses is not None:
        high = read_platen_height(height)
        found = find_by_crosses(press, face, read_crosses(crosses), high, stated)
    elif height is not None:
        raise Refusal("Photos tell the height themselves: leave out --height.")
    else:
        context.meta[RAISED] = context.meta[RAISED][1:]  # the name was taken for a photo
        given = photos_with_heights(context, photos or [], pairs)
        say_doing("Reading the photos …")
        _, seen = read_and_observe(given, face, press.projector.size)
        found = find_by_photos(press, face, seen, stated)
    keep_found(press, name, face, found, out or place, as_json)


def platen_face(name: str, size: str | None) -> PlatenFace:
    """Return a platen's face: of the size typed, else of the platen on file that is called so."""
    from calibration.geometry import PlatenFace
    from chalkbeam.basics.units import parse_platen
    from chalkbeam.placement.platens import CORNER_RADIUS, platens

    if size is not None:
        return PlatenFace(*parse_platen(size), CORNER_RADIUS)
    known = {each.casefold(): found.face for each, found in platens().items()}
    if name.casefold() not in known:
        raise Refusal(f"No platen “{name}” is on file: say how large it is with --platen.")
    return known[name.casefold()]


def keep_found(
    press: Rig, name: str, face: PlatenFace, found: Solution, place: Path, as_json: bool
) -> None:
    """Write a press with a platen that was found, and say where that lies and how surely."""
    from calibration.model.coverage import check_covered
    from calibration.rig.file import save
    from calibration.rig.platens import on_platen, platen_name, with_platen
    from calibration.solve.acceptance import examine
    from chalkbeam.placement.platens import Platen, keep_platen, name_of

    examine(found, face)
    check_covered(found.map, face)
    press = replace(press, platen=press.platen or name_of(press.face) or platen_name(press))
    added = with_platen(press, name, face, found)
    keep_platen(Platen(name, face))
    save(added, place)
    if as_json:
        print_json({"written": str(place), **platen_json(added, name)})
        return
    print(rig_words(on_platen(added, name)))
    print(_lies(added, name))
    print(f"Wrote {place}.")


def platen_json(press: Rig, name: str) -> dict[str, Any]:
    """Return what there is to know of a press's platen, as JSON has it."""
    from calibration.rig.platens import on_platen, place_of

    found = on_platen(press, name)
    lies = place_of(press, found)
    return {
        "platen": name,
        "place_mm": [round(lies.x, 3), round(lies.y, 3)],
        "above_mm": round(lies.height, 3),
        "turn_degrees": round(math.degrees(lies.turn), 4),
        "lean_degrees": round(math.degrees(lies.lean), 4),
        **rig_json(found),
    }


def _lies(press: Rig, name: str) -> str:
    """Say where a platen lies on the post."""
    from calibration.rig.platens import on_platen, place_of, platen_name

    lies = place_of(press, on_platen(press, name))
    ways = [
        f"{abs(lies.x):.1f} mm to the {'right' if lies.x > 0 else 'left'}",
        f"{abs(lies.y):.1f} mm to the {'back' if lies.y > 0 else 'front'}",
        f"{abs(lies.height):.1f} mm {'above' if lies.height > 0 else 'below'}",
    ]
    side = "counter-clockwise" if lies.turn > 0 else "clockwise"
    turned = f", turned {abs(math.degrees(lies.turn)):.1f}° {side}"
    return f"{name} lies {', '.join(ways[:2])} and {ways[2]} {platen_name(press)}{turned}."


@platens_app.command("list")
def list_platens(rig: RigOption = None, as_json: JsonOption = False) -> None:
    """List a rig's platens: the calibrated one first, then where each other lies."""
    from calibration.rig import library
    from calibration.rig.platens import on_platen, platen_name, platen_names

    press = library.open_rig(rig)
    if as_json:
        first = {"platen": platen_name(press), **rig_json(on_platen(press, None))}
        more = [platen_json(press, each.platen) for each in press.platens]
        print(json.dumps([first, *more], indent=1))
        return
    for name in platen_names(press):
        face = on_platen(press, name).face
        where = "the platen of the calibration" if name == platen_name(press) else ""
        print(f"{name}: {face.width:g} x {face.depth:g} mm; {where or _lies(press, name)}")


@platens_app.command("name")
def name_platen(name: NameArgument, rig: RigOption = None) -> None:
    """Name the platen that a rig was calibrated on."""
    from calibration.rig import library
    from calibration.rig.file import save
    from chalkbeam.placement.platens import Platen, keep_platen

    place, press = library.find(rig), library.open_rig(rig)
    if any(each.platen.casefold() == name.casefold() for each in press.platens):
        raise Refusal(f"Another platen of “{press.name}” is called {name}: choose another name.")
    keep_platen(Platen(name, press.face))
    save(replace(press, platen=name), place)
    print(f"The platen that {press.name} was calibrated on is called {name}.")


@platens_app.command("drop")
def drop(name: NameArgument, rig: RigOption = None) -> None:
    """Take a further platen out of a rig."""
    from calibration.rig import library
    from calibration.rig.file import save
    from calibration.rig.platens import without_platen

    place, press = library.find(rig), library.open_rig(rig)
    save(without_platen(press, name), place)
    print(f"{name} is no platen of {press.name} any more.")


def register(rigs: typer.Typer) -> None:
    """Add the group to the rigs'."""
    platens_app.command("add", cls=WithRaised)(add)
    rigs.add_typer(platens_app, name="platen")
