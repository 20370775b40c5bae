"""Parts of the report picture: the sheet, the photo with what was found, the heat maps."""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from calibration.geometry import PlatenFace, Points, resample
from calibration.model.pinhole import Pinhole
from calibration.model.uncertainty import bound, landing_covariance
from calibration.photo.read import Photo
from calibration.rig.file import Rig
from calibration.solve.fit import Solution

Colour = tuple[int, int, int]
Place = tuple[float, float]

# Blue, orange, vermilion and sky blue stay apart in every common kind of colour blindness
# (Okabe & Ito 2008).
PAPER, INK, GREY = (252, 252, 250), (28, 32, 38), (104, 110, 118)
CARD, LIGHT, ALARM, GRID, EDGE = (
    (0, 114, 178),
    (230, 159, 0),
    (193, 66, 0),
    (86, 180, 233),
    (0, 120, 90),
)
MARGIN = 40

_FINE = 2  # drawn at twice the size, then scaled down: smooth lines
_TALLEST = 2400
_ARROW = 34.0  # length of a large residual's arrow, px


class Sheet:
    """A page to draw on, in px of the finished picture; it is cut below the lowest mark."""

    def __init__(self, width: int) -> None:
        self._image = Image.new("RGB", (width * _FINE, _TALLEST * _FINE), PAPER)
        self._draw = ImageDraw.Draw(self._image)
        self._lowest = 0.0

    def text(
        self, place: Place, text: str, size: float, colour: Colour = INK, anchor: str = "la"
    ) -> None:
        """Write one line; `anchor` as Pillow names it, "la" top left."""
        self._draw.text(self._fine(place), text, colour, _font(size), anchor=anchor)
        self._reach(place[1] + 1.3 * size)

    def paragraph(
        self, place: Place, lines: Sequence[str], size: float, width: float, colour: Colour = INK
    ) -> float:
        """Write lines, broken where they exceed `width`; return the y below them."""
        x, y = place
        for line in lines:
            row = ""
            for word in line.split():
                longer = f"{row} {word}".strip()
                if row and _font(size).getlength(longer) > width * _FINE:
                    self.text((x, y), row, size, colour)
                    y, row = y + 1.4 * size, word
                else:
                    row = longer
            self.text((x, y), row, size, colour)
            y += 1.4 * size
        return y

    def line(self, points: Sequence[Place] | Points, colour: Colour, width: float) -> None:
        """Draw a polyline."""
        fine = [self._fine((float(x), float(y))) for x, y in points]
        self._draw.line(fine, colour, max(1, round(width * _FINE)), joint="curve")
        self._reach(max(float(y) for _, y in points))

    def dot(self, place: Place, radius: float, colour: Colour, ring: float = 0.0) -> None:
        """Draw a disc, or a ring of the given width."""
        x, y = self._fine(place)
        r = radius * _FINE
        box = (x - r, y - r, x + r, y + r)
        if ring:
            self._draw.ellipse(box, outline=colour, width=max(1, round(ring * _FINE)))
        else:
            self._draw.ellipse(box, colour)

    def arrow(self, start: Place, end: Place, colour: Colour) -> None:
        """Draw an arrow with an open head."""
        self.line([start, end], colour, 1.4)
        length = math.dist(start, end)
        if length < 3:
            return
        angle = math.atan2(end[1] - start[1], end[0] - start[0])
        barb = min(6.0, 0.4 * length)
        for side in (-0.45, 0.45):
            tip = (
                end[0] - barb * math.cos(angle + side),
                end[1] - barb * math.sin(angle + side),
            )
            self.line([end, tip], colour, 1.4)

    def picture(self, image: Image.Image, place: Place, size: Place) -> None:
        """Put a picture at a place, at a size."""
        fine = (round(size[0] * _FINE), round(size[1] * _FINE))
        x, y = self._fine(place)
        self._image.paste(image.resize(fine, Image.Resampling.LANCZOS), (round(x), round(y)))
        self._reach(place[1] + size[1])

    def finished(self) -> Image.Image:
        """Return the page at its own size."""
        width = self._image.width // _FINE
        height = min(_TALLEST, math.ceil(self._lowest + MARGIN))
        page = self._image.crop((0, 0, self._image.width, height * _FINE))
        return page.resize((width, height), Image.Resampling.LANCZOS)

    def _fine(self, place: Place) -> Place:
        return (place[0] * _FINE, place[1] * _FINE)

    def _reach(self, y: float) -> None:
        self._lowest = max(self._lowest, y)


