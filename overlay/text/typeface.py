"""Lettering as filled outlines in millimetres, from any TrueType or OpenType font.

HarfBuzz sets the letters: kerning, joined scripts, marks. `direction` says which way they
run. A letter the font lacks is drawn as an empty box, so that nobody takes a gap for a blank.
"""

from __future__ import annotations

import functools
import itertools
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import uharfbuzz as hb

from calibration.geometry import Points
from calibration.refusal import Refusal
from overlay.contours import Contours
from overlay.text.direction import Direction, visual_runs

BUNDLED_FONT = Path(__file__).parent / "fonts" / "DejaVuSans-Bold.ttf"
"""A bold sans serif that reads well in light; its licence lies beside it."""

FLATNESS = 0.002
"""Longest distance between a curve and its chords, in cap heights: 0.02 mm on 10 mm lettering,
a twentieth of a projector pixel."""

_LACKING = 0
"""The glyph of every font that stands for letters it lacks."""

_BLANK = frozenset({"Cc", "Cs", "Zl", "Zp"})
"""Categories of characters that are no letters and that no font has."""

_APART = {"liga": False, "clig": False}
"""Letters written one by one stand apart, as cut letters do: “fi” is two."""


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
    """

    contours: Contours
    advance: float

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


@dataclass(frozen=True)
class Letter:
    """What stands in a line as one: a letter with its marks, or a ligature; in cap heights.

    Attributes
    ----------
    text : str
        What it is written for.
    glyphs : tuple of (int, float, float)
        The font's glyphs, and how far right and up of the pen each is drawn.
    start, advance : float
        Where the pen is before it, and how far it moves, kerning included.
    width : float
        How far the pen would move without kerning.
    """

    text: str
    glyphs: tuple[tuple[int, float, float], ...]
    start: float
    advance: float
    width: float


class Typeface:
    """A font file, its outlines scaled so that capitals are one unit high.

    Parameters
    ----------
    path : Path
        A .ttf, .otf or .ttc file (of a collection the first font).
    width : float, optional
        Of a font drawn in many widths, the one to take, as its axis ``wdth`` counts
        (OpenType 1.9, registered axes: per cent of the usual).

    Attributes
    ----------
    widths : (float, float) or None
        The narrowest and the usual of those widths; None of a font of one width.

    Raises
    ------
    Refusal
        If the file is missing or is no font with outlines.
    """

    def __init__(self, path: Path = BUNDLED_FONT, width: float | None = None) -> None:
        if not path.is_file():
            raise Refusal(f"The font {path} is not there: give the path of a .ttf or .otf file.")
        try:
            face = hb.Face(hb.Blob(path.read_bytes()))
        except OSError as error:
            raise Refusal(f"{path.name} cannot be read: {error.strerror}.") from error
        if not face.unicodes or not {"glyf", "CFF ", "CFF2"}.intersection(face.table_tags):
            raise Refusal(
                f"{path.name} cannot be read as a font: give a .ttf or .otf file with outlines."
            )
        self.path = path
        self._font = hb.Font(face)
        axis = next((each for each in face.axis_infos if each.tag == "wdth"), None)
        self.widths = None if axis is None else (axis.min_value, axis.default_value)
        if width is not None:
            self._font.set_variations({"wdth": width})
        self._cap = self._cap_height()
        self.outline = functools.lru_cache(maxsize=1024)(self._outline)

    def _cap_height(self) -> float:
        """Height of the letter H, else what the font claims, else 0.7 em, in font units."""
        glyph = self._font.get_nominal_glyph(ord("H"))
        extents = None if glyph is None else self._font.get_glyph_extents(glyph)
        if extents is not None and extents.y_bearing > 0:
            return float(extents.y_bearing)
        claimed = self._font.get_metric_position(hb.OTMetricsTag.CAP_HEIGHT)
        return float(claimed or 0.7 * self._font.face.upem)

    def _outline(self, glyph: int) -> Contours:
        """Return the outlines of a glyph, in cap heights."""
        if glyph == _LACKING:  # a font's own is not always seen
            return _box(self._font.get_glyph_h_advance(glyph) / self._cap or 0.8)
        drawn = _Outline(FLATNESS * self._cap)
        self._font.draw_glyph(glyph, _DRAWING, drawn)
        outlines = drawn.contours()
        return outlines.moved(outlines.points / self._cap)

    def letters(self, text: str, base: Direction = "ltr") -> Iterator[Letter]:
        """Yield the letters of a line of text from left to right.

        Parameters
        ----------
        text : str
            One line; control characters and line breaks are set as blanks.
        base : {"ltr", "rtl"}
            Direction of the line as a whole: that of its first letter (`base_direction`), or
            that of the sentence it is part of.
        """
        glyphs = [*self._glyphs(text, base)]
        starts = sorted({cluster for cluster, *_ in glyphs})
        ends = dict(itertools.pairwise([*starts, len(text)]))
        pen = 0.0
        for cluster, parts in itertools.groupby(glyphs, lambda glyph: glyph[0]):
            start, placed, width = pen, [], 0.0
            for _, number, right, up, advance in parts:
                placed.append((number, pen - start + right, up))
                pen += advance
                width += self._font.get_glyph_h_advance(number) / self._cap if advance else 0.0
            written = text[cluster : ends[cluster]]
            yield Letter(written, tuple(placed), start, pen - start, width)

    def joins(self, text: str) -> bool:
        """Return whether any letters of a line hang together, as Arabic is written."""
        joint = hb.GlyphFlags.SAFE_TO_INSERT_TATWEEL
        infos = (info for buffer in self._shaped(text, "ltr") for info in buffer.glyph_infos)
        return any(info.flags & joint for info in infos)

    def missing(self, text: str) -> str:
        """Return what of a line the font lacks or has without an outline, each letter once."""
        found = ""
        for letter in self.letters(text):
            numbers = [number for number, _, _ in letter.glyphs]
            inked = any(unicodedata.category(each)[0] in "LNPS" for each in letter.text)
            if _LACKING in numbers or (inked and not any(map(len, map(self.outline, numbers)))):
                has = self._font.get_nominal_glyph
                found += "".join(c for c in letter.text if has(ord(c)) is None) or letter.text
        return "".join(dict.fromkeys(found))

    def advance(self, text: str) -> float:
        """Return how far the pen has moved at the end of a line, in cap heights."""
        runs = (buffer.glyph_positions or () for buffer in self._shaped(text, "ltr"))
        return float(sum([place.x_advance for places in runs for place in places]) / self._cap)

    def set_line(self, text: str, cap_height: float) -> Lettering:
        """Return `text` as outlines with capitals `cap_height` mm high. See `letters`."""
        parts, pen = [], 0.0
        for _, number, right, up, advance in self._glyphs(text, "ltr"):
            outline = self.outline(number)
            if len(outline):
                parts.append(outline.moved(np.add(outline.points, (pen + right, up))))
            pen += advance
        contours = Contours.joined(parts)
        return Lettering(contours.moved(contours.points * cap_height), pen * cap_height)

    def _glyphs(self, text: str, base: Direction) -> Iterator[tuple[int, int, float, float, float]]:
        """Yield the glyphs of a line from left to right.

        Each is its place in the text, its number in the font, how far right and up of the pen
        it is drawn, and how far the pen moves, in cap heights.
        """
        cap = self._cap
        for buffer in self._shaped(text, base):
            for info, place in zip(buffer.glyph_infos, buffer.glyph_positions or (), strict=True):
                right, up, advance, _ = place.position
                yield info.cluster, info.codepoint, right / cap, up / cap, advance / cap

    def _shaped(self, text: str, base: Direction) -> Iterator[hb.Buffer]:
        """Yield what HarfBuzz makes of each run of a line, clusters counted along the line."""
        if not text.isprintable():
            text = "".join(" " if unicodedata.category(c) in _BLANK else c for c in text)
        for start, end, direction in _runs(text, base):
            buffer = hb.Buffer()
            buffer.flags = hb.BufferFlags.PRODUCE_SAFE_TO_INSERT_TATWEEL
            buffer.add_str(text, start, end - start)
            buffer.direction, buffer.language = direction, "und"  # whatever the computer speaks
            buffer.guess_segment_properties()
            hb.shape(self._font, buffer, _APART if direction == "ltr" else None)
            yield buffer


@functools.lru_cache(maxsize=64)
def typeface(path: Path = BUNDLED_FONT, width: float | None = None) -> Typeface:
    """Return the font at `path`, read once. See `Typeface`."""
    return Typeface(path, width)


@functools.lru_cache(maxsize=512)
def set_line(text: str, cap_height: float) -> Lettering:
    """Return `text` in the bundled font, remembered. See `Typeface.set_line`."""
    return typeface().set_line(text, cap_height)


@functools.lru_cache(maxsize=4096)
def advance(text: str) -> float:
    """Return how long a line is in the bundled font, in cap heights, without drawing it."""
    return typeface().advance(text)


def _runs(text: str, base: Direction) -> Iterator[tuple[int, int, Direction]]:
    """Yield the stretches of a line that are set in one go, of one direction and one script."""
    for start, end, direction in visual_runs(text, base):
        cuts, script = [start], ""
        for index in range(start, end):
            other = _script(text[index])
            if other and script and other != script:
                cuts.append(index)
            script = other or script
        runs = [(a, b, direction) for a, b in itertools.pairwise([*cuts, end])]
        yield from runs if direction == "ltr" else reversed(runs)


@functools.lru_cache(maxsize=4096)
def _script(character: str) -> str:
    """Return a character's script; empty for one that goes with any, such as a full stop."""
    buffer = hb.Buffer()
    buffer.add_str(character)
    buffer.guess_segment_properties()
    return buffer.script or ""


