"""`chalkbeam rig`: rigs by name, what is known of them, whether they have drifted, repairs."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from calibration.refusal import Refusal
from chalkbeam.cli.answers import print_json
from chalkbeam.cli.commands import rig_platens
from chalkbeam.cli.options.as_json import JsonOption
from chalkbeam.cli.options.photos import photos_with_heights
from chalkbeam.cli.options.rig import (
    OnPlatenOption,
    OutOption,
    PairsOption,
    ReportOption,
    RigOption,
    open_platen,
)
from chalkbeam.cli.parsing import RAISED, WithRaised
from chalkbeam.cli.show_rig import rig_json, rig_words, write_renewed

if TYPE_CHECKING:
    from calibration.rig.file import Rig
    from calibration.solve.fit import Solution

PhotosArgument = Annotated[
    list[Path] | None,
    typer.Argument(
        metavar="[PHOTO... [--raised HEIGHT PHOTO...]]",
        help="Photos taken now, of cards and pattern as for calibrate.",
    ),
]
CROSSES = (
    "CSV of crosses set by hand: where each mark is (x_mm,y_mm) and where its cross then stood "
    "(x_px,y_px)."
)
CrossesOption = Annotated[Path | None, typer.Option(help=CROSSES)]

rigs = typer.Typer(no_args_is_help=True, help="Rigs: list, show, check for drift, repair.")


@rigs.command("list")
def list_rigs(as_json: JsonOption = False) -> None:
    """List the rigs stored by name; the default one has a star."""
    from calibration.rig import library
    from calibration.rig.file import load

    chosen = library.default()
    rows: list[dict[str, Any]] = []
    for name in library.names():
        try:
            rig = load(library.place(name))
        except Refusal as refusal:
            rows.append({"name": name, "default": name == chosen, "problem": str(refusal)})
            continue
        rows.append(
            {
                "name": name,
                "default": name == chosen,
                "platen_mm": [rig.face.width, rig.face.depth],
                "platens": [each.platen for each in rig.platens],
                "size_px": list(rig.projector.size),
                "made_at": rig.made_at,
                "calibration_id": rig.calibration_id,
            }
        )
    if as_json:
        print(json.dumps(rows, indent=1))
        return
    if not rows:
        print(f"No rigs in {library.folder()}: chalkbeam calibrate without --out keeps one there.")
    for row in rows:
        star = "*" if row["default"] else " "
        print(f"{star} {row['name']}: {row.get('problem') or _summary(row)}")


def _summary(row: dict[str, Any]) -> str:
    width, depth = row["platen_mm"]
    across, down = row["size_px"]
    more = "".join(f" and {name}" for name in row["platens"])
    return (
        f"platen {width:g} x {depth:g} mm{more}, projector {across} x {down}, made {row['made_at']}"
    )


@rigs.command("show")
def show(
    which: Annotated[
        str | None, typer.Argument(metavar="[RIG]", help="The rig, as with --rig.")
    ] = None,
    rig: RigOption = None,
    platen: OnPlatenOption = None,
    report: ReportOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say what is known of a rig: what it rests on and how far off light may land."""
    from calibration.rig import library

    if which is not None and rig is not None:
        raise Refusal("The rig is named twice: give it once, with --rig.")
    named = rig if which is None else which
    press = library.open_rig(named) if platen is None else open_platen(named, platen)
    if report is not None:
        from calibration.rig.report import write_report

        write_report(report, press)
    if as_json:
        print_json(rig_json(press))
    else:
        print(rig_words(press))


@rigs.command("default")
def default(
    name: Annotated[
        str | None, typer.Argument(help="The rig to use unless told otherwise.")
    ] = None,
) -> None:
    """Choose the rig that commands use without --rig, or say which it is."""
    from calibration.rig import library

    if name is not None:
        library.set_default(name)
    chosen = library.default()
    if chosen is None:
        raise Refusal("No rig is the default: choose one with chalkbeam rig default NAME.")
    print(chosen)