def _font(size: float) -> ImageFont.FreeTypeFont:
    font = ImageFont.load_default(size * _FINE)
    assert isinstance(font, ImageFont.FreeTypeFont)  # Pillow's wheels bring FreeType
    return font


def photo_panel(
    sheet: Sheet,
    place: Place,
    area: tuple[int, int],
    photos: Sequence[Photo],
    solution: Solution,
    face: PlatenFace,
) -> float:
    """Draw the first photo with corners, residuals and a platen grid; return the y below it."""
    index = next(k for k, seen in enumerate(solution.photos) if not seen.raised)
    seen, camera = solution.photos[index], solution.camera(index)
    low, high = _window(camera, face, seen.size)
    scale = min(area[0] / (high - low)[0], area[1] / (high - low)[1])
    size = ((high - low)[0] * scale, (high - low)[1] * scale)
    origin = np.array([place[0] + (area[0] - size[0]) / 2, place[1] + 30])

    def on_sheet(pixels: Points) -> Points:
        return np.asarray((pixels - low) * scale + origin)

    sheet.text(place, f"{seen.name}: what was found, and the platen as solved", 19)
    picture = _faded(photos[index].image, low, high) if index < len(photos) else None
    sheet.picture(
        picture or Image.new("RGB", (8, 8), (222, 222, 218)), (origin[0], origin[1]), size
    )
    _grid(sheet, camera, face, on_sheet)
    cards, light = (c for c in (seen.cards, seen.pattern))
    residuals = solution.residuals(index)
    groups = [
        (np.array([c.pixel for c in part]).reshape(-1, 2), miss, colour)
        for part, miss, colour in zip((cards, light), residuals, (CARD, LIGHT), strict=True)
    ]
    long = float(np.quantile(np.linalg.norm(np.vstack(residuals), axis=1), 0.95))
    zoom = _ARROW / max(long, 1e-6)
    for pixels, miss, colour in groups:
        for start, vector in zip(on_sheet(pixels), -miss, strict=True):
            end = start + vector * zoom
            sheet.dot((start[0], start[1]), 2.6, colour)
            if math.hypot(*vector) * zoom < 3 * _ARROW:
                sheet.arrow((start[0], start[1]), (end[0], end[1]), colour)
            else:
                sheet.dot((start[0], start[1]), 8, colour, ring=2)
    for x, y in on_sheet(np.array([edge.pixel for edge in seen.edges]).reshape(-1, 2)):
        sheet.dot((x, y), 6, EDGE, ring=2)
    bottom = float(origin[1] + size[1]) + 12
    _legend(sheet, (place[0], bottom), zoom)
    return bottom + 26


