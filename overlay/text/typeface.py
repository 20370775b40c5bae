"""Lettering as filled outlines in millimetres, from any TrueType or OpenType font.

Characters are set one after another with the font's pair kerning; there is no
shaping of joined scripts. A character the font lacks is drawn as an empty box,
so that nobody takes a gap for a blank.
"""

from __future__ import annotations

import functools
import io
import itertools
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.ttLib import TTFont, TTLibError

from calibration.geometry import Points
from calibration.refusal import Refusal
from overlay.contours import Contours
from overlay.text.kerning import read_kerning

BUNDLED_FONT = Path(__file__).parent / "fonts" / "DejaVuSans-Bold.ttf"
"""A bold sans serif that reads well in light; its licence lies beside it."""

FLATNESS = 0.002
"""Longest distance between a curve and its chords, in cap heights: 0.02 mm on 10 mm lettering,
a twentieth of a projector pixel."""


@dataclass(frozen=True, eq=False)
class Lettering:
    """One line of text as outlines.

    Attributes
    ----------
    contours : Contours
        Filled outlines, mm; x along the baseline from where the pen starts, y up
        from the baseline.
    advance : float
        How far the pen has moved at the end, mm; the next line of text on the
        same baseline would start there.
    cap_height : float
        Height of the capitals, mm.
    missing : str
        Characters of the text that the font lacks, each once, drawn as boxes.
    """

    contours: Contours
    advance: float
    cap_height: float
    missing: str = ""

    @property
    def ink(self) -> tuple[float, float, float, float]:
        """Left, bottom, right and top of the ink, mm; zeros when there is none."""
        if not len(self.contours):
            return 0.0, 0.0, 0.0, 0.0
        (left, bottom), (right, top) = (
            self.contours.points.min(axis=0),
            self.contours.points.max(axis=0),
        )
        return float(left), float(bottom), float(right), float(top)


class Typeface:
    """A font file, its outlines scaled so that capitals are one unit high.

    Parameters
    ----------
    path : Path
        A .ttf, .otf or .ttc file (of a collection the first font).

    Raises
    ------
    Refusal
        If the file is missing or is no font with outlines.
    """

    def __init__(self, path: Path = BUNDLED_FONT) -> None:
        if not path.is_file():
            raise Refusal(f"The font {path} is not there: give the path of a .ttf or .otf file.")
        try:
            font = TTFont(io.BytesIO(path.read_bytes()), fontNumber=0, lazy=True)
            self._characters: dict[int, str] = font.getBestCmap() or {}
            self._glyphs = font.getGlyphSet()
            self._per_em: float = font["head"].unitsPerEm
            self._kerning = functools.lru_cache(maxsize=4096)(read_kerning(font))
            self._cap = self._cap_height(font)
        except (TTLibError, KeyError, AttributeError, OSError, ValueError) as error:
            raise Refusal(
                f"{path.name} cannot be read as a font: give a .ttf or .otf file with outlines."
            ) from error
        self.path = path
        self._glyph = functools.lru_cache(maxsize=1024)(self._read_glyph)

    def _cap_height(self, font: Any) -> float:
        """Height of the letter H, else what the font claims, else 0.7 em, in font units."""
        pen = DecomposingRecordingPen(self._glyphs)
        if ord("H") in self._characters:
            self._glyphs[self._characters[ord("H")]].draw(pen)
            heights = [y for _, points in pen.value for _, y in (p for p in points if p)]
            if heights and max(heights) > 0:
                return float(max(heights))
        claimed = getattr(font["OS/2"], "sCapHeight", 0) if "OS/2" in font else 0
        return float(claimed or 0.7 * self._per_em)

    def _read_glyph(self, name: str) -> tuple[Contours, float]:
        """Return the outlines and the advance of a glyph, in cap heights."""
        glyph = self._glyphs[name]
        pen = DecomposingRecordingPen(self._glyphs)
        glyph.draw(pen)
        outlines = _flatten(pen.value, FLATNESS * self._cap)
        return outlines.moved(outlines.points / self._cap), glyph.width / self._cap

    def pens(self, text: str) -> list[float]:
        """Return where the pen starts each character of a line, in cap heights."""
        starts, pen, before = [], 0.0, None
        for character in text:
            name = self._characters.get(ord(character if character.isprintable() else " "))
            if name is not None and before:
                pen += self._kerning(before, name) / self._cap
            starts.append(pen)
            pen += (self._glyph(name) if name else self._missing_glyph())[1]
            before = name
        return starts

    def advance(self, text: str) -> float:
        """Return how far the pen has moved at the end of a line, in cap heights."""
        # The last place of the pen is where a character after it would start, unkerned.
        return self.pens(f"{text}\N{OBJECT REPLACEMENT CHARACTER}")[-1]

    def _missing_glyph(self) -> tuple[Contours, float]:
        """Return an upright empty box, in cap heights: an outer contour and a hole."""
        outer = np.array([[0.08, 0.0], [0.72, 0.0], [0.72, 1.0], [0.08, 1.0]])
        hole = np.array([[0.18, 0.1], [0.18, 0.9], [0.62, 0.9], [0.62, 0.1]])
        return Contours.of([outer, hole]), 0.8

    def set_line(self, text: str, cap_height: float, tracking: float = 0.0) -> Lettering:
        """Return `text` as outlines with capitals `cap_height` high.

        Parameters
        ----------
        text : str
            One line; control characters and line breaks are set as blanks.
        cap_height : float
            Height of the capitals, mm.
        tracking : float
            Extra space between characters, mm.

        Returns
        -------
        Lettering
        """
        parts: list[Contours] = []
        pen, before, missing = 0.0, None, ""
        for character in text:
            shown = character if character.isprintable() else " "
            name = self._characters.get(ord(shown))
            if name is None:
                glyph, advance = self._missing_glyph()
                missing += shown if shown not in missing else ""
            else:
                glyph, advance = self._glyph(name)
                pen += self._kerning(before, name) / self._cap if before else 0.0
            if len(glyph):
                parts.append(glyph.moved(glyph.points * cap_height + (pen * cap_height, 0.0)))
            pen += advance + (tracking / cap_height if cap_height else 0.0)
            before = name
        if text and cap_height:
            pen -= tracking / cap_height
        return Lettering(Contours.joined(parts), pen * cap_height, cap_height, missing)