def check(
    context: typer.Context,
    photos: PhotosArgument = None,
    pairs: PairsOption = False,
    rig: RigOption = None,
    platen: OnPlatenOption = None,
    crosses: CrossesOption = None,
    as_json: JsonOption = False,
) -> None:
    """Tell whether the light still lands where it did: 0 unchanged, 1 moved or to calibrate."""
    from calibration.rig import drift

    rig, photos = _rig_first(context, rig, photos)
    press = open_platen(rig, platen)
    found = drift.compare(press, _now(context, press, photos, pairs, crosses))
    if as_json:
        answer = {
            "verdict": found.verdict.value,
            "shift_mm": [round(value, 3) for value in found.shift],
            "turn_degrees": round(math.degrees(found.turn), 4),
            "largest_mm": round(found.largest, 3),
            "doubt_mm": round(found.detectable, 3),
            "sentence": found.sentence,
        }
        print(json.dumps(answer, indent=1))
    else:
        print(found.sentence)
    if found.verdict is not drift.DriftVerdict.UNCHANGED:
        raise typer.Exit(1)


def repair(
    context: typer.Context,
    photos: PhotosArgument = None,
    pairs: PairsOption = False,
    rig: RigOption = None,
    crosses: CrossesOption = None,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Bring a rig up to date after its projector was bumped: its lens stays, its place is found."""
    from calibration.rig import drift, library
    from calibration.solve.acceptance import examine

    rig, photos = _rig_first(context, rig, photos)
    place = library.find(rig)
    press = library.open_rig(rig)
    now = _now(context, press, photos, pairs, crosses)
    found = drift.compare(press, now)
    if found.verdict is drift.DriftVerdict.RECALIBRATE:
        raise Refusal(found.sentence)
    examine(now, press.face)
    write_renewed(press, now, out or place, as_json)


@rigs.command("touch-up")
def touch_up(
    crosses: Annotated[Path, typer.Option(help=CROSSES)],
    rig: RigOption = None,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take out the mean laying error of the cards: two or three crosses nudged on to marks."""
    from calibration.rig import by_hand, library
    from calibration.solve.acceptance import examine
    from chalkbeam.setup.point_files import read_crosses

    place = library.find(rig)
    press = library.open_rig(rig)
    now = by_hand.touch_up(press, read_crosses(crosses))
    examine(now, press.face)
    write_renewed(press, now, out or place, as_json)


def _rig_first(
    context: typer.Context, rig: str | None, photos: list[Path] | None
) -> tuple[str | None, list[Path] | None]:
    """Return rig and photos where the rig's name was typed before them, as for ``rig show``."""
    from calibration.rig import library

    if rig is not None or not photos or photos[0].exists():
        return rig, photos
    first = str(photos[0])
    if first.casefold() not in {name.casefold() for name in library.names()}:
        return rig, photos
    context.meta[RAISED] = context.meta[RAISED][1:]
    return first, photos[1:]


def _now(
    context: typer.Context,
    press: Rig,
    photos: list[Path] | None,
    pairs: bool,
    crosses: Path | None,
) -> Solution:
    """Return the rig solved from what was observed now."""
    from calibration.rig import drift
    from calibration.rig.from_photos import read_and_observe
    from calibration.rig.heights import check_heights
    from chalkbeam.setup.point_files import read_crosses

    if bool(photos) == (crosses is not None):
        raise Refusal("Give photos taken now, or crosses set by hand with --crosses.")
    if crosses is not None:
        return drift.solve_bumped(press, crosses=read_crosses(crosses))
    _, seen = read_and_observe(
        photos_with_heights(context, photos or [], pairs), press.face, press.projector.size
    )
    check_heights(press, seen)
    return drift.solve_bumped(press, seen)


def register(app: typer.Typer) -> None:
    """Add the group to the program."""
    rigs.command("check", cls=WithRaised)(check)
    rigs.command("repair", cls=WithRaised)(repair)
    rig_platens.register(rigs)
    app.add_typer(rigs, name="rig")
