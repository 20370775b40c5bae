"""`chalkbeam aim`: platen millimetres to projector pixels."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.basics.units import parse_length
from chalkbeam.cli.answers import check_numbers, print_json
from chalkbeam.cli.options.as_json import JsonOption
from chalkbeam.cli.options.rig import OnPlatenOption, RigOption, open_platen, read_height
from chalkbeam.cli.parsing import Signed

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from calibration.geometry import Points
    from calibration.rig.file import Rig

AIM_COLUMNS = ("x_mm", "y_mm", "x_px", "y_px")
"""What `aim` prints as CSV, a row a point in the order given; JSON says more."""


def aim(
    coordinates: Annotated[
        list[str] | None,
        typer.Argument(metavar="[X Y]", help="A point of the platen, such as -100mm 50mm."),
    ] = None,
    rig: RigOption = None,
    platen: OnPlatenOption = None,
    points: Annotated[
        Path | None, typer.Option(help="CSV of points with columns x,y (or x_mm,y_mm), in mm.")
    ] = None,
    height: Annotated[
        str, typer.Option(help="Height of the lit surface above the bare platen.")
    ] = "0mm",
    as_json: JsonOption = False,
) -> None:
    """Say which projector pixels light points of the platen, as CSV: x right, y away from you."""
    import numpy as np

    from calibration.model.uncertainty import bound, landing_covariance
    from chalkbeam.setup.point_files import read_points

    if (points is None) == (not coordinates):
        raise Refusal("Give one point as X Y, or a file of points with --points.")
    above = read_height(height)
    if points is not None:
        places, heights = read_points(points, above)
    else:
        typed = coordinates or []
        if len(typed) != 2:
            raise Refusal(f"A point is X and Y, such as -100mm 50mm, not {' '.join(typed)}.")
        places = np.array([[parse_length(word) for word in typed]])
        heights = np.array([above])
    press = open_platen(rig, platen)
    pixels = press.projector.projector_from_platen(places, heights)
    lit = press.projector.in_picture(pixels)
    _tell_off(places, lit, press)
    spread = landing_covariance(press.projector, press.fit.matrix, places, heights)
    limits = bound(spread, press.fit.freedom)
    rows = [
        {
            "x_mm": round(float(x), 6),
            "y_mm": round(float(y), 6),
            "x_px": round(float(u), 4),
            "y_px": round(float(v), 4),
            "height_mm": round(float(h), 6),
            "within_mm": round(float(limit), 4),
            "lit": bool(light),
        }
        for (x, y), h, (u, v), limit, light in zip(
            places, heights, pixels, limits, lit, strict=True
        )
    ]
    check_numbers(rows)
    if as_json:
        calibration = {"rig": press.name, "calibration_id": press.calibration_id}
        print_json({**calibration, "points": rows})
        return
    print(",".join(AIM_COLUMNS))
    for row in rows:
        print(",".join(f"{row[column]:.10g}" for column in AIM_COLUMNS))


def _tell_off(places: Points, lit: NDArray[np.bool_], press: Rig) -> None:
    """Remark on points that no light reaches, or for whose light no photo vouches."""
    size = "x".join(map(str, press.projector.size))
    off = (abs(places) > [press.face.width / 2, press.face.depth / 2]).any(axis=1)
    for found, said in (
        (places[~lit], f"lies outside the projector's picture of {size}: no light falls there"),
        (places[off & lit], "lies off the platen, where no photo says how true the light is"),
    ):
        for x, y in found[:1]:
            more = f" (and {len(found) - 1} more)" if len(found) > 1 else ""
            typer.echo(f"Note: the point {x:g}, {y:g} mm{more} {said}.", err=True)


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("aim", cls=Signed)(aim)
