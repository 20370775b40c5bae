"""Files of points, as spreadsheets write them: CSV in, millimetres out."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.files import read_whole
from calibration.geometry import Points
from calibration.refusal import Refusal
from calibration.solve.values import Cross
from chalkbeam.basics.units import LARGEST_LENGTH, Unit, parse_length

_HEADER = re.compile(r"(?P<name>[a-z]+)\s*[_(\[ ]?\s*(?P<unit>mm|cm|in|inch|inches|px)?\s*[)\]]?")

_ALSO = ("height",)
FARTHEST_PIXEL = 1e6
"""px from a picture's corner that no cross is set at."""
HIGHEST = 100.0
"""mm above the bare platen that nothing lit is."""


def read_table(path: Path, wanted: Sequence[str]) -> dict[str, NDArray[np.float64]]:
    """Return columns of a CSV file by name, lengths in mm.

    Cells are numbers with or without a unit (``12.5``, ``1/2 in``). A bare number
    takes its column's unit (``x_mm``, ``x (in)``), and millimetres where there is none:
    a points file is in platen millimetres. Pixels stay pixels (``x_px``). Columns
    may be separated by commas, semicolons or tabs; without a header they are `wanted`
    in order.

    Parameters
    ----------
    path : Path
    wanted : sequence of str
        Names of the columns that must be there; `height` is returned when it is there, and
        other columns are left aside.

    Raises
    ------
    Refusal
        If the file cannot be read, a column is missing or a cell is no length.
    """
    try:
        text = read_whole(path).decode("utf-8-sig")
    except FileNotFoundError:
        raise Refusal(f"There is no file of points at {path}: check the name.") from None
    except (OSError, UnicodeDecodeError):
        raise Refusal(f"{path} cannot be read as text: save the points as CSV.") from None
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    if not lines:
        raise Refusal(f"{path} is empty: write a line for each point, under {','.join(wanted)}.")
    separator = next((mark for mark in ("\t", ";", ",") if mark in lines[0]), ",")
    try:
        rows = [[cell.strip() for cell in row] for row in csv.reader(lines, delimiter=separator)]
    except csv.Error:
        raise Refusal(f"{path} cannot be read as text: save the points as CSV.") from None
    if rows[0][0][:1] in (*"+-.0123456789",):  # a number: there is no header
        names = [(name, "px" if name.endswith("_px") else "mm") for name in wanted]
    else:
        names = [_column(cell) for cell in rows[0]]
        rows = rows[1:]
    known = [name for name, _ in names]
    missing = [name for name in wanted if name not in known]
    if missing:
        raise Refusal(
            f"{path} has no column {missing[0]}: begin it with the line {','.join(wanted)}."
        )
    for name in (*wanted, *_ALSO):
        if known.count(name) > 1:
            raise Refusal(f"{path} has {known.count(name)} columns {name}: keep one of them.")
    table: dict[str, list[float]] = {n: [] for n in known if n in (*wanted, *_ALSO)}
    for number, row in enumerate(rows, start=1):
        if len(row) < len(names):
            raise Refusal(
                f"Point {number} of {path} has {len(row)} of {len(names)} columns: fill it in."
            )
        for (name, unit), cell in zip(names, row, strict=False):
            if name in table:
                table[name].append(_value(cell, unit, f"Point {number} of {path}"))
    return {name: np.array(values) for name, values in table.items()}


def _column(title: str) -> tuple[str, str]:
    """Return the name and unit of a column by its title: ``x_mm``, ``X (in)``, ``y_px``."""
    match = _HEADER.fullmatch(title.lower())
    if match is None:
        return title, "mm"
    unit = match["unit"] or "mm"
    return (f"{match['name']}_px" if unit == "px" else match["name"]), unit


def read_points(path: Path, height: float) -> tuple[Points, NDArray[np.float64]]:
    """Return points and heights from a CSV file with columns x, y and perhaps height.

    Parameters
    ----------
    path : Path
    height : float
        Of points whose file tells none, mm.

    Returns
    -------
    points : ndarray, shape (N, 2), platen frame, mm
    heights : ndarray, shape (N,), mm
    """
    table = read_table(path, ("x", "y"))
    points = np.column_stack([table["x"], table["y"]])
    return points, _heights(table, path, height)


def _heights(
    table: dict[str, NDArray[np.float64]], path: Path, usual: float
) -> NDArray[np.float64]:
    heights = table.get("height", np.full(len(table["x"]), usual))
    for number in np.flatnonzero((heights < 0) | (heights > HIGHEST))[:1]:
        raise Refusal(
            f"Point {number + 1} of {path}: {heights[number]:g} mm is no height above the platen: "
            f"write 0 to {HIGHEST:g} mm."
        )
    return heights


def read_crosses(path: Path) -> tuple[Cross, ...]:
    """Return crosses set by hand from a CSV file with columns x_mm, y_mm, x_px, y_px.

    A column height_mm says how high each mark lies above the bare platen.
    """
    table = read_table(path, ("x", "y", "x_px", "y_px"))
    points = np.column_stack([table["x"], table["y"]])
    pixels = np.column_stack([table["x_px"], table["y_px"]])
    heights = _heights(table, path, 0.0)
    return tuple(
        Cross((float(x), float(y)), (float(u), float(v)), float(h))
        for (x, y), (u, v), h in zip(points, pixels, heights, strict=True)
    )


def _value(cell: str, unit: str, where: str) -> float:
    if unit == "px":
        number = _plain_number(cell)
        if number is None or abs(number) > FARTHEST_PIXEL:
            raise Refusal(f"{where}: “{cell[:40]}” is not a number of pixels.")
        return number
    default = {"mm": Unit.MM, "in": Unit.INCH, "inch": Unit.INCH, "inches": Unit.INCH}.get(unit)
    try:
        number = _plain_number(cell)
        if number is None:
            return parse_length(cell, default)
        length = number * {"mm": 1.0, "cm": 10.0}.get(unit, 25.4)
        if abs(length) > LARGEST_LENGTH:
            raise Refusal(f"“{cell[:40]}” is longer than anything at a press: check it.")
    except Refusal as error:
        raise Refusal(f"{where}: {error}") from None
    return length


def _plain_number(cell: str) -> float | None:
    """Return a number without a unit, as programs write it: 12.5, 1.25e1; None for others."""
    match = re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d{1,4})?", cell, re.ASCII | re.IGNORECASE)
    return float(cell) if match else None
