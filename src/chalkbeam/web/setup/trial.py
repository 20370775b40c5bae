"""The first shirt: an order of one piece, with nothing on it but a mark."""

from __future__ import annotations

from pathlib import Path

from calibration.files import write_whole

MARK = """<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="60mm" viewBox="0 0 60 60">
<path d="M0 0h60v60H0zM3 3v54h54V3zM28.5 10h3v40h-3zM10 28.5h40v3H10z" fill-rule="evenodd"/>
</svg>
"""
"""A square of 60 mm with a cross in it: what a ruler can be held to."""

SHEET = """Garment,Size,Colour,Qty,Location,Artwork,Width,Note
Crew tee,L,white,1,left chest,mark.svg,60 mm,An old shirt: nothing needs to be pressed
"""


def written(folder: Path) -> Path:
    """Write the order into a folder; return its sheet.

    Raises
    ------
    Refusal
        If the folder cannot be written to.
    """
    write_whole(folder / "mark.svg", MARK)
    sheet = folder / "first-shirt.csv"
    write_whole(sheet, SHEET)
    return sheet
