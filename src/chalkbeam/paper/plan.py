"""A plan of one imprint: the garment's face, the art in its place, the platen under it."""

from __future__ import annotations

import numpy as np
from reportlab.graphics.shapes import Drawing, Group, Line, Polygon, PolyLine, Rect, String
from reportlab.lib.colors import HexColor
from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase.pdfmetrics import stringWidth

from chalkbeam.artwork import Box
from chalkbeam.basics.units import Unit, format_length
from chalkbeam.paper.drawing import INK, PAPER, QUIET, PageMap, cloth, fit_page, stay_clear
from chalkbeam.paper.fonts import BOLD, FONT, line_of
from chalkbeam.placement import Placement
from chalkbeam.placement.loading import Loading, centre_line, loading_words, origin_words

ART = HexColor("#1F6F8B")
ART_FILL = HexColor("#BFE0EA")
PLATE = HexColor("#8A6D1F")

WIDTH, HEIGHT = 560.0, 640.0
MARGIN, HEAD, FOOT = 40.0, 74.0, 44.0
SMALL = 8.0
TICK = 3.0


def art_on(placement: Placement, page: PageMap) -> Group:
    """Return sheet, ink and optical centre of a placement, for a drawing of its face."""
    group = Group()
    if placement.artwork.sheet != placement.artwork.ink:
        group.add(
            Polygon(page.flat(placement.sheet()), fillColor=None, strokeColor=ART,
                    strokeWidth=0.6, strokeDashArray=[4, 2.5])
        )  # fmt: skip
    for ring in placement.outline():
        group.add(
            Polygon(page.flat(ring), fillColor=ART_FILL, strokeColor=ART, strokeWidth=0.8,
                    strokeLineJoin=1)
        )  # fmt: skip
    x, y = page.points([placement.centre])[0]
    for dx, dy in ((7.0, 0.0), (0.0, 7.0)):
        group.add(Line(x - dx, y - dy, x + dx, y + dy, strokeColor=INK, strokeWidth=0.9))
    return group


def _dimension(
    page: PageMap,
    start: tuple[float, float],
    end: tuple[float, float],
    text: str,
    at: float = 0.5,
) -> Group:
    """Return a dimension line between two points of the face, mm, its length beside it.

    The length stands at the share `at` of the way.
    """
    (x0, y0), (x1, y1) = page.points([start, end])
    group = Group()
    group.add(Line(x0, y0, x1, y1, strokeColor=INK, strokeWidth=0.6))
    along = np.array([x1 - x0, y1 - y0])
    length = float(np.hypot(*along))
    across = np.array([-along[1], along[0]]) / max(length, 1e-6) * TICK
    for x, y in ((x0, y0), (x1, y1)):
        group.add(Line(x - across[0], y - across[1], x + across[0], y + across[1],
                       strokeColor=INK, strokeWidth=0.6))  # fmt: skip
    upright = abs(along[1]) > abs(along[0])
    middle = (x0 + at * (x1 - x0), y0 + at * (y1 - y0))
    x, y = (middle[0] + 5, middle[1] - SMALL / 3) if upright else (middle[0], middle[1] + 4)
    wide = stringWidth(text, BOLD, SMALL)
    left = x if upright else x - wide / 2
    # Lines of the drawing break at figures, as drafting has it.
    group.add(Rect(left - 1.5, y - 1.5, wide + 3, SMALL + 1, fillColor=PAPER, fillOpacity=0.85,
                   strokeColor=None))  # fmt: skip
    group.add(String(left, y, text, fontName=BOLD, fontSize=SMALL, fillColor=INK))
    return group


def dimensions(placement: Placement, page: PageMap, unit: Unit) -> Group:
    """Return how far the ink lies below the face's upper seam and off its centre line."""
    group = Group()
    ink = Box.around(placement.hull())
    x, y = placement.centre
    centre = centre_line(placement)
    beside = ink.right + 8.0 / page.scale
    for level in (0.0, ink.top):
        (x0, y0), (x1, _) = page.points([(min(x, beside), level), (beside, level)])
        group.add(Line(x0, y0, x1 + TICK, y0, strokeColor=INK, strokeWidth=0.35))
    group.add(_dimension(page, (beside, 0.0), (beside, ink.top), format_length(ink.top, unit)))
    if abs(x - centre) > 1.0:
        near = ink.left if x > centre else ink.right
        free = min(max((near - centre) / (x - centre), 0.3), 1.0)
        words = format_length(abs(x - centre), unit)
        group.add(_dimension(page, (centre, y), (x, y), words, 0.5 * free))
    return group


def plan(placement: Placement, loading: Loading | None = None, unit: Unit = Unit.INCH) -> Drawing:
    """Return the face with the art in place, its dimensions, and the platen if there is one.

    Parameters
    ----------
    placement : Placement
    loading : Loading, optional
        Adds the platen's edge and, where there is one, the pad's.
    unit : Unit
        What the lengths are written in.
    """
    drawing = Drawing(WIDTH, HEIGHT)
    drawing.add(Rect(0, 0, WIDTH, HEIGHT, fillColor=PAPER, strokeColor=None))
    face = placement.face
    page = fit_page(face, MARGIN, FOOT, WIDTH - 2 * MARGIN, HEIGHT - HEAD - FOOT)
    drawing.add(cloth(face, page))
    drawing.add(stay_clear(face, page))
    centre = centre_line(placement)
    top, bottom = float(face.outline[:, 1].min()), float(face.outline[:, 1].max())
    drawing.add(
        PolyLine(page.flat([(centre, top), (centre, bottom)]), strokeColor=QUIET,
                 strokeWidth=0.5, strokeDashArray=[9, 3, 2, 3])
    )  # fmt: skip
    if loading is not None:
        garment_from_platen = loading.platen_from_garment.inverse()
        edges = [loading.platen.face.outline()]
        edges += [loading.platen.pressed()] if loading.platen.pad else []
        for edge in edges:
            drawing.add(
                Polygon(page.flat(garment_from_platen.apply(edge)), fillColor=None,
                        strokeColor=PLATE, strokeWidth=1.2, strokeDashArray=[7, 3])
            )  # fmt: skip
    drawing.add(art_on(placement, page))
    drawing.add(dimensions(placement, page, unit))
    title = f"{placement.location.title}: {placement.artwork.name}"
    title = title[:1].upper() + title[1:]
    drawing.add(line_of(MARGIN, HEIGHT - 34, title, 15, INK, BOLD, room=WIDTH - 2 * MARGIN))
    ink = placement.artwork.ink
    size = f"{format_length(ink.width, unit)} wide, {format_length(ink.height, unit)} high"
    words = f"{placement.garment.label}; ink {size}"
    drawing.add(line_of(MARGIN, HEIGHT - 51, words, 9.5, QUIET))
    notes = [f"Depths count from the {origin_words(face.name)}; the cross is the optical centre."]
    if loading is not None:
        lying = loading_words(placement, loading).say(unit)
        dashes = f"Long dashes: the platen ({loading.platen.name}); {lying}."
        notes += simpleSplit(dashes, FONT, SMALL, WIDTH - 2 * MARGIN)
    for number, note in enumerate(notes):
        drawing.add(String(MARGIN, 30 - 10 * number, note, fontName=FONT, fontSize=SMALL,
                           fillColor=QUIET))  # fmt: skip
    return drawing
