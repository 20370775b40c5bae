"""A line of letters as a shape: in a font, as wide as wanted, straight or on an arc."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from pathlib import Path

import shapely
import shapely.affinity
from shapely.geometry.base import BaseGeometry

from calibration.files import read_whole
from calibration.refusal import Refusal
from calibration.worker import Lost, apart
from chalkbeam.artwork.faces import is_builtin
from overlay.contours import Contours
from overlay.text.direction import base_direction
from overlay.text.typeface import BUNDLED_FONT, Letter, Typeface, typeface

LARGEST_FONT = 100_000_000
"""Bytes; the largest fonts of Chinese are a fifth of it."""
FAR = 1e6
"""mm from the pen where no ink of letters 100 mm high lies; only damaged outlines reach there."""
MOST_TURN = 1.5 * math.pi
"""Text bent further round than this runs into itself."""


NARROWEST = 0.75
"""Letters drawn in one width are squeezed to three quarters of it, where the shop does not say:
beyond, their uprights look thin; from memory, a sign writer's rule."""


LEAST_SHARE = 0.3
"""No letters are condensed further, whatever the shop says: nobody reads them."""


@dataclass(frozen=True)
class LetterStyle:
    """How lettering looks.

    Attributes
    ----------
    font : Path
        A .ttf or .otf file.
    arc : float or None
        Radius of the baseline, mm: positive arches up in the middle, negative hangs.
    narrowest : float or None
        The least share of their own width that letters may be condensed to; without it the
        narrowest that the font is drawn in, else `NARROWEST`.
    """

    font: Path = BUNDLED_FONT
    arc: float | None = None
    narrowest: float | None = None


def face_of(font: Path, text: str) -> Typeface:
    """Return a font that sets a text without harm: one of others is tried apart first.

    Raises
    ------
    Refusal
        If it is missing or no font, or setting the text in it fails in any way.
    """
    if not is_builtin(font):
        try:
            state = font.stat()
        except (OSError, ValueError):
            raise Refusal(
                f"The font {font} is not there: give the path of a .ttf or .otf file."
            ) from None
        _try_apart(font, (state.st_mtime_ns, state.st_size), text)
    return typeface(font)


@functools.lru_cache(maxsize=4096)
def _try_apart(font: Path, state: tuple[int, int], text: str) -> None:
    del state  # an edited font is tried again
    try:
        read_whole(font, LARGEST_FONT)
        apart(_try, font, text)
    except Refusal:
        raise
    except OSError as error:
        raise Refusal(f"{font.name} cannot be read: {error.strerror}.") from None
    except Lost as lost:
        raise Refusal(f"{font.name} cannot be read as a font, it {lost}: choose another.") from None
    except Exception:  # whatever a damaged table runs into
        raise Refusal(
            f"{font.name} cannot be read as a font: give a .ttf or .otf file with outlines."
        ) from None


def _try(font: Path, text: str) -> None:
    """Set a text in a font, whatever comes of it."""
    face = typeface(font)
    if not face.missing(text):
        bounds = _set(face, text, 100.0, None).bounds
        if not all(math.isfinite(side) and abs(side) < FAR for side in bounds):
            raise ValueError(f"letters {bounds} from the pen")


def width_of(shape: BaseGeometry) -> float:
    """Return how wide ink is, mm."""
    return float(shape.bounds[2] - shape.bounds[0])


def set_ink(text: str, style: LetterStyle, cap: float, share: float = 1.0) -> BaseGeometry:
    """Return the ink of a line, mm, y **down**, the baseline's middle at the origin.

    Parameters
    ----------
    text : str
    style : LetterStyle
    cap : float
        Height of capitals, mm.
    share : float
        How wide the straight line is, as a share of its own width.

    Raises
    ------
    Refusal
        If it has no ink, or does not go on its arc.
    """
    face, squeeze = _cut(style.font, text, share)
    return _set(face, text, cap, style.arc, squeeze)


def cap_for(text: str, style: LetterStyle, width: float) -> float:
    """Return the cap height at which the ink is `width` wide, mm.

    Straight text grows in proportion: one step. On an arc of given radius it does
    not; the proportion is taken again until it holds, from the straight text on.
    """
    cap = width / natural_width(text, style.font)
    if style.arc is not None:
        for _ in range(40):
            got = width_of(set_ink(text, style, cap))
            cap *= width / got
            if abs(got - width) < 1e-3:
                break
    return cap


def share_within(text: str, style: LetterStyle, cap: float, widest: float) -> float:
    """Return the largest share of its own width, at most 1, at which a line is not too wide."""
    if style.arc is None:
        return min(1.0, widest / (cap * natural_width(text, style.font)))
    share = 1.0
    for _ in range(40):
        got = width_of(set_ink(text, style, cap, share))
        if got <= widest + 1e-3:
            break
        share *= widest / got
    return share


def tallest(text: str, style: LetterStyle, widest: float) -> float:
    """Return the largest cap height at which a line fits a width, condensed as far as it may be."""
    least = least_share(text, style)
    cap = widest / (least * natural_width(text, style.font))
    if style.arc is None:
        return cap
    low, high = 0.5 * cap, 2.0 * cap  # an arc takes up to its half circle
    for _ in range(20):
        middle = (low + high) / 2
        try:
            fits = width_of(set_ink(text, style, middle, least)) <= widest
        except Refusal:  # too long for its arc
            fits = False
        low, high = (middle, high) if fits else (low, middle)
    return low


