"""Names and numbers as artwork: text in a font, straight or on an arc, at real widths."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from calibration.refusal import Refusal
from chalkbeam.artwork.faces import BUILTIN
from chalkbeam.artwork.measure import check_margin, check_size
from chalkbeam.artwork.outline import outline_of
from chalkbeam.artwork.setting import (
    LEAST_SHARE,
    LetterStyle,
    cap_for,
    face_of,
    least_share,
    natural_width,
    set_ink,
    share_within,
    tallest,
    width_of,
)
from chalkbeam.artwork.values import Artwork, Box, Lettered, convex_hull, optical_centre
from chalkbeam.basics.sentences import Sentence, literal
from chalkbeam.basics.units import Unit
from overlay.text.direction import STEERING
from overlay.text.typeface import BUNDLED_FONT

MOST_LETTERS = 60
"""A longer line is no name."""
MOST_ARCHED = math.radians(60)
"""To either side of the middle: names arched further round are hard to read; from memory."""

ARCHES = 12
"""So many arcs are tried, from the most bent on."""


class TooLong(Refusal):
    """A line does not fit its width at the height asked for, however condensed.

    Attributes
    ----------
    words : Sentence
        The whole message, its lengths open.
    height : float
        The height of its capitals at which it fits, mm.
    """

    def __init__(self, words: Sentence, height: float) -> None:
        super().__init__(words.say(Unit.MM))
        self.words, self.height = words, height


def letter(
    text: str,
    *,
    height: float | None = None,
    width: float | None = None,
    widest: float | None = None,
    font: Path = BUNDLED_FONT,
    arc: float | None = None,
    narrowest: float | None = None,
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
        Height of the capitals and figures, mm; it is kept.
    width : float, optional
        Width of the ink, mm; in place of `height`.
    widest : float, optional
        Where the ink would be wider, the letters are condensed until it fits, mm.
    font : Path
        A .ttf or .otf file.
    arc : float, optional
        Radius of the baseline, mm: positive arches up in the middle, negative hangs.
    narrowest : float, optional
        The least share of their own width that letters are condensed to; see `LetterStyle`.
    sheet_margin : float
        Blank carrier around the ink, mm.
    mirrored : bool
        The sheet is printed in mirror image.

    Raises
    ------
    TooLong
        If it is too wide at that height, however condensed.
    Refusal
        If the text has no ink, the font lacks a letter, letters on an arc are joined, or the
        size is missing or absurd.
    """
    if (height is None) == (width is None):
        raise Refusal(f"Give “{text}” either a height of its capitals or a width.")
    if not all(math.isfinite(size) and size > 0 for size in (height, width) if size is not None):
        raise Refusal(f"“{text}”: the size must be larger than zero.")
    if narrowest is not None and not LEAST_SHARE <= narrowest <= 1:
        raise Refusal(
            f"Letters cannot be condensed to {percent(narrowest)}: write "
            f"{100 * LEAST_SHARE:.0f} to 100 per cent."
        )
    check_letters(text, font)
    check_margin(f"“{text}”", sheet_margin)
    style = LetterStyle(font, arc, narrowest)
    cap = cap_for(text, style, width) if width is not None else height
    assert cap is not None  # one of the two was given
    share = 1.0 if widest is None else share_within(text, style, cap, widest)
    if widest is not None and share < least_share(text, style) - 1e-6:
        raise _too_long(text, style, cap, widest)
    artwork = _artwork(text, style, cap, share, sheet_margin, mirrored)
    check_size(f"“{text}”", artwork.ink.width, artwork.ink.height)
    notes = list(artwork.notes)
    if share < 1.0:
        words = f"Condensed to {percent(share)} of its own width: {{0}} wide instead of {{1}}."
        lengths = (artwork.ink.width, artwork.ink.width / share)
        notes.insert(0, Sentence(words, lengths))
    return replace(artwork, notes=tuple(notes))


def percent(share: float) -> str:
    """Return a share in per cent, for people."""
    return f"{100 * share:.0f} %"


