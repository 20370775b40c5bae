"""A paper template at true scale: places a print with no projector at all.

The part of the garment around the print is drawn life-size over as many pages as
it takes. Pages overlap; crosses that two pages share come to lie on each other
when the pages are taped together. The sheet's outline is the window to cut out.

Frames: the garment's face, mm, y down; a page, points, y up. `Tile` is where
they meet.
"""

from __future__ import annotations

import io
import itertools
import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike
from reportlab.lib.colors import HexColor
from reportlab.pdfgen.canvas import Canvas

from calibration.geometry import Points, as_points
from chalkbeam.artwork import Box
from chalkbeam.basics.units import format_length
from chalkbeam.locations import Axis
from chalkbeam.paper.drawing import INK, PT_PER_MM, QUIET, PageMap
from chalkbeam.paper.fonts import BOLD, FONT, line_of, write
from chalkbeam.paper.proof.parts import draw_art
from chalkbeam.paper.proof.values import Proof
from chalkbeam.paper.sizes import PAPERS
from chalkbeam.placement import RuleResult
from chalkbeam.placement.loading import centre_line, origin_words

EDGE = 11.0
"""Margin that a home printer leaves white, mm; common practice, no source."""

FOOT = 17.0
"""Room for the words and the check bar below a page's drawing, mm."""

OVERLAP = 12.0
"""How far neighbouring pages overlap, mm: enough for a strip of tape."""

AROUND = 12.0
"""Paper left around the window, mm."""

BAR = 100.0
"""The check bar, mm."""

WINDOW = HexColor("#F4E3DA")
CUT = HexColor("#A3461F")


@dataclass(frozen=True)
class Tile:
    """One page's part of the face.

    Attributes
    ----------
    row, column : int
        From 0.
    part : Box
        What it shows, mm on the face.
    page : PageMap
        Where that lies on the page, at true scale.
    """

    row: int
    column: int
    part: Box
    page: PageMap

    @property
    def name(self) -> str:
        """Row letter and column number, such as B2."""
        return f"{chr(ord('A') + self.row)}{self.column + 1}"


@dataclass(frozen=True)
class Tiling:
    """How a region of a face is cut into pages.

    Attributes
    ----------
    size : (float, float)
        The paper as it lies, pt.
    tiles : tuple of Tile
        Row by row.
    marks : tuple of (x, y)
        Registration crosses on the face, mm; each lies on every page that shows it.
    """

    size: tuple[float, float]
    tiles: tuple[Tile, ...]
    marks: tuple[tuple[float, float], ...]

    @property
    def rows(self) -> int:
        """Number of rows of pages."""
        return max(tile.row for tile in self.tiles) + 1

    @property
    def columns(self) -> int:
        """Number of pages in a row."""
        return max(tile.column for tile in self.tiles) + 1


def region_of(proof: Proof) -> Box:
    """Return the part of the face that the template shows, mm.

    The window with paper around it, the upper seam at the centre line, and the
    lines that the placing rules measure from where they are no further away.
    """
    placement = proof.placement
    sheet = Box.around(placement.sheet()).grown(AROUND)
    xs, ys = [sheet.left, sheet.right], [sheet.top, sheet.bottom]
    centre = centre_line(placement)
    xs += [centre - AROUND, centre + AROUND]
    for result in _targets(proof):
        value, along = result.line.value, result.rule.axis is Axis.ALONG
        if along and sheet.top - 250 < value < sheet.bottom + 80:
            ys += [value - AROUND, value + AROUND]
        elif not along and sheet.left - 200 < value < sheet.right + 200:
            xs += [value - AROUND, value + AROUND]
    if sheet.top < 250:
        ys += [-AROUND]
    return Box(min(xs), min(ys), max(xs), max(ys))


def _targets(proof: Proof) -> list[RuleResult]:
    """Return the rules that put the print where it is: what a hand would measure from."""
    return [
        result
        for result in proof.placement.rules
        if result.rule.bound == "target" and not result.rule.check
    ]


def tiling(region: Box, paper: str) -> Tiling:
    """Cut a region into as few pages as possible, upright or lying.

    Parameters
    ----------
    region : Box
        mm on the face.
    paper : {"letter", "a4"}
    """
    upright = PAPERS[paper]
    choices = [_tiled(region, size) for size in (upright, upright[::-1])]
    return min(choices, key=lambda choice: len(choice.tiles))


