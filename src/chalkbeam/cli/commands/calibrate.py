"""`chalkbeam calibrate`: photos to a rig."""

from __future__ import annotations

import itertools
import json
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

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
)
from chalkbeam.cli.parsing import RAISED, SPACER, WithRaised

if TYPE_CHECKING:
    from calibration.photo.read import Photo
    from calibration.rig.file import Rig
    from calibration.rig.from_photos import Calibration, CalibrationPhoto

JsonOption = Annotated[bool, typer.Option("--json", help="Print as JSON.")]
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


def rig_name(name: str | None, out: Path | None) -> str:
    """Return what a new rig is called."""
    return name or (out.stem if out else "press")


def save_new_rig(
    rig: Rig, out: Path | None, report: Path | None, as_json: bool, photos: Sequence[Photo] = ()
) -> None:
    """Write a new rig, to a file or by its name, and its report; tell how sure it is."""
    from calibration.rig import library
    from calibration.rig.file import save
    from calibration.rig.report import write_report

    if report is not None:
        write_report(report, rig, photos)
    earlier = None
    if out is not None:
        save(rig, out)
    else:
        earlier = library.set_aside(rig.name)
        out = library.keep(rig)
    if as_json:
        print(json.dumps({"written": str(out), **rig_json(rig)}, indent=1))
        return
    print(rig_words(rig))
    print(f"Wrote {out}" + (f" and {report}." if report else "."))
    if earlier is not None:
        print(f"The calibration of that name before it is kept as {earlier}.")


def photos_with_heights(
    context: typer.Context, photos: list[Path], pairs: bool = False
) -> tuple[CalibrationPhoto, ...]:
    """Return photo files with the height that was typed before each, two and two if `pairs`."""
    from calibration.rig.from_photos import CalibrationPhoto

    heights: tuple[str, ...] = context.meta[RAISED]
    told = [(path, read_height(typed)) for path, typed in zip(photos, heights, strict=True)]
    if not pairs:
        return tuple(CalibrationPhoto(path, raised) for path, raised in told)
    found = []
    for raised, group in itertools.groupby(told, key=lambda each: each[1]):
        paths = [path for path, _ in group]
        if len(paths) % 2:
            raise Refusal(
                f"{paths[-1]} has no second photo: with --pairs name each photo of the cards and "
                "then the one of the pattern from the same place."
            )
        found += [
            CalibrationPhoto(one, raised, two)
            for one, two in zip(paths[::2], paths[1::2], strict=True)
        ]
    return tuple(found)


def rig_json(rig: Rig) -> dict[str, Any]:
    """Return what there is to know of a rig, as JSON has it."""
    import math

    from calibration.model.uncertainty import place_in_words, worst

    fit = rig.fit
    heights = worst(rig.projector, fit.matrix, fit.freedom, rig.face, _table_heights(rig))
    return {
        "name": rig.name,
        "calibration_id": rig.calibration_id,
        "made_at": rig.made_at,
        "platen_mm": [rig.face.width, rig.face.depth],
        "size_px": list(rig.projector.size),
        "model": fit.model,
        "height_from": fit.height_from,
        "lens_mm": [round(float(value), 2) for value in rig.projector.pinhole.lens],
        "corner_noise_px": round(fit.noise, 4),
        "print_scale": round(fit.print_scale, 6),
        "tolerance_mm": rig.stated.tolerance,
        "photos": [
            {
                "name": photo.name,
                "raised_mm": photo.raised,
                "card_corners": len(photo.cards),
                "pattern_corners": len(photo.pattern),
            }
            for photo in rig.photos
        ],
        "crosses": len(rig.crosses),
        "cards": [
            {
                "name": card.name,
                "raised_mm": card.raised,
                "shift_mm": [round(value, 4) for value in card.shift],
                "turn_degrees": round(math.degrees(card.turn), 4),
                "residual_mm": round(card.residual, 4),
                "corners": card.corners,
            }
            for card in fit.cards
        ],
        "heights": [
            {
                "height_mm": each.height,
                "within_mm": round(each.bound, 4),
                "standard_error_mm": round(each.typical, 4),
                "worst_point_mm": [round(value, 2) for value in each.point],
                "worst_place": place_in_words(each.point, rig.face),
            }
            for each in heights
        ],
        "basis": BASIS,
        "notes": list(fit.notes),
    }


BASIS = (
    "within_mm holds in at least 95 % of calibrations, at its point: it carries corner noise, how "
    "the cards were laid, print scale, board height, what the photos leave open of the "
    "projector's lens, and waves of the platen as far as the light shows them, but not cloth or a "
    "board of another height than stated, nor a pattern that was shown scaled or in a window."
)


def rig_words(rig: Rig) -> str:
    """Return what there is to know of a rig, for the terminal."""
    from calibration.model.uncertainty import place_in_words, worst
    from calibration.solve.acceptance import describe_card_pose

    fit = rig.fit
    lines = [
        f"{rig.name}: platen {rig.face.width:g} x {rig.face.depth:g} mm, projector "
        f"{rig.projector.size[0]} x {rig.projector.size[1]}, calibration {rig.calibration_id}",
        f"Model: {fit.model}; height from {fit.height_from}.",
    ]
    if rig.photos:
        lines.append(
            f"{len(rig.photos)} photo{'s' if len(rig.photos) > 1 else ''}, "
            f"{sum(len(p.cards) for p in rig.photos)} card corners and "
            f"{sum(len(p.pattern) for p in rig.photos)} pattern corners, scattering by "
            f"{fit.noise:.2f} px; cards printed at {100 * fit.print_scale:.2f} %."
        )
    if rig.crosses:
        lines.append(f"{len(rig.crosses)} crosses set by hand.")
    lines += [f"  {describe_card_pose(card)}." for card in fit.cards]
    lines.append("Light lands within (95 %):")
    for each in worst(rig.projector, fit.matrix, fit.freedom, rig.face, _table_heights(rig)):
        over = "" if each.bound <= rig.stated.tolerance else "  over the tolerance"
        lines.append(
            f"  {each.bound:5.2f} mm at {each.height:4.1f} mm height, worst at "
            f"{place_in_words(each.point, rig.face)}{over}"
        )
    lines += fit.notes
    return "\n".join(lines)


def _table_heights(rig: Rig) -> tuple[float, ...]:
    """Return the heights a report tells of, mm."""
    return tuple(sorted({0.0, 1.0, 4.0, 10.0, 20.0, *rig.stated.heights}))


def say_doing(what: str) -> None:
    """Say on standard error what takes a few seconds."""
    print(what, file=sys.stderr, flush=True)


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("calibrate", cls=WithRaised)(calibrate)
