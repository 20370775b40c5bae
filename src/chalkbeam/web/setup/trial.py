"""The first shirt: an order of one piece, with nothing on it but a mark."""

from __future__ import annotations

from pathlib import Path

from calibration.files import write_whole

MARK = """<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="60mm" viewBox="0 0 60 60">
<path d="M0 0h60v60H0zM3 3v54h54V3zM28.5 10h3v40h-3zM10 28.5h40v3H10z" fill-rule="evenodd"/>
</svg>
"""
"""A square of 80 mm with a cross in it: what a ruler can be held to."""

SHEET = """Garment,Size,Colour,Qty,Location,Artwork,Width,Note
Crew tee,L,white,1,left chest,mark.svg,80 mm,An old shirt: nothing needs to be pressed
"""


def place(data: Path) -> Path:
    """Return the file of its sheet in a shop's data folder; the run is called after it."""
    return data / "setup" / "trial" / "First shirt.csv"


def written(sheet: Path) -> Path:
    """Write the order, its mark beside its sheet; return the sheet.

    Raises
    ------
    Refusal
        If the folder cannot be written to.
    """
    write_whole(sheet.with_name("mark.svg"), MARK)
    write_whole(sheet, SHEET)
    return sheet