def _tiled(region: Box, size: tuple[float, float]) -> Tiling:
    wide, high = (side / PT_PER_MM for side in size)
    room = (wide - 2 * EDGE, high - 2 * EDGE - FOOT)
    counts = [
        max(1, math.ceil((extent - OVERLAP) / (space - OVERLAP)))
        for extent, space in zip((region.width, region.height), room, strict=True)
    ]
    # All pages of a row are equally wide, so that the seams spread evenly.
    steps = [
        (extent - OVERLAP) / count
        for extent, count in zip((region.width, region.height), counts, strict=True)
    ]
    tiles = []
    for row, column in itertools.product(range(counts[1]), range(counts[0])):
        left = region.left + column * steps[0]
        top = region.top + row * steps[1]
        part = Box(left, top, left + steps[0] + OVERLAP, top + steps[1] + OVERLAP)
        x0 = EDGE + (room[0] - part.width) / 2 - left
        y0 = high - EDGE + top
        tiles.append(Tile(row, column, part, PageMap(x0 * PT_PER_MM, y0 * PT_PER_MM, PT_PER_MM)))
    return Tiling(size, tuple(tiles), _marks(region, counts, steps))


def _marks(region: Box, counts: list[int], steps: list[float]) -> tuple[tuple[float, float], ...]:
    """Return crosses in the middle of every overlap, two along each page's side."""
    half = OVERLAP / 2
    xs = [region.left + column * steps[0] + half for column in range(counts[0] + 1)]
    ys = [region.top + row * steps[1] + half for row in range(counts[1] + 1)]
    marks = []
    for x in xs[1:-1]:
        for low, high in itertools.pairwise(ys):
            marks += [(x, low + share * (high - low)) for share in (0.2, 0.8)]
    for y in ys[1:-1]:
        for left, right in itertools.pairwise(xs):
            marks += [(left + share * (right - left), y) for share in (0.2, 0.8)]
    return tuple(marks)


def template_pdf(proof: Proof, paper: str = "letter") -> bytes:
    """Return the template as a PDF, true to scale when printed at 100 %.

    Parameters
    ----------
    proof : Proof
    paper : {"letter", "a4"}
    """
    cut = tiling(region_of(proof), paper)
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=cut.size, invariant=1)
    placement = proof.placement
    canvas.setTitle(f"Template: {placement.location.title}, {placement.garment.label}")
    canvas.setCreator("Chalkbeam")
    canvas.setViewerPreference("PrintScaling", "None")
    for tile in cut.tiles:
        _face_part(canvas, proof, tile)
        _crosses(canvas, cut, tile)
        _foot(canvas, proof, cut, tile)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _path(canvas: Canvas, page: PageMap, points: ArrayLike, closed: bool) -> object:
    path = canvas.beginPath()
    mapped = page.points(points)
    path.moveTo(*mapped[0])
    for x, y in mapped[1:]:
        path.lineTo(x, y)
    if closed:
        path.close()
    return path


def _stroke(canvas: Canvas, page: PageMap, points: ArrayLike, *, closed: bool = False,
            width: float = 0.8, colour: HexColor = INK, dash: tuple[float, ...] = (),
            fill: HexColor | None = None) -> None:  # fmt: skip
    canvas.setStrokeColor(colour)
    canvas.setLineWidth(width)
    canvas.setDash(list(dash))
    if fill is not None:
        canvas.setFillColor(fill)
    canvas.drawPath(_path(canvas, page, points, closed), stroke=1, fill=int(fill is not None))
    canvas.setDash([])


def _face_part(canvas: Canvas, proof: Proof, tile: Tile) -> None:
    """Draw the face's part: the garment's edge and seams, the window, the art, the centre line."""
    placement, page, part = proof.placement, tile.page, tile.part
    face = placement.face
    canvas.saveState()
    clip = _path(canvas, page, part.corners(), True)
    canvas.clipPath(clip, stroke=0, fill=0)
    _stroke(canvas, page, face.outline, closed=True, width=1.2)
    for line in face.lines:
        if line.kind in ("seam", "stitch") or line.name in ("collar", "hood", "pocket", "placket"):
            dash = (2.2, 1.6) if line.kind == "stitch" else ()
            _stroke(canvas, page, line.points, closed=line.closed, width=0.6, colour=QUIET,
                    dash=dash)  # fmt: skip
    _stroke(canvas, page, placement.sheet(), closed=True, width=1.1, colour=CUT, fill=WINDOW)
    draw_art(canvas, proof, page, 0.45)
    for ring in placement.outline():
        _stroke(canvas, page, ring, closed=True, width=0.5)
    centre = centre_line(placement)
    dashed = (14.0, 4.0, 3.0, 4.0)
    _stroke(canvas, page, [(centre, part.top), (centre, part.bottom)], width=0.7, dash=dashed)
    x, y = placement.centre
    for dx, dy in ((9.0, 0.0), (0.0, 9.0)):
        _stroke(canvas, page, [(x - dx, y - dy), (x + dx, y + dy)], width=0.9)
    _lines(canvas, proof, tile)
    canvas.restoreState()


