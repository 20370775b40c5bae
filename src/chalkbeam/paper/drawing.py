"""Technical flats of garments.

A drawing is a reportlab `Drawing`, a list of shapes on a page in points (1/72
in, y up). Faces come in their own frame (mm, y down); `PageMap` is the one place
where the two meet. `chalkbeam.paper.drawing_files` writes it as PDF, SVG or PNG.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from numpy.typing import ArrayLike
from reportlab.graphics.shapes import Drawing, Group, Line, Polygon, PolyLine, Rect, String
from reportlab.lib.colors import Color, HexColor
from reportlab.pdfbase.pdfmetrics import stringWidth

from calibration.geometry import Points, as_points
from chalkbeam.basics.units import MM_PER_INCH, Unit, format_length
from chalkbeam.garments import Face, Garment, Landmark
from chalkbeam.paper.fonts import BOLD, FONT, SLANTED, line_of

PT_PER_MM = 72.0 / MM_PER_INCH

INK = HexColor("#22303C")
QUIET = HexColor("#6B7884")
ACCENT = HexColor("#A3461F")
PAPER = HexColor("#FFFFFF")
FILLS = {
    "cloth": HexColor("#F3F1EA"),
    "rib": HexColor("#E4E0D5"),
    "inside": HexColor("#CFCABC"),
    "metal": HexColor("#FFFFFF"),
}
STROKES: dict[str, tuple[float, list[float] | None]] = {
    "edge": (1.1, None),
    "seam": (0.7, None),
    "stitch": (0.5, [2.2, 1.6]),
    "fold": (0.5, [6.0, 2.0, 1.2, 2.0]),
}
"""Width in points and dashes by kind of line."""


@dataclass(frozen=True)
class PageMap:
    """Where a face lies on the page: ``page = (x0 + scale * x, y0 - scale * y)``.

    Attributes
    ----------
    x0, y0 : float
        The face's origin on the page, pt.
    scale : float
        Points on the page for one millimetre of garment.
    """

    x0: float
    y0: float
    scale: float

    def points(self, points: ArrayLike) -> Points:
        """Map points of the face, mm, shape (N, 2), to the page, pt."""
        return as_points(points) * (self.scale, -self.scale) + (self.x0, self.y0)

    def flat(self, points: ArrayLike) -> list[float]:
        """Map points and return them as reportlab wants them: x, y, x, y, …."""
        return [round(float(value), 3) for value in self.points(points).ravel()]


def _shape(page: PageMap, points: Points, closed: bool, **style: object) -> Polygon | PolyLine:
    make = Polygon if closed else PolyLine
    return make(page.flat(points), strokeLineJoin=1, strokeLineCap=1, **style)


def _darker(colour: Color, share: float) -> Color:
    return Color(colour.red * share, colour.green * share, colour.blue * share)


def cloth(face: Face, page: PageMap, tint: Color = FILLS["cloth"], line: Color = INK) -> Group:
    """Return the face as it looks: cloth, seams, stitches, trims.

    Parameters
    ----------
    face : Face
    page : PageMap
    tint : Color
        What the cloth is filled with; rib and inside are darker.
    line : Color
        What it is drawn with.
    """
    group = Group()
    fills = FILLS
    if tint is not FILLS["cloth"]:
        fills = {
            "cloth": tint, "rib": _darker(tint, 0.92), "inside": _darker(tint, 0.8),
            "metal": _darker(tint, 0.85),
        }  # fmt: skip
    behind = [part for part in face.lines if part.name == "sleeve"]
    above = [part for part in face.lines if part.name != "sleeve"]

    def add(points: Points, kind: str, closed: bool, fill: str) -> None:
        width, dashes = STROKES[kind]
        group.add(
            _shape(
                page, points, closed,
                fillColor=fills.get(fill), strokeColor=line, strokeWidth=width,
                strokeDashArray=dashes,
            )
        )  # fmt: skip

    for part in behind:
        add(part.points, part.kind, part.closed, part.fill)
    add(face.outline, "edge", True, "cloth")
    for part in above:
        add(part.points, part.kind, part.closed, part.fill)
    return group


def stay_clear(face: Face, page: PageMap) -> Group:
    """Return the face's stay-clear areas as tints: deep where ink never goes, pale elsewhere."""
    group = Group()
    for area in face.areas:
        group.add(
            _shape(
                page, area.polygon, True,
                fillColor=ACCENT, fillOpacity=0.16 if area.hard else 0.07, strokeColor=None,
            )
        )  # fmt: skip
    return group


