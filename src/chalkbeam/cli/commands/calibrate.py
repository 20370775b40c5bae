"""`chalkbeam calibrate`: photos to a rig."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.basics.units import parse_platen, parse_resolution
from chalkbeam.cli.commands.calibrate_camera import (
    CameraOption,
    DisplayOption,
    ViewsOption,
    check_photos_given,
    rig_from_camera,
    wanted_photos,
)
from chalkbeam.cli.options.as_json import JsonOption
from chalkbeam.cli.options.photos import photos_with_heights
from chalkbeam.cli.options.rig import (
    FaceOption,
    LensOption,
    NameOption,
    NewRigOption,
    PairsOption,
    ReportOption,
    ResolutionOption,
    ThrowOption,
    ToleranceOption,
    UpToOption,
    check_place,
    read_height,
    read_lens,
    read_positive,
    read_throw,
    rig_name,
)
from chalkbeam.cli.parsing import SPACER, WithRaised
from chalkbeam.cli.show_rig import save_new_rig
from chalkbeam.cli.terminal import say_doing

if TYPE_CHECKING:
    from calibration.rig.from_photos import Calibration, CalibrationPhoto

PhotosArgument = Annotated[
    list[Path] | None,
    typer.Argument(
        metavar="PHOTO... [--raised HEIGHT PHOTO...]",
        help="Photos of cards and pattern; those after --raised 10mm show the cards on a flat "
        "board of that height.",
    ),
]


def calibrate(
    context: typer.Context,
    *,
    photos: PhotosArgument = None,
    pairs: PairsOption = False,
    platen: FaceOption,
    size: ResolutionOption,
    out: NewRigOption = None,
    name: NameOption = None,
    report: ReportOption = None,
    bar: Annotated[
        str | None, typer.Option(help="Measured length of the printed 100 mm bar: 99.7mm.")
    ] = None,
    lens: LensOption = None,
    throw: ThrowOption = None,
    laid: Annotated[str, typer.Option(help="Every card lies within this of its place.")] = "0.8mm",
    tolerance: ToleranceOption = "1mm",
    up_to: UpToOption = "4mm",
    part_lit: Annotated[
        bool, typer.Option("--part-lit", help="The picture covers only a part of the platen.")
    ] = False,
    camera: CameraOption = None,
    views: ViewsOption = 3,
    display: DisplayOption = None,
    as_json: JsonOption = False,
) -> None:
    """Work out from photos where the projector's light lands, and how surely."""
    from calibration.geometry import PlatenFace
    from calibration.rig import library
    from calibration.rig.file import Rig
    from calibration.rig.from_photos import calibrate as calibrate_photos
    from calibration.solve.values import Stated
    from chalkbeam.setup.bar import parse_bar

    top = read_height(up_to)
    stated = Stated(
        laid=read_positive(laid, "--laid"),
        bar=None if bar is None else parse_bar(bar),
        throw=None if throw is None else read_throw(throw),
        lens=None if lens is None else read_lens(lens),
        tolerance=read_positive(tolerance, "--tolerance"),
        heights=(0.0, top) if top else (0.0,),
    )
    face = PlatenFace(*parse_platen(platen))
    check_place(out, report)
    beside = out if out is not None else library.place(rig_name(name, out))
    resolution = parse_resolution(size)

    def solve(taken: Sequence[CalibrationPhoto], at_every_height: bool = True) -> Calibration:
        asked = stated if at_every_height else replace(stated, heights=(0.0,))
        return calibrate_photos(taken, face, resolution, asked, part_lit, tell)

    tell = say_doing if camera is None else lambda _: None  # a camera has words of its own
    if camera is None:
        check_photos_given(photos, views, display)
        done = solve(photos_with_heights(context, photos or [], pairs))
    else:
        if pairs:
            raise Refusal("A camera takes no pairs: leave out --pairs, or name the photos.")
        spacer = read_height(context.meta[SPACER])
        wanted = wanted_photos(photos, face, resolution, views, spacer)
        done = rig_from_camera(camera, wanted, beside, display, solve)
    rig = Rig.of(done.solution, rig_name(name, out), face)
    save_new_rig(rig, out, report, as_json, done.photos)
    if display is None and not as_json:
        print(_TAKEN_ON_TRUST)


_TAKEN_ON_TRUST = (
    "Whether the pattern filled the projector's screen, unscaled, no photo can tell: before the "
    "first garment see that chalkbeam project --check lights the platen's very edges."
)


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("calibrate", cls=WithRaised)(calibrate)