def _lines(canvas: Canvas, proof: Proof, tile: Tile) -> None:
    """Draw and name the lines that the rules measure from, and the upper seam's level."""
    placement, page, part = proof.placement, tile.page, tile.part
    levels = {origin_words(placement.face.name): 0.0}
    uprights: dict[str, float] = {"centre line": centre_line(placement)}
    for result in _targets(proof):
        name = result.rule.line.replace("_", " ")
        (levels if result.rule.axis is Axis.ALONG else uprights).setdefault(name, result.line.value)
    uprights.pop("centre", None)
    canvas.setFont(FONT, 7.5)
    canvas.setFillColor(INK)
    for name, y in levels.items():
        if part.top < y < part.bottom:
            _stroke(canvas, page, [(part.left, y), (part.right, y)], width=0.5, dash=(5.0, 3.0))
            at = page.points([(part.right - OVERLAP - 4, y)])[0]
            canvas.drawRightString(float(at[0]), float(at[1]) + 2.5, name)
    for name, x in uprights.items():
        if part.left < x < part.right:
            if name != "centre line":
                _stroke(canvas, page, [(x, part.top), (x, part.bottom)], width=0.5, dash=(5.0, 3.0))
            at = page.points([(x, part.top + OVERLAP + 4)])[0]
            canvas.saveState()
            canvas.translate(float(at[0]) + 2.5, float(at[1]))
            canvas.rotate(-90)
            canvas.drawString(0, 0, name)
            canvas.restoreState()


def _crosses(canvas: Canvas, cut: Tiling, tile: Tile) -> None:
    """Draw the page's edge and its registration crosses."""
    _stroke(canvas, tile.page, tile.part.corners(), closed=True, width=0.3, colour=QUIET,
            dash=(1.0, 2.0))  # fmt: skip
    part = tile.part
    for x, y in cut.marks:
        if part.left < x < part.right and part.top < y < part.bottom:
            for dx, dy in ((4.0, 0.0), (0.0, 4.0)):
                _stroke(canvas, tile.page, [(x - dx, y - dy), (x + dx, y + dy)], width=0.4)
            at = tile.page.points([(x, y)])[0]
            canvas.circle(float(at[0]), float(at[1]), 2 * PT_PER_MM, stroke=1, fill=0)


def _foot(canvas: Canvas, proof: Proof, cut: Tiling, tile: Tile) -> None:
    """Write below the drawing what the page is, how to use it, and the check bar."""
    width, _ = cut.size
    left, low = EDGE * PT_PER_MM, EDGE * PT_PER_MM
    placement, unit = proof.placement, proof.unit
    bar = BAR * PT_PER_MM
    right = width - left
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(0.8)
    canvas.line(right - bar, low + 6, right, low + 6)
    for x in (right - bar, right):
        canvas.line(x, low + 2, x, low + 10)
    canvas.setFillColor(INK)
    canvas.setFont(FONT, 7)
    canvas.drawRightString(
        right, low + 13, "This bar must measure 100 mm: print at 100 %, unscaled"
    )
    room = right - bar - 14 - left
    ink = placement.artwork.ink
    size = f"{format_length(ink.width, unit)} x {format_length(ink.height, unit)}"
    title = f"{placement.location.title}: {placement.artwork.name}, {size}"
    title = title[:1].upper() + title[1:]
    several = len(cut.tiles) > 1
    page = f"page {tile.name} of {cut.rows} x {cut.columns}" if several else "one page"
    tape = "Lay crosses on crosses and tape the pages. " if several else ""
    said = (
        (title, BOLD, 8.5),
        (f"{placement.garment.label}; {page}", FONT, 7.5),
        (f"{tape}Cut out the tinted window.", FONT, 7.5),
        ("Lay the sheet in it and take the paper away before you press.", FONT, 7.5),
    )
    for number, (words, font, points) in enumerate(said):
        write(canvas, line_of(left, low + 29 - 9.6 * number, words, points, INK, font, room=room))


def covered(cut: Tiling) -> Points:
    """Return the outline of all pages' parts together, mm on the face, shape (N, 2)."""
    parts = shapely.union_all([shapely.Polygon(tile.part.corners()) for tile in cut.tiles])
    return as_points(np.asarray(parts.exterior.coords)[:-1])
