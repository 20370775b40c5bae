"""The shop's taste, kept in a location file of its own: how far beside the plain place."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from calibration.files import write_whole
from calibration.refusal import Refusal
from chalkbeam.basics.toml_files import read_text
from chalkbeam.garments.model import Age
from chalkbeam.locations.library import DATA, builtin_locations, location, presets_folder


@dataclass(frozen=True)
class HouseMove:
    """What the shop decides.

    Attributes
    ----------
    location, style : str
    age : Age
    right, down : float
        From the location's plain place, mm; both 0 for as it is.
    settled : bool
        Whether nothing else is to be offered.
    """

    location: str
    style: str
    age: Age
    right: float
    down: float
    settled: bool = False


def keep_move(move: HouseMove, folder: Path | None = None) -> Path:
    """Write what the shop has decided into its own file of a location; return the file.

    Where the shop has none, it begins as a copy of the program's.

    Raises
    ------
    Refusal
        If the location cannot be used, or the file not be written.
    """
    folder = folder or presets_folder()
    found = location(move.location, folder)
    source = found.origin or _builtin_file(found.name)
    place = found.origin or folder / source.name
    text = read_text(source)
    blocks = re.split(r"(?m)^(?=\[\[)", text)
    kept = [each for each in blocks if not _is_of(each, move, found.name)]
    folder.mkdir(parents=True, exist_ok=True)
    whole = "".join(kept).rstrip("\n") + "\n\n" + _block(move, found.name)
    write_whole(place, whole.encode())
    return place


def _builtin_file(name: str) -> Path:
    for path in sorted(DATA.glob("*.toml")):
        preset = builtin_locations()[path.stem].preset
        if name in (path.stem, preset.twin):
            return path
    raise Refusal(f"There is no file of the location {name}: copy one that is near it first.")


def _is_of(block: str, move: HouseMove, name: str) -> bool:
    """Whether a block of a file is an earlier decision about the same."""
    said = dict(re.findall(r"(?m)^(\w+)\s*=\s*(.+?)\s*$", block))
    return (
        block.startswith("[[moved]]")
        and said.get("location") == f'"{name}"'
        and said.get("style") == f'"{move.style}"'
        and said.get("ages") == f'["{move.age}"]'
    )


def _block(move: HouseMove, name: str) -> str:
    lines = [
        "[[moved]]", f'location = "{name}"', f'style = "{move.style}"', f'ages = ["{move.age}"]',
    ]  # fmt: skip
    for value, ways in ((move.right, ("right", "left")), (move.down, ("down", "up"))):
        if abs(value) >= 0.05:
            lines.append(f'{ways[value < 0]} = "{abs(value):.3f} mm"')
    if move.settled:
        lines.append("settled = true")
    return "\n".join(lines) + "\n"