@functools.lru_cache(maxsize=16)
def typeface(path: Path = BUNDLED_FONT) -> Typeface:
    """Return the font at `path`, read once. See `Typeface`."""
    return Typeface(path)


@functools.lru_cache(maxsize=512)
def set_line(text: str, cap_height: float) -> Lettering:
    """Return `text` in the bundled font, remembered. See `Typeface.set_line`."""
    return typeface().set_line(text, cap_height)


@functools.lru_cache(maxsize=4096)
def advance(text: str) -> float:
    """Return how long a line is in the bundled font, in cap heights, without drawing it."""
    return typeface().advance(text)


def _flatten(commands: list[tuple[str, tuple[Any, ...]]], flatness: float) -> Contours:
    """Return a recorded glyph's curves as polygons that stray at most `flatness` from them."""
    polygons: list[list[Points]] = []
    for verb, points in commands:
        if verb == "moveTo":
            polygons.append([np.array(points, dtype=np.float64)])
        elif verb == "lineTo":
            polygons[-1].append(np.array(points, dtype=np.float64))
        elif verb == "curveTo":
            polygons[-1].append(_bezier(np.vstack([polygons[-1][-1][-1:], points]), flatness))
        elif verb == "qCurveTo":
            _quadratics(points, polygons, flatness)
    rings = (np.vstack(polygon) for polygon in polygons)
    return Contours.of(
        ring[:-1] if len(ring) > 1 and np.array_equal(ring[0], ring[-1]) else ring
        for ring in rings
        if len(ring) > 2
    )


def _quadratics(points: tuple[Any, ...], polygons: list[list[Points]], flatness: float) -> None:
    """Append a TrueType run of quadratic curves, with on-curve points implied in between.

    A run that ends in None is a whole closed contour without any on-curve point.
    """
    if points[-1] is None:
        controls = np.array(points[:-1], dtype=np.float64)
        start = (controls[-1] + controls[0]) / 2
        polygons.append([start[None]])
        controls = np.vstack([controls, start])
    else:
        controls = np.array(points, dtype=np.float64)
    for i, control in enumerate(controls[:-1]):
        last = i == len(controls) - 2
        end = controls[-1] if last else (control + controls[i + 1]) / 2
        here = polygons[-1][-1][-1]
        polygons[-1].append(_bezier(np.vstack([here, control, end]), flatness))
    if len(controls) == 1:
        polygons[-1].append(controls)


def _bezier(controls: Points, flatness: float) -> Points:
    """Return points along a Bezier curve after its start, chords at most `flatness` off it.

    A chord over a parameter step h strays at most h² / 8 times the largest second
    derivative, which for degree n is n (n - 1) times the largest second difference
    of the control points.
    """
    degree = len(controls) - 1
    bend = np.hypot(*np.diff(controls, 2, axis=0).T).max() * degree * (degree - 1)
    count = min(64, max(1, int(np.ceil(np.sqrt(bend / (8 * flatness))))))
    t = np.linspace(0.0, 1.0, count + 1)[1:, None]
    row = [controls[i] for i in range(degree + 1)]
    curve: list[Any] = list(row)
    while len(curve) > 1:  # de Casteljau
        curve = [a + (b - a) * t for a, b in itertools.pairwise(curve)]
    return np.asarray(curve[0], dtype=np.float64)
