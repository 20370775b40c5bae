"""A sample order: Tern Harbour Rowing Club's regatta. The club and its people are invented."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from calibration.files import write_whole

SHEET = "regatta-order.csv"


def write_sample(folder: Path) -> Path:
    """Write the run sheet and its artwork into a folder; return the sheet's path.

    Raises
    ------
    Refusal
        If the folder cannot be written to.
    """
    for item in resources.files(__name__).iterdir():
        if item.name.endswith((".csv", ".svg", ".png")):
            write_whole(folder / item.name, item.read_bytes())
    return folder / SHEET
