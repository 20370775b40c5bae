"""`chalkbeam eye`: a camera that stands fixed at the press, and what it sees.

Exit 0: done; for `read`, all that was asked for is sure and good. 1: it is not. 2: bad input.
"""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from calibration.refusal import Refusal
from chalkbeam.cli.options.artwork import (
    ArtOption,
    HeightOption,
    MirroredOption,
    PageOption,
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
    find_garment,
)
from chalkbeam.cli.options.rig import (
    OnPlatenOption,
    RigOption,
    check_place,
    open_platen,
    read_height,
)
from chalkbeam.cli.options.tolerance import read_tolerance
from chalkbeam.cli.parsing import RAISED, WithRaised
from chalkbeam.cli.terminal import say_doing

if TYPE_CHECKING:
    from calibration.model.eye import Eye
    from calibration.rig.eye import EyeView
    from calibration.rig.file import Rig
    from calibration.solve.eye import FocalPrior

eyes = typer.Typer(
    no_args_is_help=True,
    help="A camera that stands fixed at the press: what it is shown, where it stands.",
)


@eyes.command("patterns")
def patterns(
    out: Annotated[Path, typer.Option("--out", help="Folder to write the pictures to.")],
    rig: RigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write the pictures of one burst, to be projected one after the other, and burst.json."""
    from calibration.rig import library
    from chalkbeam.eye.flashes import write_burst

    press = library.open_rig(rig)
    names = write_burst(press, out)
    if as_json:
        print(json.dumps({"folder": str(out), "pictures": list(names)}, indent=1))
        return
    print(f"Wrote {len(names)} pictures to {out}; burst.json names them in order.")
    print(
        "Show each alone, full screen and unscaled, and take one picture of each, exposure and "
        "white balance locked so that a white shirt under “dim” is not washed out."
    )


@eyes.command("fit", cls=WithRaised)
def fit(
    context: typer.Context,
    *,
    bursts: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="DIR... [--raised HEIGHT DIR...]",
            help="Folders with the camera's pictures of the bare platen; those after --raised "
            "10mm show a flat board of that height on it.",
        ),
    ] = None,
    rig: RigOption = None,
    lens_prior: Annotated[
        str | None,
        typer.Option(
            "--lens-prior",
            help="What is known of the camera's lens, with its error: view across the picture, "
            "such as 78deg or 78+-3deg, or focal length, such as 1400+-50px.",
        ),
    ] = None,
    platen_colour: Annotated[
        str | None,
        typer.Option("--platen-colour", help="Colour of the bare platen, such as #8c8c8c."),
    ] = None,
    paper: Annotated[
        Path | None,
        typer.Option(
            "--paper",
            help="Folder with pictures of a sheet of white paper on the platen's middle: colours "
            "are then measured against it.",
        ),
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", help="Rig file to write.")] = None,
    report: Annotated[
        Path | None, typer.Option("--report", help="Picture to write: what the camera sees.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Work out where the fixed camera stands and its lens, and keep it in the rig."""
    from calibration.files import check_can_write
    from calibration.rig import library
    from calibration.rig.eye import bounds, fit_eye, with_eye
    from calibration.rig.eye_report import places, plain_sides, sides, write_eye_report
    from calibration.rig.file import save
    from chalkbeam.eye.bare import fit_words
    from chalkbeam.eye.flashes import dots_of

    if not bursts:
        raise Refusal("Name the folder with the camera's pictures of the bare platen.")
    check_place(out, report)
    if report is not None:
        check_can_write(report, ".png")
    press = library.open_rig(rig)
    place = out if out is not None else library.find(rig)
    if paper is not None and platen_colour is not None:
        raise Refusal("Give either --paper or --platen-colour: the one tells the other.")
    reflectance = None if platen_colour is None else _reflectance(platen_colour)
    views = [
        _view(folder, read_height(height), press)
        for folder, height in zip(bursts, context.meta[RAISED], strict=True)
    ]
    prior = None if lens_prior is None else read_lens_prior(lens_prior, views[0].size[0])
    if not as_json:
        say_doing("Looking for the pattern …")
    eye = replace(fit_eye(press, views, dots_of(press.projector), prior), reflectance=reflectance)
    if paper is not None:
        bare = next(
            folder
            for folder, height in zip(bursts, context.meta[RAISED], strict=True)
            if read_height(height) == 0
        )
        eye = replace(eye, reflectance=_against_paper(with_eye(press, eye), bare, paper))
    seen = sides(press, eye)
    limits = bounds(press, eye)
    said = [*fit_words(press, eye), *(each.words for each in seen), *places(seen)]
    if report is not None:
        write_eye_report(report, press, eye, views[0].white, said)
    save(with_eye(press, eye), place)
    if as_json:
        print(json.dumps(_plain(eye, limits) | {"sides": plain_sides(seen)}, indent=1))
        return
    print("\n".join(said))
    print(f"Wrote {place}" + (f" and {report}." if report else "."))


@eyes.command("read")
def read(
    folder: Annotated[
        Path, typer.Argument(metavar="DIR", help="Folder with the pictures of the loaded platen.")
    ],
    empty: Annotated[
        Path, typer.Option("--empty", help="Folder with the pictures of the empty platen.")
    ],
    style: StyleOption,
    size: SizeOption,
    face: Annotated[str, typer.Option("--face", help="Which side lies up: front or back.")],
    rig: RigOption = None,
    platen: OnPlatenOption = None,
    fit: FitOption = "regular",
    measured: MeasuredOption = None,
    art: ArtOption = None,
    text: TextOption = None,
    location: Annotated[
        str | None, typer.Option("--location", help="Where the transfer goes, such as full-front.")
    ] = None,
    width: WidthOption = None,
    height: HeightOption = None,
    sheet_width: SheetWidthOption = None,
    sheet_margin: SheetMarginOption = None,
    mirrored: MirroredOption = False,
    whole: WholeOption = False,
    page: PageOption = 1,
    turn: TurnOption = None,
    tolerance: Annotated[
        str, typer.Option("--tolerance", help="How far off a transfer may lie and be good.")
    ] = "2mm",
    turn_tolerance: Annotated[
        float, typer.Option("--turn-tolerance", help="How far turned it may lie, degrees.")
    ] = 1.0,
    as_json: JsonOption = False,
) -> None:
    """Say where the garment lies, what it is, and whether the transfer on it lies right."""
    from chalkbeam.cli.show_reading import reading_words
    from chalkbeam.eye.burst import read_burst
    from chalkbeam.eye.instead import instead_of
    from chalkbeam.eye.read import WantedPrint, read_piece, usual_load

    if face not in ("front", "back"):
        raise Refusal(f"--face {face} cannot be seen: write front or back.")
    press = open_platen(rig, platen)
    within = read_tolerance(tolerance, turn_tolerance)
    garment = find_garment(style, size, fit, measured)
    garment.face(face)
    wanted, usual = None, usual_load(press)
    if art is not None or text is not None:
        from chalkbeam.artwork.ink_measures import measured_ink
        from chalkbeam.artwork.letters import letter_mask
        from chalkbeam.locations import location as find_location
        from chalkbeam.placement import place
        from chalkbeam.placement.loading import load
        from chalkbeam.placement.platens import Platen

        if location is None:
            raise Refusal("Say where the transfer goes with --location, such as full-front.")
        spot = find_location(location)
        if spot.face != face:
            raise Refusal(f"{spot.title} is on the {spot.face.replace('_', ' ')}, not the {face}.")
        artwork = read_art(
            art, text, garment, spot, width=width, height=height, sheet_width=sheet_width,
            sheet_margin=sheet_margin, mirrored=mirrored, page=page, whole=whole,
        )  # fmt: skip
        placement = place(garment, spot, artwork, turn=read_turn(turn))
        usual = load(placement, Platen(press.name, press.face)).platen_from_garment
        ink = (
            letter_mask(artwork)
            if art is None
            else measured_ink(art, page=page, mirrored=mirrored, whole=whole).mask()
        )
        known = sheet_width is not None or sheet_margin is not None
        wanted = WantedPrint(artwork, ink, placement.garment_from_art, known)
    elif location is not None:
        raise Refusal("--location goes with the artwork that lies there: give --art FILE.")
    piece = read_piece(
        press, read_burst(folder), read_burst(empty), garment, face, wanted=wanted, usual=usual,
        others=instead_of(garment, face), tolerance=within,
    )  # fmt: skip
    if as_json:
        print(json.dumps(piece.reading.plain(), allow_nan=False))
    else:
        print("\n".join(reading_words(piece, usual, garment)))
    if not piece.reading.good:
        raise typer.Exit(1)


def _view(folder: Path, raised: float, press: Rig) -> EyeView:
    from chalkbeam.eye.bare import bare_view
    from chalkbeam.eye.burst import read_burst

    return bare_view(read_burst(folder), folder.name or str(folder), raised, press)


_PRIOR = re.compile(
    r"\s*([\d.]+)\s*(?:(?:\+-|\+/-|±)\s*([\d.]+)\s*)?(px|deg|degrees|°)\s*", re.IGNORECASE
)
_USUAL_ERROR = 0.05  # of a focal length stated without one: data sheets round


def read_lens_prior(text: str, width: int) -> FocalPrior:
    """Return what is known of a lens as typed: a focal length in px or a view across in degrees.

    Parameters
    ----------
    text : str
    width : int
        Of the picture, px.
    """
    from calibration.solve.eye import FocalPrior

    found = _PRIOR.fullmatch(text)
    try:
        if found is None:
            raise ValueError(text)
        value = float(found[1])
        error = None if found[2] is None else float(found[2])
    except ValueError:
        raise Refusal(
            f"“{text}” says nothing of a lens: give the view across the picture, such as "
            "78+-3deg, or the focal length, such as 1400+-50px."
        ) from None
    if found[3].lower() == "px":
        focal, spread = value, error
    else:
        if not 10 <= value <= 150:
            raise Refusal(f"A view of {value:g} degrees is no camera's here: give 10 to 150.")
        half = math.radians(value) / 2
        focal = width / 2 / math.tan(half)
        # d(focal) = width / 4 / sin^2(half) d(view)
        spread = None if error is None else width / 4 / math.sin(half) ** 2 * math.radians(error)
    spread = _USUAL_ERROR * focal if spread is None else spread
    if not (0.1 * width <= focal <= 20 * width and 0 < spread <= focal):
        raise Refusal(
            f"“{text}” is no lens of a picture {width} px wide: check the numbers and units."
        )
    return FocalPrior(focal, spread)


def _against_paper(press: Rig, bare: Path, paper: Path) -> tuple[float, float, float]:
    from chalkbeam.eye.burst import read_burst
    from chalkbeam.eye.colour import measure_platen

    found = measure_platen(press, read_burst(bare), read_burst(paper))
    if found is None:
        raise Refusal(
            f"{paper} does not show white paper on the platen's middle, unbleached, under red, "
            "green and blue light: lay a sheet there and take the burst again."
        )
    return found


def _reflectance(text: str) -> tuple[float, float, float]:
    from chalkbeam.garments.fabrics import find_fabric
    from overlay.colour.colorimetry import linear_from_srgb

    red, green, blue = (float(value) for value in linear_from_srgb(find_fabric(text).colour))
    return red, green, blue


def _plain(eye: Eye, limits: tuple[tuple[float, float], ...]) -> dict[str, Any]:
    return {
        "lens_mm": [round(float(value), 2) for value in eye.camera.lens],
        "focal_px": round(eye.camera.focal, 3),
        "size_px": list(eye.size),
        "points": eye.points,
        "noise_px": round(eye.noise, 4),
        "fixed_by": list(eye.fixed_by),
        "heights": [
            {"height_mm": height, "within_mm": round(bound, 4)} for height, bound in limits
        ],
    }


def register(app: typer.Typer) -> None:
    """Add the commands to the program."""
    app.add_typer(eyes, name="eye")