def spread(wanted: Sequence[float], gap: float) -> list[float]:
    """Return rising positions at least `gap` apart, moved as little as possible (least squares).

    Parameters
    ----------
    wanted : sequence of float
        Where each label would like to be, rising.
    """
    clusters: list[tuple[float, int]] = []
    for index, position in enumerate(wanted):
        total, count = position - index * gap, 1
        while clusters and clusters[-1][0] / clusters[-1][1] > total / count:
            before, members = clusters.pop()
            total, count = total + before, count + members
        clusters.append((total, count))
    level = [total / count for total, count in clusters for _ in range(count)]
    return [base + index * gap for index, base in enumerate(level)]


@dataclass(frozen=True)
class _Label:
    name: str
    value: float
    derived: bool


def _labels(marks: dict[str, Landmark]) -> list[_Label]:
    """Return one label for each line, sorted; landmarks on the same line share it."""
    found: list[_Label] = []
    for name, mark in sorted(marks.items(), key=lambda item: item[1].value):
        words = name.replace("_", " ")
        if found and abs(found[-1].value - mark.value) < 0.05:
            last = found.pop()
            found.append(_Label(f"{last.name}, {words}", last.value, last.derived))
        else:
            found.append(_Label(words, mark.value, mark.derived is not None))
    return found


def _wrapped(text: str, width: float, size: float) -> list[str]:
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if stringWidth(longer, FONT, size) > width and lines[-1]:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


SIZE = 7.5
LABEL_WIDTH = 58.0
SIDE_WIDTH = 132.0
HEAD = 46.0


def _along(face: Face, page: PageMap, unit: Unit, x0: float, x1: float) -> Group:
    """Return the landmark lines that run across the face, named at x1 (page, pt)."""
    group = Group()
    labels = _labels(dict(face.along))
    levels = [-float(page.points((0.0, label.value))[0, 1]) for label in labels]
    for label, level, at in zip(labels, levels, spread(levels, SIZE * 1.5), strict=True):
        y, text_y = -level, -at
        group.add(Line(x0, y, x1, y, strokeColor=ACCENT, strokeWidth=0.5, strokeDashArray=[3, 2]))
        group.add(
            PolyLine([x1, y, x1 + 10, text_y, x1 + 14, text_y],
                     strokeColor=ACCENT, strokeWidth=0.4, fillColor=None)
        )  # fmt: skip
        font = SLANTED if label.derived else FONT
        group.add(String(x1 + 16, text_y - SIZE * 0.34, label.name, fontName=font, fontSize=SIZE,
                         fillColor=INK))  # fmt: skip
        length = format_length(abs(label.value), unit) + (" above" if label.value < -0.5 else "")
        start = x1 + 19 + stringWidth(label.name, font, SIZE)
        group.add(String(start, text_y - SIZE * 0.34, length, fontName=BOLD, fontSize=SIZE,
                         fillColor=ACCENT))  # fmt: skip
    return group


def _across(face: Face, page: PageMap, unit: Unit, y0: float, y1: float) -> Group:
    """Return the landmark lines that run down the face, named above y1 (page, pt)."""
    group = Group()
    labels = _labels(dict(face.across))
    places = [float(page.points((label.value, 0.0))[0, 0]) for label in labels]
    for label, x, at in zip(labels, places, spread(places, LABEL_WIDTH + 4), strict=True):
        group.add(Line(x, y0, x, y1, strokeColor=ACCENT, strokeWidth=0.5, strokeDashArray=[3, 2]))
        group.add(
            PolyLine([x, y1, at, y1 + 10, at, y1 + 13],
                     strokeColor=ACCENT, strokeWidth=0.4, fillColor=None)
        )  # fmt: skip
        font = SLANTED if label.derived else FONT
        rows = _wrapped(label.name, LABEL_WIDTH, SIZE)
        for number, row in enumerate(reversed(rows)):
            group.add(String(at, y1 + 15 + SIZE * 1.15 * (number + 1), row, textAnchor="middle",
                             fontName=font, fontSize=SIZE, fillColor=INK))  # fmt: skip
        group.add(String(at, y1 + 15, format_length(abs(label.value), unit), textAnchor="middle",
                         fontName=BOLD, fontSize=SIZE, fillColor=ACCENT))  # fmt: skip
    return group


