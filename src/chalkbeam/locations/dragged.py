"""A location as it was dragged on one garment: two distances, as the text of a location file."""

from __future__ import annotations

import json
from dataclasses import dataclass

ON_THE_LINE = 0.5
"""Nearer to a line than this, mm, is on it: half the thickness of a line of light."""


@dataclass(frozen=True)
class DraggedPlace:
    """Where the ink lies, told by two lines of the garment.

    Attributes
    ----------
    title, face, basis : str
        As in a location's file.
    along, across : str
        The line from which the top of the ink, and that from which its middle, is measured.
    down, right : float
        How far below, and to the right of, them it lies, mm; negative the other way.
    width : float
        Of the ink, mm.
    """

    title: str
    face: str
    basis: str
    along: str
    down: float
    across: str
    right: float
    width: float


def dragged_text(place: DraggedPlace) -> str:
    """Return a place as a location file; `chalkbeam.locations.schema` has its form."""
    facts = {"title": place.title, "face": place.face, "basis": place.basis}
    lines = [f"{name} = {json.dumps(value, ensure_ascii=False)}" for name, value in facts.items()]
    lines += [
        f"width = {json.dumps(_mm(place.width))}",
        "",
        *_rule("middle of the ink, as it was dragged", "ink_middle", "across",
               ("left_of", "right_of"), place.across, place.right),
        "",
        *_rule("top of the ink, as it was dragged", "ink_top", "along",
               ("above", "below"), place.along, place.down),
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def _rule(
    says: str, art: str, on: str, sides: tuple[str, str], line: str, distance: float
) -> list[str]:
    head = ["[[rule]]", f"says = {json.dumps(says)}", f"art = {json.dumps(art)}"]
    if abs(distance) < ON_THE_LINE:
        return [*head, f"{on} = {json.dumps(line)}"]
    side = sides[distance > 0]
    return [*head, f"{side} = {json.dumps(line)}", f"by = {json.dumps(_mm(abs(distance)))}"]


def _mm(length: float) -> str:
    return f"{round(length, 1):g} mm"
