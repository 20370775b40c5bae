"""Names and numbers as artwork: text in a font, straight or on an arc, at real widths."""

from __future__ import annotations

import functools
import math
import unicodedata
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from calibration.files import read_whole
from calibration.refusal import Refusal
from calibration.worker import Lost, apart
from chalkbeam.artwork.measure import check_margin, check_size
from chalkbeam.artwork.outline import outline_of
from chalkbeam.artwork.values import Artwork, Box, convex_hull, optical_centre
from chalkbeam.basics.sentences import Sentence
from overlay.contours import Contours
from overlay.text.direction import STEERING, base_direction
from overlay.text.typeface import BUNDLED_FONT, Letter, Typeface, typeface

MOST_LETTERS = 60
"""A longer line is no name."""
LARGEST_FONT = 100_000_000
"""Bytes; the largest fonts of Chinese are a fifth of it."""
FAR = 1e6
"""mm from the pen where no ink of letters 100 mm high lies; only damaged outlines reach there."""
MOST_TURN = 1.5 * math.pi
"""Text bent further round than this runs into itself."""


def letter(
    text: str,
    *,
    height: float | None = None,
    width: float | None = None,
    widest: float | None = None,
    font: Path = BUNDLED_FONT,
    arc: float | None = None,
    sheet_margin: float = 6.0,
    mirrored: bool = False,
) -> Artwork:
    """Set one line of text as artwork.

    Letters stand on the baseline with the font's kerning, marks and joints, from right to
    left where the first of them runs so. On an arc each letter is turned, not bent, as cut
    letters are: what is written joined stays straight.

    Parameters
    ----------
    text : str
        One line: a name or a number.
    height : float, optional
        Height of the capitals and figures, mm.
    width : float, optional
        Width of the ink, mm; in place of `height`.
    widest : float, optional
        Where the ink would be wider, the text is set smaller until it fits, mm.
    font : Path
        A .ttf or .otf file.
    arc : float, optional
        Radius of the baseline, mm: positive arches up in the middle, negative hangs.
    sheet_margin : float
        Blank carrier around the ink, mm.
    mirrored : bool
        The sheet is printed in mirror image.

    Raises
    ------
    Refusal
        If the text has no ink, the font lacks a letter, letters on an arc are joined, or the
        size is missing or absurd.
    """
    if (height is None) == (width is None):
        raise Refusal(f"Give “{text}” either a height of its capitals or a width.")
    if not all(math.isfinite(size) and size > 0 for size in (height, width) if size is not None):
        raise Refusal(f"“{text}”: the size must be larger than zero.")
    check_letters(text, font)
    check_margin(f"“{text}”", sheet_margin)
    face = _face(font, text)
    if height is not None:
        cap, shape = height, _set(face, text, height, arc)
    else:
        assert width is not None  # one of the two was given
        cap, shape = _fitted(face, text, 100.0, arc, width)
    notes = []
    if widest is not None and _width(shape) > widest:
        cap, shape = _fitted(face, text, cap, arc, widest)
        words = "Set {0} high instead of {1}, to be no wider than {2}."
        notes.append(Sentence(words, (cap, height or cap, widest)))
    artwork = _artwork(text, shape, sheet_margin, mirrored)
    check_size(f"“{text}”", artwork.ink.width, artwork.ink.height)
    return replace(artwork, notes=(*notes, *artwork.notes))


def check_letters(text: str, font: Path = BUNDLED_FONT) -> None:
    """Refuse text that cannot be set in a font.

    Raises
    ------
    Refusal
        If the text is too long, holds characters that control it, or has letters that the font
        lacks.
    """
    if len(text) > MOST_LETTERS:
        raise Refusal(
            f"“{text[:20]}…” has {len(text)} letters: a line of lettering has at most "
            f"{MOST_LETTERS}."
        )
    if any(unicodedata.category(character) == "Cc" for character in text):
        words = " ".join(text.split())
        raise Refusal(f"“{words}” holds a line break or a sign that is no letter: leave it out.")
    if any(unicodedata.bidirectional(character) in STEERING for character in text):
        raise Refusal(
            f"“{''.join(filter(str.isprintable, text))}” holds a hidden sign that steers the "
            "direction of writing: type the text anew."
        )
    face = _face(font, text)
    missing = face.missing(text)
    if missing:
        raise Refusal(
            f"The font {face.path.name} has no “{missing[0]}” for “{text}”: choose another font."
        )