def _window(
    camera: Pinhole, face: PlatenFace, size: tuple[int, int]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the part of a photo that shows the platen and a little around it, px."""
    edge = resample(face.outline(), 20.0, closed=True) * 1.07
    pixels = camera.project(np.column_stack([edge, np.zeros(len(edge))]))
    low = np.maximum(np.nanmin(pixels, axis=0), 0.0).round()
    high = np.minimum(np.nanmax(pixels, axis=0), np.array(size) - 1.0).round()
    return low, high


def _faded(
    image: NDArray[np.uint8], low: NDArray[np.float64], high: NDArray[np.float64]
) -> Image.Image:
    """Return part of a photo, pale enough to draw on."""
    (x0, y0), (x1, y1) = low.astype(int), high.astype(int)
    part = cv2.cvtColor(np.ascontiguousarray(image[y0:y1, x0:x1]), cv2.COLOR_BGR2RGB)
    return Image.blend(Image.fromarray(part), Image.new("RGB", part.shape[1::-1], PAPER), 0.45)


def _grid(sheet: Sheet, camera: Pinhole, face: PlatenFace, on_sheet: object) -> None:
    """Draw the platen's outline, lines every 50 mm and heavier ones every 100 mm."""
    assert callable(on_sheet)

    def draw(points: Points, colour: Colour, width: float, closed: bool = False) -> None:
        fine = resample(points, 10.0, closed=closed)
        fine = np.vstack([fine, fine[:1]]) if closed else fine
        pixels = camera.project(np.column_stack([fine, np.zeros(len(fine))]))
        sheet.line(on_sheet(pixels), colour, width)

    x, y = face.width / 2, face.depth / 2
    for step in range(-math.floor(x / 50), math.floor(x / 50) + 1):
        at = 50.0 * step
        draw(np.array([[at, -y], [at, y]]), GRID, 1.6 if step % 2 == 0 else 0.7)
    for step in range(-math.floor(y / 50), math.floor(y / 50) + 1):
        at = 50.0 * step
        draw(np.array([[-x, at], [x, at]]), GRID, 1.6 if step % 2 == 0 else 0.7)
    draw(face.outline(), INK, 2.0, closed=True)


def _legend(sheet: Sheet, place: Place, zoom: float) -> None:
    x, y = place
    sheet.dot((x + 4, y + 9), 3.5, CARD)
    sheet.text((x + 14, y), "card corner", 15, GREY)
    sheet.dot((x + 124, y + 9), 3.5, LIGHT)
    sheet.text((x + 134, y), "corner of the projected pattern", 15, GREY)
    length = _round_length(_ARROW / zoom)
    sheet.arrow((x + 376, y + 9), (x + 376 + length * zoom, y + 9), INK)
    sheet.text((x + 424, y), f"from solved to seen, {length:g} px", 15, GREY)
    sheet.line([(x + 640, y + 9), (x + 672, y + 9)], GRID, 1.6)
    sheet.text((x + 682, y), "platen, every 50 and 100 mm", 15, GREY)
    sheet.dot((x + 892, y + 9), 4.5, EDGE, ring=2)
    sheet.text((x + 904, y), "its edge", 15, GREY)


def _round_length(value: float) -> float:
    """Return a round number, 1, 2 or 5 times a power of ten, not above `value`."""
    power = 10.0 ** math.floor(math.log10(value))
    return max(step * power for step in (1, 2, 5) if step * power <= value * 1.0000001)


def cross_panel(
    sheet: Sheet, place: Place, area: tuple[int, int], solution: Solution, face: PlatenFace
) -> float:
    """Draw the platen with crosses set by hand and how far each is off; return the y below it."""
    scale = min(area[0] / face.width, (area[1] - 60) / face.depth) * 0.94
    middle = np.array([place[0] + area[0] / 2, place[1] + 40 + face.depth * scale / 2])
    sheet.text(place, "Crosses set by hand, and the platen as solved", 19)

    def on_sheet(points: Points) -> Points:
        return np.asarray(middle + points * [scale, -scale])

    outline = face.outline()
    sheet.line(on_sheet(np.vstack([outline, outline[:1]])), INK, 2.0)
    model = solution.problem.model
    misses = model.residuals(solution.vector)[model.groups == 2 * len(model.photos)]
    long = max(float(np.abs(misses).max()), 1e-3)
    zoom = _ARROW / long
    for cross, miss in zip(model.crosses, misses.reshape(-1, 2), strict=True):
        at = on_sheet(np.array([cross.point]))[0]
        for arm in ((10, 0), (0, 10)):
            sheet.line([tuple(at - arm), tuple(at + arm)], CARD, 1.6)
        end = at + miss * [zoom, -zoom]
        sheet.arrow((at[0], at[1]), (end[0], end[1]), LIGHT)
        inward = -1 if cross.point[0] > 0 else 1
        said = f"{float(np.hypot(*miss)):.2f} mm"
        sheet.text((at[0] + 14 * inward, at[1] + 20), said, 15, GREY, "lm" if inward > 0 else "rm")
    bottom = float(middle[1] + face.depth * scale / 2) + 12
    sheet.text(
        (place[0], bottom), "arrow: from the mark to where the solved map lights it", 15, GREY
    )
    return bottom + 26


def heat_panel(
    sheet: Sheet, place: Place, width: float, rig: Rig, heights: Sequence[float]
) -> float:
    """Draw the bound over the platen, large for the first height; return the y below."""
    maps = [_bounds(rig, height) for height in heights]
    top = _round_up(max(float(np.nanmax(values)) for _, _, values in maps))
    x, y = place
    sheet.text(place, f"Light lands within (95 %), {heights[0]:g} mm up", 19)
    large = min(width - 78, 430 * rig.face.width / rig.face.depth)
    tall = large * rig.face.depth / rig.face.width
    _heat(sheet, (x, y + 34), large, rig.face, maps[0], top, lettering=15)
    _scale_bar(sheet, (x + large + 22, y + 34), tall, top, rig.stated.tolerance)
    y += 34 + tall + 22
    small = (width - 24 * (len(heights) - 2)) / max(1, len(heights) - 1)
    small = min(small, 150 * rig.face.width / rig.face.depth)
    for k, height in enumerate(heights[1:]):
        left = x + k * (small + 24)
        sheet.text((left, y), f"{height:g} mm up", 15, GREY)
        _heat(sheet, (left, y + 22), small, rig.face, maps[k + 1], top, lettering=0)
    return y + 22 + small * rig.face.depth / rig.face.width


HeatMap = tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]


