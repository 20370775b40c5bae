"""`chalkbeam scanner`: a scanner's geometry, from crosses that it draws and a ruler measures.

Exit 0: done. 2: bad input.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.basics.units import parse_length
from chalkbeam.cli.answers import print_json
from chalkbeam.cli.options.as_json import JsonOption
from chalkbeam.cli.options.rig import FaceOption
from chalkbeam.cli.options.scanner import ScannerOption, ask_class

if TYPE_CHECKING:
    from calibration.geometry import PlatenFace, Points
    from calibration.model.pinhole import Array

INSET = 40.0
"""From the platen's edge to the crosses near it, mm: their arms and a slip of the stated place
stay on the platen."""

HEIGHTS = (0.0, 4.0, 10.0, 20.0)
"""At which the bound is told, mm."""


def _face(platen: str) -> PlatenFace:
    from calibration.geometry import PlatenFace
    from chalkbeam.basics.units import parse_platen

    return PlatenFace(*parse_platen(platen))


def _crosses(face: PlatenFace) -> Points:
    """Return where nine crosses are meant to lie, row by row from the near left one, mm."""
    from calibration.geometry import as_points
    from calibration.rig.by_hand import suggested_points

    meant = [cross.point for cross in suggested_points(face, 9, INSET)]
    return as_points(sorted(meant, key=lambda point: (point[1], point[0])))


def write_crosses(
    scanner: ScannerOption,
    platen: FaceOption,
    out: Annotated[Path, typer.Option(help="File to write, .ild.")] = Path("crosses.ild"),
    as_json: JsonOption = False,
) -> None:
    """Write a frame of nine crosses, to be measured where they land on the bare platen."""
    from calibration.files import check_can_write, write_whole
    from calibration.geometry import xy_tuple
    from chalkbeam.lasers.frames import crosses_frame, path_of
    from chalkbeam.lasers.scanner import read_scanner
    from overlay.laser.ilda import ilda_bytes

    check_can_write(out, ".ild")
    unit = read_scanner(scanner)
    meant = _crosses(_face(platen))
    path = path_of(crosses_frame(xy_tuple(meant)), unit)
    ask_class(unit)
    write_whole(out, ilda_bytes([("crosses", path)]))
    if as_json:
        print_json({"written": str(out), "meant_mm": meant.round(3).tolist()})
        return
    print(f"Wrote {out}: nine crosses, counted row by row from the near left one. Measure each "
          "from the platen's middle, and write a table: cross,x,y.")  # fmt: skip
    for number, (x, y) in enumerate(meant, start=1):
        print(f"  {number}: meant for {x:.0f}, {y:.0f} mm")


def fit_crosses(
    scanner: ScannerOption,
    platen: FaceOption,
    measured: Annotated[
        Path | None, typer.Argument(help="CSV: cross,x,y and perhaps height.")
    ] = None,
    eye: Annotated[
        str | None,
        typer.Option(help="In place of a table: the rig whose fixed camera saw the crosses."),
    ] = None,
    lit: Annotated[Path | None, typer.Option(help="With --eye: its picture of them.")] = None,
    dark: Annotated[
        Path | None, typer.Option(help="With --eye: the same without them, scanner off.")
    ] = None,
    error: Annotated[
        str | None,
        typer.Option(
            help="How well a coordinate was measured, one standard deviation: 0.3 mm by a ruler, "
            "0.15 mm by an eye, where nothing is said."
        ),
    ] = None,
    out: Annotated[Path, typer.Option(help="File to write, .toml.")] = Path("scanner-fit.toml"),
    as_json: JsonOption = False,
) -> None:
    """Work out a scanner's geometry from where its crosses were measured to land."""
    from calibration.files import check_can_write
    from calibration.model.uncertainty import over_platen
    from calibration.solve.scanner import fit_scanner
    from chalkbeam.lasers.scanner import read_scanner, write_fitted

    check_can_write(out, ".toml")
    by_eye = eye is not None and lit is not None and dark is not None
    if (measured is None) != by_eye or (eye is None) != (lit is None and dark is None):
        raise Refusal("Give a table of measured crosses, or --eye with --lit and --dark.")
    noise = parse_length(error or ("0.15 mm" if by_eye else "0.3 mm"))
    if not 0.02 <= noise <= 10:
        raise Refusal(f"--error {error} is not possible: give 0.02 mm to 10 mm.")
    unit = read_scanner(scanner)
    face = _face(platen)
    meant = _crosses(face)
    if measured is not None:
        numbers, seen, heights = _table(measured, len(meant))
    else:
        numbers, seen, heights = _by_eye(str(eye), Path(lit or ""), Path(dark or ""), meant)
    signals = unit.stated.signal_from_platen(meant)[numbers]
    fit = fit_scanner(seen, signals, unit.stated, heights, noise)
    write_fitted(out, unit, fit)
    points = over_platen(face)
    bounds = {height: float(fit.bound(points, height).max()) for height in HEIGHTS}
    if as_json:
        print_json({
            "written": str(out), "rms_mm": round(fit.rms, 3),
            "bound_mm": {f"{height:g}": round(each, 3) for height, each in bounds.items()},
        })  # fmt: skip
        return
    print(f"Wrote {out}: the crosses lie {fit.rms:.2f} mm from where it has them (rms).")
    said = ", ".join(f"{each:.1f} mm at {height:g} mm" for height, each in bounds.items())
    print(f"Lines lie within, anywhere on the platen (95 %): {said} of height.")


def _table(path: Path, count: int) -> tuple[list[int], Points, Array]:
    """Return the crosses of a table by their index, where they lie and how high."""
    import numpy as np

    from calibration.geometry import as_points
    from chalkbeam.setup.point_files import read_table

    table = read_table(path, ("cross", "x", "y"))
    numbers = table["cross"]
    if any(number not in range(1, count + 1) for number in numbers):
        raise Refusal(f"{path} names a cross that is none: they count from 1 to {count}.")
    seen = as_points(list(zip(table["x"], table["y"], strict=True)))
    return [int(number) - 1 for number in numbers], seen, table.get("height", np.zeros(len(seen)))


def _by_eye(name: str, lit: Path, dark: Path, meant: Points) -> tuple[list[int], Points, Array]:
    """Return the crosses that a rig's fixed camera saw on the bare platen."""
    import numpy as np

    from calibration.detect.scanner_crosses import crosses_seen
    from calibration.photo.read import read_photo
    from calibration.rig import library
    from chalkbeam.lasers.frames import ARM

    rig = library.open_rig(name)
    if rig.eye is None:
        raise Refusal(f"The rig “{rig.name}” has no eye: fit one, or measure by a ruler.")
    shots = [read_photo(each) for each in (lit, dark)]
    for shot, path in zip(shots, (lit, dark), strict=True):
        if shot.size != rig.eye.size:
            raise Refusal(f"{path} is not of the size of the rig's eye: take it with that camera.")
    seen = crosses_seen(shots[0].image, shots[1].image, rig.eye.camera, meant, ARM)
    numbers = [k for k in range(len(meant)) if not np.isnan(seen[k]).any()]
    return numbers, seen[numbers], np.zeros(len(numbers))


def register(app: typer.Typer) -> None:
    """Add the commands to the program."""
    group = typer.Typer(help="A laser scanner's geometry, from crosses that it draws.")
    group.command("crosses")(write_crosses)
    group.command("fit")(fit_crosses)
    app.add_typer(group, name="scanner")