def letter_ink(
    artwork: Artwork, font: Path = BUNDLED_FONT, arc: float | None = None
) -> BaseGeometry:
    """Return the ink of lettering that `letter` set with this font and arc, art frame, mm.

    Counters stay open, where the artwork's outline has outer edges alone.
    """
    _, shape = _fitted(_face(font, artwork.name), artwork.name, 100.0, arc, artwork.ink.width)
    left, top, right, bottom = shape.bounds
    return shapely.affinity.translate(shape, -(left + right) / 2, -(top + bottom) / 2)


def letter_mask(
    artwork: Artwork, font: Path = BUNDLED_FONT, arc: float | None = None, per_mm: float = 8.0
) -> NDArray[np.bool_]:
    """Return where the ink of lettering is, cut to its bounds, `per_mm` pixels a mm, y down."""
    shape = letter_ink(artwork, font, arc)
    left, top, right, bottom = shape.bounds
    size = max(1, round((right - left) * per_mm)), max(1, round((bottom - top) * per_mm))
    x, y = (
        low + (np.arange(count) + 0.5) / per_mm
        for low, count in zip((left, top), size, strict=True)
    )
    shapely.prepare(shape)
    return np.asarray(shapely.contains_xy(shape, *np.meshgrid(x, y)), np.bool_)


def _face(font: Path, text: str) -> Typeface:
    """Return a font that sets a text without harm: one of others is tried apart first.

    Raises
    ------
    Refusal
        If it is missing or no font, or setting the text in it fails in any way.
    """
    if font != BUNDLED_FONT:
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


def _width(shape: BaseGeometry) -> float:
    return float(shape.bounds[2] - shape.bounds[0])


def _fitted(
    face: Typeface, text: str, cap: float, arc: float | None, width: float
) -> tuple[float, BaseGeometry]:
    """Return the cap height at which the ink is `width` wide, and the ink.

    Straight text grows in proportion: one step. On an arc of given radius it does
    not; the proportion is taken again until it holds, from the straight text on.
    """
    shape = _set(face, text, cap, None)
    if arc is None:
        factor = width / _width(shape)
        return cap * factor, shapely.affinity.scale(shape, factor, factor, origin=(0, 0))
    for _ in range(40):
        factor = width / _width(shape)
        cap *= factor
        shape = _set(face, text, cap, arc)
        if abs(_width(shape) - width) < 1e-3:
            break
    return cap, shape


def _set(face: Typeface, text: str, cap: float, arc: float | None) -> BaseGeometry:
    """Return the ink of a line of text, mm, y **down**, the baseline's middle at the origin."""
    letters = [*face.letters(text, base_direction(text))]
    total = cap * sum(each.advance for each in letters)
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
        pen = cap * each.start - total / 2
        ink = shapely.affinity.affine_transform(_ink(face, each), (cap, 0, 0, cap, pen, 0))
        inks.append(ink if arc is None else _on_arc(ink, pen + cap * each.width / 2, arc))
    shape = shapely.disjoint_subset_union_all(inks)  # only letters that touch are merged
    if shape.is_empty:
        raise Refusal(f"“{text}” has no ink: write the letters to print.")
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


def _artwork(text: str, shape: BaseGeometry, sheet_margin: float, mirrored: bool) -> Artwork:
    left, top, right, bottom = shape.bounds
    x, y = (left + right) / 2, (top + bottom) / 2
    shape = shapely.affinity.translate(shape, -x, -y)
    ink = Box(left - x, top - y, right - x, bottom - y)
    weighed = (float(shape.centroid.x), float(shape.centroid.y))
    notes = (
        (Sentence("The sheet is printed in mirror image: shown here as seen from its back."),)
        if mirrored
        else ()
    )
    return Artwork(
        name=text,
        ink=ink,
        sheet=ink.grown(sheet_margin),
        optical_centre=optical_centre(ink, weighed),
        centroid=weighed,
        baseline=-y,
        outline=outline_of(shape),
        hull=convex_hull(np.asarray(shapely.get_coordinates(shape))),
        mirrored=mirrored,
        notes=notes,
    )
