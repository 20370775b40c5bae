"""Lengths as people write them, to millimetres and back. Units are parsed only here.

Lengths must carry a unit: a bare number is refused rather than guessed.
"""

from __future__ import annotations

import re
import unicodedata
from enum import Enum
from fractions import Fraction

from calibration.refusal import Refusal

MM_PER_INCH = 25.4
"""The international inch, exact since 1959."""

_MM_PER_UNIT = {
    "mm": 1.0,
    "millimetre": 1.0,
    "millimetres": 1.0,
    "millimeter": 1.0,
    "millimeters": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    "inches": MM_PER_INCH,
    '"': MM_PER_INCH,
    "ft": 12 * MM_PER_INCH,
}
_NUMBER = r"\d+(?:[.,]\d+|[ -]\d+\s*/\s*\d+)?|\d+\s*/\s*\d+|[.,]\d+"
_LONGEST_TEXT = 60
LARGEST_LENGTH = 100_000.0
"""mm; nothing at a press is longer, and what is computed of lengths stays finite."""
_LENGTH = re.compile(rf"(?P<sign>[+-]?)\s*(?P<number>{_NUMBER})\s*(?P<unit>[a-z\"]*)\.?", re.ASCII)


class Unit(Enum):
    """What lengths are shown in."""

    MM = "mm"
    INCH = "in"


def _plain(text: str) -> str:
    """Return `text` lower case, with typographic fractions, quotes and minus signs spelled out."""
    spelled = []
    for character in text.strip():
        if unicodedata.decomposition(character).startswith("<fraction>"):
            # A digit behind it is no part of it: ½5 is not 1/25.
            spelled.append(f" {unicodedata.normalize('NFKC', character).replace('⁄', '/')} ")
        else:
            spelled.append(character)
    plain = " ".join("".join(spelled).lower().split())
    return re.sub(r"''|[”″“]", '"', plain).replace("−", "-").replace("×", "x")


def _number(text: str) -> float:
    match = re.fullmatch(r"(\d+)[ -](\d+)\s*/\s*(\d+)", text)
    whole, fraction = (int(match[1]), f"{match[2]}/{match[3]}") if match else (0, text)
    if "/" in fraction:
        return float(whole + Fraction(re.sub(r"\s", "", fraction)))
    return float(fraction.replace(",", "."))


def parse_length(text: str, default: Unit | None = None) -> float:
    """Return a length such as ``3 1/2 in``, ``3½"``, ``89 mm`` or ``8,9cm`` in millimetres.

    Parameters
    ----------
    text : str
        The length as typed; a comma is a decimal comma.
    default : Unit, optional
        The unit of a bare number; without it a bare number (other than 0) is refused.

    Raises
    ------
    Refusal
        If the text is no length, or carries no unit and there is no default.
    """
    match = _LENGTH.fullmatch(_plain(text)) if len(text) <= _LONGEST_TEXT else None
    try:
        value = _number(match["number"]) if match else None
    except ZeroDivisionError:
        value = None
    if match is None or value is None:
        raise Refusal(
            f"“{text[:_LONGEST_TEXT]}” is not a length: write a number and a unit, such as 89 mm "
            "or 3 1/2 in."
        )
    unit = match["unit"]
    if not unit and value != 0:
        if default is None:
            raise Refusal(f"“{text}” has no unit: write {text.strip()} mm or {text.strip()} in.")
        unit = default.value
    if unit and unit not in _MM_PER_UNIT:
        raise Refusal(f"“{unit}” in “{text}” is not a unit Chalkbeam knows: use mm, cm or in.")
    value *= _MM_PER_UNIT[unit] if unit else 1.0
    if value > LARGEST_LENGTH:
        raise Refusal(f"“{text}” is longer than anything at a press: check the number and unit.")
    return -value if match["sign"] == "-" else value