def least_share(text: str, style: LetterStyle) -> float:
    """Return the least share of its own width that a line may be condensed to."""
    if style.narrowest is not None:
        return style.narrowest
    drawn = _narrowest_drawn(text, style.font)
    return NARROWEST if drawn is None else drawn


@functools.lru_cache(maxsize=16384)
def _narrowest_drawn(text: str, font: Path) -> float | None:
    """Return the width of a line in the font's narrowest cut, as a share; None if it has one."""
    face = face_of(font, text)
    if face.widths is None:
        return None
    return _span(typeface(font, math.ceil(face.widths[0])), text) / _span(face, text)


@functools.lru_cache(maxsize=16384)
def natural_width(text: str, font: Path = BUNDLED_FONT) -> float:
    """Return how wide the ink of a straight line is, in cap heights."""
    return _span(face_of(font, text), text)


@functools.lru_cache(maxsize=4096)
def _cut(font: Path, text: str, share: float) -> tuple[Typeface, float]:
    """Return the font as wide as a line wants it, and by how much it is squeezed besides.

    A font drawn in many widths keeps the weight of its strokes: the whole step of its axis
    next above is taken, and the rest squeezed.
    """
    face = face_of(font, text)
    if share >= 1.0 or face.widths is None:
        return face, share
    natural = _span(face, text)
    low, high = math.ceil(face.widths[0]), math.floor(face.widths[1])
    while low < high:
        middle = (low + high) // 2
        if _span(typeface(font, middle), text) >= share * natural:
            high = middle
        else:
            low = middle + 1
    drawn = typeface(font, high)
    return drawn, share * natural / _span(drawn, text)


def _span(face: Typeface, text: str) -> float:
    """Return how far the ink of a line reaches from left to right, in cap heights."""
    ends = [
        (each.start + right + side[0], each.start + right + side[1])
        for each in face.letters(text, base_direction(text))
        for number, right, _ in each.glyphs
        if (side := _sides(face, number)) is not None
    ]
    if not ends:
        raise _no_ink(text)
    return max(right for _, right in ends) - min(left for left, _ in ends)


@functools.lru_cache(maxsize=4096)
def _sides(face: Typeface, number: int) -> tuple[float, float] | None:
    """Return where a glyph's ink begins and ends, in cap heights; None if it has none."""
    across = face.outline(number).points[:, 0]
    return (float(across.min()), float(across.max())) if len(across) else None


def _no_ink(text: str) -> Refusal:
    return Refusal(f"“{text}” has no ink: write the letters to print.")


def _set(
    face: Typeface, text: str, cap: float, arc: float | None, squeeze: float = 1.0
) -> BaseGeometry:
    """Return the ink of a line of text, mm, y **down**, the baseline's middle at the origin."""
    letters = [*face.letters(text, base_direction(text))]
    wide = cap * squeeze
    total = wide * sum(each.advance for each in letters)
    if arc is not None and face.joins(text):
        raise Refusal(
            f"“{text}” is written joined, and letters on an arc are turned one by one: set it "
            "straight, or give it as a picture."
        )
    if arc is not None and not abs(arc) * MOST_TURN > total:
        raise Refusal(
            f"“{text}” is {total:.0f} mm long, too long for an arc of {abs(arc):.0f} mm: "
            "make the radius larger or the letters smaller."
        )
    inks = []
    for each in letters:
        pen = wide * each.start - total / 2
        ink = shapely.affinity.affine_transform(_ink(face, each), (wide, 0, 0, cap, pen, 0))
        inks.append(ink if arc is None else _on_arc(ink, pen + wide * each.width / 2, arc))
    shape = shapely.disjoint_subset_union_all(inks)  # only letters that touch are merged
    if shape.is_empty:
        raise _no_ink(text)
    return shapely.affinity.scale(shape, 1.0, -1.0, origin=(0, 0))


def _ink(face: Typeface, one: Letter) -> BaseGeometry:
    """Return a letter's ink, in cap heights, y up, from where the pen is before it."""
    parts = [
        shapely.affinity.translate(_glyph(face, number), right, up)
        for number, right, up in one.glyphs
    ]
    return shapely.union_all(parts) if len(parts) > 1 else parts[0]


@functools.lru_cache(maxsize=1024)
def _glyph(face: Typeface, number: int) -> BaseGeometry:
    """Return a glyph's ink, in cap heights, y up."""
    return _filled(face.outline(number))


def _on_arc(ink: BaseGeometry, middle: float, radius: float) -> BaseGeometry:
    """Turn a letter whose middle stands at `middle` of a straight baseline on to an arc, y up."""
    angle = middle / radius
    turned = shapely.affinity.rotate(ink, -angle, origin=(middle, 0), use_radians=True)
    along, up = radius * math.sin(angle), radius * (math.cos(angle) - 1)
    return shapely.affinity.translate(turned, along - middle, up)


def _filled(contours: Contours) -> BaseGeometry:
    """Return a glyph's contours as a shape: the largest gives the sense of fill, others cut."""
    starts = contours.starts
    rings = [contours.points[a:b] for a, b in zip(starts, contours.ends, strict=True)]
    polygons = [(shapely.Polygon(ring), shapely.LinearRing(ring).is_ccw) for ring in rings]
    polygons.sort(key=lambda polygon: -polygon[0].area)
    shape: BaseGeometry = shapely.Polygon()
    for polygon, ccw in polygons:
        whole = polygon if polygon.is_valid else polygon.buffer(0)
        shape = shape.union(whole) if ccw == polygons[0][1] else shape.difference(whole)
    return shape