def _box(advance: float) -> Contours:
    """Return an upright empty box as wide as a letter with that advance, in cap heights."""
    left, right = 0.1 * advance, 0.9 * advance
    outer = [[left, 0.0], [right, 0.0], [right, 1.0], [left, 1.0]]
    inner = [[left + 0.1, 0.1], [left + 0.1, 0.9], [right - 0.1, 0.9], [right - 0.1, 0.1]]
    return Contours.of([outer, inner])


class _Outline:
    """A glyph's outlines as HarfBuzz draws them, curves as chords `flatness` off at most."""

    def __init__(self, flatness: float) -> None:
        self.flatness = flatness
        self.rings: list[list[Points]] = []

    def contours(self) -> Contours:
        """Return the outlines as closed polygons."""
        rings = (np.vstack(ring) for ring in self.rings)
        opened = (ring[:-1] if np.array_equal(ring[0], ring[-1]) else ring for ring in rings)
        return Contours.of(ring for ring in opened if len(ring) > 2)


def _move(x: float, y: float, drawn: _Outline) -> None:
    drawn.rings.append([np.array([[x, y]])])


def _curve(*numbers: Any) -> None:
    """Add a line or a Bezier curve: its control points, its end, and what it is added to."""
    *controls, drawn = numbers
    ring = drawn.rings[-1]
    ring.append(_bezier(np.vstack([ring[-1][-1], np.reshape(controls, (-1, 2))]), drawn.flatness))


_DRAWING = hb.DrawFuncs()
_DRAWING.set_move_to_func(_move)
_DRAWING.set_line_to_func(_curve)
_DRAWING.set_quadratic_to_func(_curve)
_DRAWING.set_cubic_to_func(_curve)


def _bezier(controls: Points, flatness: float) -> Points:
    """Return points along a Bezier curve after its start, chords at most `flatness` off it.

    A chord over a parameter step h strays at most h² / 8 times the largest second
    derivative, which for degree n is n (n - 1) times the largest second difference
    of the control points.
    """
    degree = len(controls) - 1
    if degree == 1:
        return controls[1:]
    bend = np.hypot(*np.diff(controls, 2, axis=0).T).max() * degree * (degree - 1)
    count = min(64, max(1, int(np.ceil(np.sqrt(bend / (8 * flatness))))))
    t = np.linspace(0.0, 1.0, count + 1)[1:, None]
    row = [controls[i] for i in range(degree + 1)]
    curve: list[Any] = list(row)
    while len(curve) > 1:  # de Casteljau
        curve = [a + (b - a) * t for a, b in itertools.pairwise(curve)]
    return np.asarray(curve[0], dtype=np.float64)