def fit_page(face: Face, x0: float, y0: float, width: float, height: float) -> PageMap:
    """Return the map that shows the whole face as large as it fits into a box of the page, pt."""
    left, top, right, bottom = face.bounds
    scale = min(width / (right - left), height / (bottom - top))
    return PageMap(
        x0 + width / 2 - scale * (left + right) / 2, y0 + height / 2 + scale * (top + bottom) / 2,
        scale,
    )  # fmt: skip


def _shown(garment: Garment) -> tuple[tuple[str, str], ...]:
    """Return the faces that differ from one another, with a title for each."""
    titles = {
        "left_sleeve": "left sleeve, opened flat (the right one mirrors it)",
        "left_hood": "left side of the hood, folded flat (the right one mirrors it)",
        "left_leg": "left leg, front (the right one mirrors it)",
    }
    return tuple(
        (name, titles.get(name, name)) for name in garment.faces if not name.startswith("right_")
    )


def _counted_from(garment: Garment) -> str:
    """Return what the distances of a garment's drawing count from, in words."""
    if "panel" in garment.faces:
        return "the upper edge and the centre line"
    if "left_leg" in garment.faces:
        return "the waistband seam and the side seam"
    others = [words for face, words in (("left_sleeve", "a sleeve's from the shoulder seam"),
                                        ("left_hood", "a hood's from its top"))
              if face in garment.faces]  # fmt: skip
    more = f" ({', '.join(others)})" if others else ""
    return f"the neck seam and the centre line{more}"


def _resting_on(garment: Garment) -> str:
    """Return what to add where lengths are assumed."""
    assumed = any(measure.assumed for measure in garment.measures.values())
    words = " Assumed, from memory or common practice: what no chart of yours or tape gave."
    return words if assumed else ""


def draw_garment(garment: Garment, unit: Unit = Unit.INCH, height: float = 430.0) -> Drawing:
    """Return every face of a garment with its landmarks named.

    Parameters
    ----------
    garment : Garment
    unit : Unit
        What the distances are written in; they count from the face's origin.
    height : float
        How tall the tallest face is drawn, pt.
    """
    shown = [(garment.face(name), title) for name, title in _shown(garment)]
    bounds = [face.bounds for face, _ in shown]
    scale = height / max(bottom - top for _, top, _, bottom in bounds)
    widths = [
        max(scale * (right - left), (LABEL_WIDTH + 4) * len(_labels(dict(face.across)))) + 24
        for (left, _, right, _), (face, _) in zip(bounds, shown, strict=True)
    ]
    margin, foot, top_space = 34.0, 56.0, 118.0
    page_width = max(2 * margin + sum(widths) + SIDE_WIDTH * len(shown), 470.0)
    page_height = foot + height + top_space
    drawing = Drawing(page_width, page_height)
    drawing.add(Rect(0, 0, page_width, page_height, fillColor=PAPER, strokeColor=None))
    drawing.add(line_of(margin, page_height - 38, garment.label, 16, INK, BOLD))
    x = margin
    for (face, title), (left, top, right, bottom), width in zip(shown, bounds, widths, strict=True):
        centre = x + width / 2
        page = PageMap(centre - scale * (left + right) / 2, foot + height + scale * top, scale)
        page_top, page_low = foot + height + 6, foot + height - scale * (bottom - top) - 6
        for part in (
            cloth(face, page),
            stay_clear(face, page),
            _along(face, page, unit, x, x + width),
            _across(face, page, unit, page_low, page_top),
        ):
            drawing.add(part)
        drawing.add(String(centre, page_height - 58, title, textAnchor="middle", fontName=FONT,
                           fontSize=9.5, fillColor=QUIET))  # fmt: skip
        x += width + SIDE_WIDTH
    notes = (
        f"Distances count from {_counted_from(garment)}.",
        "Slanted names: derived by a grading rule." + _resting_on(garment),
        "Tinted: stay clear; pale: take care.",
    )
    for number, note in enumerate(notes):
        drawing.add(String(margin, foot - 26 - 9 * number, note, fontName=FONT, fontSize=7,
                           fillColor=QUIET))  # fmt: skip
    return drawing