def _bounds(rig: Rig, height: float) -> HeatMap:
    """Return x, y and the bound, mm, on a grid over the platen, back row first."""
    face = rig.face
    x = np.linspace(-face.width / 2, face.width / 2, 41)
    y = np.linspace(face.depth / 2, -face.depth / 2, 51)
    points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    spread = landing_covariance(rig.projector, rig.fit.matrix, points, height)
    return x, y, bound(spread, rig.fit.freedom).reshape(len(y), len(x))


def _heat(
    sheet: Sheet,
    place: Place,
    width: float,
    face: PlatenFace,
    heat: HeatMap,
    top: float,
    lettering: float,
) -> None:
    x, y, values = heat
    scale = width / face.width
    size = (width, face.depth * scale)
    sheet.picture(_coloured(values, top, (480, round(480 * size[1] / size[0]))), place, size)

    def on_sheet(points: Points) -> Points:
        corner = np.array([face.width / 2, -face.depth / 2])
        return np.asarray((points + corner) * [scale, -scale] + place)

    box = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1], [-1, -1]]) / 2
    sheet.line(on_sheet(box * (face.width, face.depth)), INK, 1.2)
    row, column = np.unravel_index(int(np.argmax(values)), values.shape)
    at = on_sheet(np.array([[x[column], y[row]]]))[0]
    inward = np.sign(on_sheet(np.zeros((1, 2)))[0] - at)
    at = at + inward * 7
    sheet.dot((at[0], at[1]), 5, PAPER)
    sheet.dot((at[0], at[1]), 5, INK, ring=1.6)
    if lettering:
        side = "l" if inward[0] >= 0 else "r"
        offset = 10 if inward[0] >= 0 else -10
        said = f"worst, {values.max():.2f} mm"
        sheet.text(
            (at[0] + offset, at[1]), said, lettering, _readable(values.max() / top), f"{side}m"
        )
        middle = on_sheet(np.zeros((1, 2)))[0]
        least = float(values.min())
        sheet.text(
            (middle[0], middle[1]),
            f"{least:.2f} mm at best",
            lettering,
            _readable(least / top),
            "mm",
        )


def _coloured(values: NDArray[np.float64], top: float, size: tuple[int, int]) -> Image.Image:
    """Return values from 0 to `top` as bands of colour, smoothly enlarged."""
    smooth = cv2.resize(values, size, interpolation=cv2.INTER_CUBIC)
    step = _band(top)
    share = (np.floor(np.clip(smooth, 0, top * 0.9999) / step) + 0.5) * step / top
    shades = cv2.applyColorMap(np.rint(share * 255).astype(np.uint8), cv2.COLORMAP_CIVIDIS)
    return Image.fromarray(cv2.cvtColor(shades, cv2.COLOR_BGR2RGB))


def _band(top: float) -> float:
    """Return the width of a band of colour, mm: eight to sixteen bands up to `top`."""
    return _round_length(top / 8)


def _readable(share: float) -> Colour:
    """Return ink that reads on the shade of a share."""
    return INK if share > 0.55 else PAPER


def _scale_bar(sheet: Sheet, place: Place, height: float, top: float, tolerance: float) -> None:
    x, y = place
    ramp = np.linspace(top, 0, 512)[:, None].repeat(2, axis=1)
    sheet.picture(_coloured(ramp, top, (16, 512)), place, (14, height))
    step = 2 * _band(top)
    for k in range(math.floor(top / step * 1.0001) + 1):
        at = y + height * (1 - k * step / top)
        sheet.line([(x + 14, at), (x + 19, at)], INK, 1)
        sheet.text((x + 23, at), f"{k * step:.3g}", 13, GREY, "lm")
    if tolerance <= top:
        at = y + height * (1 - tolerance / top)
        sheet.line([(x - 5, at), (x + 19, at)], INK, 2)
    sheet.text((x + 7, y - 12), "mm", 13, GREY, "mm")


def _round_up(value: float) -> float:
    """Return a round number not below `value`."""
    power = 10.0 ** math.floor(math.log10(value))
    return min(s * power for s in (1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10) if s * power >= value)
