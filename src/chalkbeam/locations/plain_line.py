"""A location from one plain line: “7 in down from the shoulder, 4 in across”.

Up and down: a length, a way (down, below, up, above …) and a line of the garment; or “on the
pit line”. Sideways: a length and a way, from the centre line or the side; or “centred”, which
holds where nothing is said.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit, parse_length
from chalkbeam.locations.dragged import DraggedPlace, dragged_text

_LINES = {
    "shoulder": "shoulder_top", "top of the shoulder": "shoulder_top", "collar": "neck_seam",
    "neck": "neck_seam", "neck seam": "neck_seam", "neckline": "neck_seam", "armpit": "pit_line",
    "armpits": "pit_line", "armpit line": "pit_line", "pit line": "pit_line", "hem": "hem",
    "sleeve hem": "sleeve_hem", "cuff": "cuff", "waistband": "waistband", "waist": "waistband",
    "shoulder seam": "shoulder_seam", "hood": "hood_drape", "lying hood": "hood_drape",
    "pocket": "pocket_top",
}  # fmt: skip
_DOWN = {"down": 1, "below": 1, "under": 1, "beneath": 1, "lower": 1, "up": -1, "above": -1,
         "over": -1, "higher": -1}  # fmt: skip
_ACROSS = {"across": 1, "right": 1, "left": -1, "out": 1, "off": 1, "in": 1, "over": 1}
_LENGTH = r"(?P<far>[\d.,/ ]+(?:mm|cm|in|inch|inches|\"|”)?)"
_ALONG = re.compile(
    rf"{_LENGTH}\s+(?P<way>{'|'.join(_DOWN)})(?:\s+from)?\s+(?:the\s+)?(?P<line>[a-z ]+)"
)
_SIDE = re.compile(
    rf"{_LENGTH}\s+(?:to\s+the\s+)?(?P<way>{'|'.join(_ACROSS)})"
    r"(?:\s+(?:from|of)\s+(?:the\s+)?(?P<line>centre line|center line|centre|center|middle|side"
    r"|left side|right side|left|right))?"
)
_ON = re.compile(r"(?:on|at)\s+(?:the\s+)?(?P<line>[a-z ]+)")
_CENTRED = ("centred", "centered", "in the centre", "in the middle", "on the centre line",
            "on the center line", "central")  # fmt: skip
EXAMPLE = "“7 in down from the shoulder, 4 in across”"


@dataclass(frozen=True)
class PlainLine:
    """What a plain line says: from which lines, how far down and to the right, mm."""

    along: str
    down: float
    across: str
    right: float

    @property
    def art(self) -> str:
        """Which part of the ink counts up and down: what a ruler meets first from that line."""
        if self.along in ("shoulder_top", "pit_line"):
            return "optical_centre"
        return "ink_top" if self.down > 0 else "ink_bottom"


def read_line(text: str, face: str = "front", unit: Unit | None = None) -> PlainLine:
    """Return what a plain line says of a face.

    Raises
    ------
    Refusal
        If a part of it is not understood, or it does not say how far up or down.
    """
    along: tuple[str, float] | None = None
    across = ("centre", 0.0)
    for part in filter(None, (each.strip(" .") for each in re.split(r",\s|;| and ", text.lower()))):
        if part in _CENTRED:
            continue
        if (found := _ALONG.fullmatch(part)) and found["line"].strip() in _LINES:
            far = parse_length(found["far"], unit) * _DOWN[found["way"]]
            along = (_LINES[found["line"].strip()], far)
        elif (found := _ON.fullmatch(part)) and found["line"].strip() in _LINES:
            along = (_LINES[found["line"].strip()], 0.0)
        elif found := _SIDE.fullmatch(part):
            far = parse_length(found["far"], unit)
            across = _sideways(found["line"] or "centre", found["way"], far, face)
        else:
            raise Refusal(f"“{part}” is not understood: write as in {EXAMPLE}.")
    if along is None:
        raise Refusal(f"“{text}” does not say how far up or down: write as in {EXAMPLE}.")
    return PlainLine(*along, *across)


def _sideways(line: str, way: str, far: float, face: str) -> tuple[str, float]:
    """Return the line to count from sideways, and how far to its right as one looks at the face.

    Left and right are the wearer's, as in “left chest”: on the front the wearer's left is to the
    right of one who looks at it, on the back to the left.
    """
    wearers_left = -1.0 if face == "back" else 1.0
    if "left" in line or "right" in line or line == "side":
        side, inward = ("right", 1.0) if "right" in line else ("left", -1.0)
        return f"{side}_side_seam", inward * wearers_left * far
    return "centre", (-1.0 if way == "right" else 1.0) * wearers_left * far


def plain_text(line: PlainLine, name: str, face: str, width: float) -> str:
    """Return a location file for what a plain line says; the art's usual width in mm."""
    title = name.replace("-", " ")
    title = title if len(title) >= 5 else f"{title} print"
    lines = (line.along, line.down, line.across, line.right)
    place = DraggedPlace(title, face, "our own, from one line", *lines, width)
    return (
        dragged_text(place)
        .replace('says = "top of the ink, as it was dragged"\nart = "ink_top"',
                 f'says = "as we measure it"\nart = "{line.art}"')
        .replace('says = "middle of the ink, as it was dragged"\nart = "ink_middle"',
                 'says = "as we measure it across"\nart = "optical_centre"')
    )  # fmt: skip