def parse_size(text: str) -> tuple[float, float]:
    """Return a width and a depth such as ``406mmx508mm`` or ``16 x 20 in`` in millimetres.

    A unit written once, at the end, holds for both.

    Raises
    ------
    Refusal
        If the text is not two positive lengths joined by an x.
    """
    parts = re.split(r"\s*x\s*", _plain(text))
    if len(parts) != 2:
        raise Refusal(
            f"“{text}” is not a size: write width x depth, such as 406mm x 508mm or 16x20in."
        )
    unit = re.search(r"[a-z\"]+\.?$", parts[1])
    if unit and not re.search(r"[a-z\"]+\.?$", parts[0]):
        parts[0] += " " + unit[0]
    if not re.search(r"[a-z\"]", parts[1]):
        raise Refusal(f"“{text}” has no unit: {_with_unit(text)}? Write it so.")
    width, depth = (parse_length(part) for part in parts)
    if width <= 0 or depth <= 0:
        raise Refusal(f"“{text}” is not a size: both sides must be larger than zero.")
    return width, depth


def _with_unit(text: str) -> str:
    """Return a platen's size with the unit that makes it one, as a guess to be asked about."""
    sides = [float(side) for side in re.findall(r"\d+(?:\.\d+)?", text)]
    return f"{text.strip()}{'in' if max(sides, default=0.0) < SMALLEST_PLATEN else 'mm'}"


SMALLEST_PLATEN, LARGEST_PLATEN = 50.0, 1500.0
"""Sides of platens, mm: a label press's to well beyond an all-over one's; common practice, no
source. Beyond, a unit was mistaken: 16x20m for 16x20in."""


def parse_platen(text: str) -> tuple[float, float]:
    """Return a platen's width and depth, as `parse_size` does, in millimetres.

    Raises
    ------
    Refusal
        If no press has such a platen.
    """
    width, depth = parse_size(text)
    if not (min(width, depth) >= SMALLEST_PLATEN and max(width, depth) <= LARGEST_PLATEN):
        raise Refusal(
            f"“{text}” is {width:g} x {depth:g} mm, and no platen: its sides are "
            f"{SMALLEST_PLATEN:g} mm to {LARGEST_PLATEN / 1000:g} m long; check the unit."
        )
    return width, depth


FEWEST_PIXELS, MOST_PIXELS = (800, 480), (8192, 4320)
"""Longer and shorter side of pictures that projectors have, px: a pocket projector's 854 x 480 and
below, and 8K. 1280 x 720 or more is advised; upright pictures count as well."""


def parse_resolution(text: str) -> tuple[int, int]:
    """Return a projector's own resolution, as `parse_pixels` does.

    Raises
    ------
    Refusal
        If no projector has such a picture.
    """
    size = parse_pixels(text)
    sides = max(size), min(size)
    if any(a < b for a, b in zip(sides, FEWEST_PIXELS, strict=True)) or any(
        a > b for a, b in zip(sides, MOST_PIXELS, strict=True)
    ):
        few, most = (f"{a} x {b}" for a, b in (FEWEST_PIXELS, MOST_PIXELS))
        raise Refusal(
            f"“{text}” cannot carry the pattern: give the projector's own resolution, "
            f"from {few} to {most}, such as 1920x1080."
        )
    return size


def parse_pixels(text: str) -> tuple[int, int]:
    """Return a picture size such as ``1920x1080`` in pixels.

    Raises
    ------
    Refusal
        If the text is not two whole numbers from 16 to 32768 joined by an x.
    """
    match = re.fullmatch(r"\s*(\d{1,6})\s*[x×]\s*(\d{1,6})\s*", text.lower())
    width, height = (int(match[1]), int(match[2])) if match else (0, 0)
    if not (16 <= width <= 32768 and 16 <= height <= 32768):
        raise Refusal(
            f"“{text}” is not a picture size: write width x height in pixels, such as 1920x1080."
        )
    return width, height


def format_length(millimetres: float, unit: Unit, decimals: int = 0) -> str:
    """Return a length for people: millimetres to `decimals`, or inches to the nearest 1/8.

    Examples
    --------
    >>> format_length(88.9, Unit.INCH)
    '3 1/2 in'
    >>> format_length(88.9, Unit.MM)
    '89 mm'
    """
    if unit is Unit.MM:
        rounded = round(millimetres, decimals)
        return f"{rounded + 0.0:.{decimals}f} mm"
    eighths = round(abs(millimetres) / MM_PER_INCH * 8)
    sign = "-" if millimetres < 0 and eighths else ""
    whole, rest = divmod(eighths, 8)
    fraction = f"{Fraction(rest, 8)}" if rest else ""
    number = " ".join(part for part in (str(whole) if whole or not rest else "", fraction) if part)
    return f"{sign}{number} in"