def _too_long(text: str, style: LetterStyle, cap: float, widest: float) -> TooLong:
    """Return the refusal of a line that is too wide, with what would do."""
    natural = cap * natural_width(text, style.font)
    least = least_share(text, style)
    fits = tallest(text, style, widest)
    words = (
        f"“{literal(text)}” {{0}} high is {{1}} wide, condensed to the least ({percent(least)}) "
        "{2}, and {3} is the widest here: set it {4} high, which fits"
    )
    lengths = [cap, natural, natural * least, widest, fits]
    if style.arc is None and (radius := _arch_for(text, style, cap, widest)) is not None:
        words += ", or arch it on a radius of {5}"
        lengths.append(radius)
    words += f", or {narrower_words([(text, widest)], cap, style)}."
    return TooLong(Sentence(words, tuple(lengths)), fits)


def narrower_words(lines: Sequence[tuple[str, float]], cap: float, style: LetterStyle) -> str:
    """Return the advice to take a face in which lines (text, widest) fit, naming those at hand."""
    fitting = []
    for name, (font, _) in BUILTIN.items():
        other = replace(style, font=font)
        try:
            if all(tallest(text, other, widest) >= cap for text, widest in lines):
                fitting.append(name)
        except Refusal:  # the face lacks a letter
            continue
    return f"take a face in which it fits ({', '.join(fitting)})" if fitting else "shorten it"


def _arch_for(text: str, style: LetterStyle, cap: float, widest: float) -> float | None:
    """Return the largest radius on which a line is not too wide, mm; None if there is none.

    An arc of half angle u is sin(u) / u as wide as it is long, but the heads of its letters
    stand out beyond that: only long lines gain by it.
    """
    least = least_share(text, style)
    length = least * cap * natural_width(text, style.font)
    fits = None
    for step in range(ARCHES, 0, -1):
        radius = length / (2 * MOST_ARCHED * step / ARCHES)
        try:
            arched = set_ink(text, replace(style, arc=radius), cap, least)
        except Refusal:  # letters that are written joined
            return None
        if width_of(arched) > widest:
            break
        fits = radius
    return fits


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
    face = face_of(font, text)
    missing = face.missing(text)
    if missing:
        raise Refusal(
            f"The font {face.path.name} has no “{missing[0]}” for “{text}”: choose another font."
        )


def letter_ink(artwork: Artwork) -> BaseGeometry:
    """Return the ink of what `letter` set, art frame, mm, its counters open."""
    assert artwork.letters is not None
    shape = _shape(artwork.name, artwork.letters)
    left, top, right, bottom = shape.bounds
    return shapely.affinity.translate(shape, -(left + right) / 2, -(top + bottom) / 2)


def _shape(text: str, letters: Lettered) -> BaseGeometry:
    return set_ink(text, LetterStyle(letters.font, letters.arc), letters.cap, letters.share)


def letter_mask(artwork: Artwork, per_mm: float = 8.0) -> NDArray[np.bool_]:
    """Return where the ink of lettering is, cut to its bounds, `per_mm` pixels a mm, y down."""
    assert artwork.letters is not None
    return _mask(artwork.name, artwork.letters, per_mm)


@lru_cache(maxsize=8)
def _mask(text: str, letters: Lettered, per_mm: float) -> NDArray[np.bool_]:
    shape = _shape(text, letters)
    left, top, right, bottom = shape.bounds
    size = max(1, round((right - left) * per_mm)), max(1, round((bottom - top) * per_mm))
    x, y = (
        low + (np.arange(count) + 0.5) / per_mm
        for low, count in zip((left, top), size, strict=True)
    )
    shapely.prepare(shape)
    mask = np.asarray(shapely.contains_xy(shape, *np.meshgrid(x, y)), np.bool_)
    mask.setflags(write=False)
    return mask


def _artwork(
    text: str, style: LetterStyle, cap: float, share: float, sheet_margin: float, mirrored: bool
) -> Artwork:
    letters = Lettered(style.font, cap, share, style.arc)
    shape = _shape(text, letters)
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
        letters=letters,
    )
