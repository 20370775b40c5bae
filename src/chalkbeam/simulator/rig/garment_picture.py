"""A garment lying flat, painted from its drawing: cloth, rib, seams, hems, stitches.

Everything is in the garment frame of one face (mm, y down): colour, what share of
each spot is cloth, and how much higher than one plain layer it lies.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points
from chalkbeam.simulator.rig.arrays import BGR
from chalkbeam.simulator.rig.optics import F32

if TYPE_CHECKING:
    from chalkbeam.garments import Face, Line

_SHIFT = 4  # fractional bits of OpenCV's drawing coordinates


@dataclass(frozen=True)
class ClothReflectance:
    """What a garment is made of.

    Attributes
    ----------
    colour : BGR
        Linear reflectance.
    mottle : float
        How much the reflectance varies from thread to thread (heather: 0.14).
    """

    colour: BGR
    mottle: float = 0.05


def dyed(rgb: tuple[int, int, int], mottle: float = 0.05) -> ClothReflectance:
    """Return the fabric that looks like sRGB codes `rgb` under white light (IEC 61966-2-1)."""
    coded = np.array(rgb[::-1]) / 255
    linear = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    blue, green, red = (float(value) for value in linear)
    return ClothReflectance((blue, green, red), mottle)


WHITE = dyed((231, 230, 227), 0.025)
NAVY = dyed((41, 48, 76), 0.12)


@dataclass(frozen=True, eq=False)
class GarmentPicture:
    """A painted garment.

    Attributes
    ----------
    colour : uint8 array, shape (H, W, 4)
        Reflectance (square root of it, to keep dark cloth fine-grained) and cover.
    rise : float32 array, shape (H, W)
        Height above one plain layer of cloth, mm.
    origin : (float, float)
        Garment-frame position of the picture's first pixel centre, mm.
    density : float
        Pixels a millimetre.
    """

    colour: NDArray[np.uint8]
    rise: F32
    origin: tuple[float, float]
    density: float

    def pixels(self, points: Points) -> Points:
        """Map garment-frame points, shape (N, 2), mm, to picture px."""
        return np.asarray((points - self.origin) * self.density, np.float64)


_METAL: BGR = (0.36, 0.36, 0.35)
_RIB_PITCH = 2.6
"""Distance of the ribs of a knitted band, mm; from memory."""


class _Painter:
    """A picture of a garment under way; each call adds to the small part it concerns."""

    def __init__(
        self, face: Face, fabric: ClothReflectance, thickness: float, density: float
    ) -> None:
        x0, y0, x1, y1 = face.bounds
        self.density = density
        self.thickness = thickness
        self.fabric = fabric
        self.origin = np.array([x0 - 6.0, y0 - 6.0])
        rows, columns = (int((side + 12.0) * density) + 1 for side in (y1 - y0, x1 - x0))
        self.colour = np.empty((rows, columns, 3), np.float32)
        self.colour[:] = fabric.colour
        self.cover = np.zeros((rows, columns), np.float32)
        self.rise = np.zeros((rows, columns), np.float32)
        self.tone = np.ones((rows, columns), np.float32)

    def part(self, points: Points, margin: float) -> tuple[slice, slice]:
        """Return the rows and columns within `margin` mm of the points' bounding box."""
        low = np.floor((points.min(axis=0) - margin - self.origin) * self.density).astype(int)
        high = np.ceil((points.max(axis=0) + margin - self.origin) * self.density).astype(int) + 1
        low = np.maximum(low, 0)
        return slice(low[1], max(high[1], low[1] + 1)), slice(low[0], max(high[0], low[0] + 1))

    def _pixels(self, points: Points, part: tuple[slice, slice]) -> Points:
        corner = np.array([part[1].start, part[0].start])
        return np.asarray((points - self.origin) * self.density - corner)

    def _fixed(self, points: Points, part: tuple[slice, slice]) -> NDArray[np.int32]:
        pixels = self._pixels(points, part) * (1 << _SHIFT)
        return np.round(pixels).astype(np.int32).reshape(-1, 1, 2)

    def fill(self, polygon: Points, part: tuple[slice, slice]) -> F32:
        """Return the cover of a polygon, 0 to 1."""
        mask = np.zeros(self.cover[part].shape, np.uint8)
        cv2.fillPoly(mask, [self._fixed(polygon, part)], 255, cv2.LINE_AA, _SHIFT)
        return np.asarray(mask, np.float32) / np.float32(255)

    def distance(self, line: Points, closed: bool, part: tuple[slice, slice]) -> F32:
        """Return each pixel's distance to a polyline, mm."""
        mask = np.full(self.cover[part].shape, 255, np.uint8)
        cv2.polylines(mask, [self._fixed(line, part)], closed, 0, 1, cv2.LINE_8, _SHIFT)
        found = cv2.distanceTransform(mask, cv2.DIST_L2, cv2.DIST_MASK_5)
        return np.asarray(found, np.float32) / np.float32(self.density)

    def run(self, line: Points, part: tuple[slice, slice]) -> F32:
        """Return for each pixel how far along a polyline its nearest point lies, mm."""
        steps = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
        fine = np.linspace(0, steps[-1], max(2, int(steps[-1] * self.density)))
        points = np.column_stack([np.interp(fine, steps, line[:, k]) for k in (0, 1)])
        pixels = np.round(self._pixels(points, part)).astype(int)
        mask = np.full(self.cover[part].shape, 255, np.uint8)
        inside = (pixels >= 0).all(axis=1) & (pixels < mask.shape[::-1]).all(axis=1)
        pixels, fine = pixels[inside], fine[inside]
        mask[pixels[:, 1], pixels[:, 0]] = 0
        _, labels = cv2.distanceTransformWithLabels(
            mask, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
        )
        lookup = np.zeros(int(labels.max()) + 1, np.float32)
        lookup[labels[pixels[:, 1], pixels[:, 0]]] = fine
        return np.asarray(lookup[labels], np.float32)

    def panel(self, line: Line) -> None:
        """Lay a closed piece of cloth, rib or metal on what is there."""
        part = self.part(line.points, 9.0)
        mask = self.fill(line.points, part)
        edge = self.distance(line.points, True, part)
        under = self.cover[part] * mask
        shadow = 0.30 * np.exp(-edge / np.float32(2.5)) * (1 - mask) * self.cover[part]
        self.tone[part] *= 1 - shadow
        self.tone[part] += mask * (1 - self.tone[part])  # fresh cloth covers what was drawn
        self.tone[part] *= 1 - 0.25 * np.exp(-((edge / np.float32(0.7)) ** 2)) * mask
        if line.fill == "metal":
            self.colour[part] += mask[..., None] * (
                np.array(_METAL, np.float32) - self.colour[part]
            )
            self.rise[part] += 1.5 * mask
        elif line.fill == "rib":
            ribs = np.sin(self.run(_long_side(line.points), part) * (2 * np.pi / _RIB_PITCH))
            self.tone[part] *= 1 + 0.10 * ribs * mask
            self.rise[part] += mask * (0.6 * self.thickness + 0.2 * ribs)
            self.rise[part] += 0.8 * self.thickness * under
        else:
            self.rise[part] += self.thickness * under
        self.cover[part] = np.maximum(self.cover[part], mask)

    def inside(self, line: Line) -> None:
        """Paint the far side of the garment, seen through an opening: dim, and lower."""
        part = self.part(line.points, 2.0)
        mask = self.fill(line.points, part)
        edge = self.distance(line.points, True, part)
        dim = 0.50 * (1 - 0.45 * np.exp(-edge / np.float32(14.0)))
        self.tone[part] += mask * (dim - self.tone[part])
        self.rise[part] -= mask * self.thickness
        self.cover[part] = np.maximum(self.cover[part], mask)

    def seam(self, line: Line) -> None:
        """Sew two pieces together: a groove on a soft ridge."""
        part = self.part(line.points, 9.0)
        away = self.distance(line.points, line.closed, part)
        self.rise[part] += self.thickness * np.exp(-((away / np.float32(3.0)) ** 2))
        self.tone[part] *= 1 - 0.30 * np.exp(-((away / np.float32(0.6)) ** 2))

    def stitches(self, line: Line) -> None:
        """Sew a line of stitches with a twin needle."""
        part = self.part(line.points, 8.0)
        ring = np.vstack([line.points, line.points[:1]]) if line.closed else line.points
        away = self.distance(line.points, line.closed, part)
        run = self.run(ring, part)
        dash = np.clip(1.5 * np.sin(run * (2 * np.pi / 3.2)) + 0.6, 0, 1)
        for offset in (0.0, 3.5):
            thread = np.exp(-(((away - offset) / np.float32(0.45)) ** 2)) * dash
            self.tone[part] *= 1 - 0.22 * thread
        self.rise[part] -= 0.35 * np.exp(-((away / np.float32(1.2)) ** 2))

    def cord(self, line: Line) -> None:
        """Lay a round cord on the cloth."""
        part = self.part(line.points, 12.0)
        away = self.distance(line.points, False, part)
        radius = np.float32(2.6)
        body = np.clip((radius - away) * self.density + 0.5, 0, 1)
        round_ = np.sqrt(np.clip(1 - (away / radius) ** 2, 0, 1))
        self.tone[part] *= 1 - 0.4 * np.exp(-np.maximum(away - radius, 0) / 1.5) * (1 - body)
        twist = 1 + 0.12 * np.sin(self.run(line.points, part) * (2 * np.pi / 2.2) + 1.5 * away)
        light = np.array((0.62, 0.64, 0.65), np.float32)
        self.colour[part] += body[..., None] * (light - self.colour[part])
        self.tone[part] += body * ((0.55 + 0.45 * round_) * twist - self.tone[part])
        self.rise[part] += 2 * radius * round_ * body
        self.cover[part] = np.maximum(self.cover[part], body)

    def finish(self) -> GarmentPicture:
        """Add threads and relief and hand the picture over."""
        rise = np.asarray(cv2.GaussianBlur(self.rise, (0, 0), 0.5 * self.density), np.float32)
        near = cv2.distanceTransform(
            (self.cover > 0.5).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5
        )
        roll = 1 - 0.35 * np.exp(np.asarray(near, np.float32) / np.float32(-1.3 * self.density))
        rng = np.random.default_rng(7)
        threads = rng.standard_normal(self.cover.shape, np.float32)
        soft = cv2.GaussianBlur(threads, (0, 0), 0.12 * self.density, None, 0.5 * self.density)
        threads = np.asarray(soft, np.float32) * np.float32(self.fabric.mottle / soft.std())
        tone = self.tone * roll * _relief(rise, self.density) * (1 + threads)
        coded = np.sqrt(np.clip(tone[..., None] * self.colour, 0, 1)) * 255
        picture = np.dstack([coded, self.cover * 255])
        return GarmentPicture(
            np.round(picture).astype(np.uint8),
            rise,
            (float(self.origin[0]), float(self.origin[1])),
            self.density,
        )


def paint(
    face: Face, fabric: ClothReflectance, thickness: float, density: float = 2.5
) -> GarmentPicture:
    """Paint one face of a garment.

    Parameters
    ----------
    face : Face
        Its outline and the lines of its drawing (`chalkbeam.garments`).
    fabric : ClothReflectance
    thickness : float
        One layer of the cloth, mm: seams and hems rise by so much.
    density : float
        Pixels a millimetre.
    """
    from chalkbeam.garments import Line

    painter = _Painter(face, fabric, thickness, density)
    painter.panel(Line("body", "edge", face.outline, closed=True, fill="cloth"))
    for line in face.lines:
        if line.fill == "inside":
            painter.inside(line)
        elif line.fill != "none":
            painter.panel(line)
        elif line.kind == "edge":
            painter.cord(line)
        if line.kind == "seam":
            painter.seam(line)
        elif line.kind == "stitch":
            painter.stitches(line)
    return painter.finish()


def _long_side(ring: Points) -> Points:
    """Return the side of a band along which its ribs are counted."""
    if len(ring) <= 6:
        ends = np.roll(ring, -1, axis=0)
        longest = int(np.argmax(np.hypot(*(ends - ring).T)))
        return np.array([ring[longest], ends[longest]])
    gaps = np.hypot(*(ring[:, None, :] - ring[None, :, :]).transpose(2, 0, 1))
    first, last = sorted(int(k) for k in np.unravel_index(np.argmax(gaps), gaps.shape))
    chains = ring[first : last + 1], np.vstack([ring[last:], ring[: first + 1]])
    return max(chains, key=lambda chain: float(np.hypot(*np.diff(chain, axis=0).T).sum()))


def _relief(rise: F32, density: float) -> F32:
    """Return the shading of fine relief in a room's slanted light."""
    dx = cv2.Sobel(rise, cv2.CV_32F, 1, 0, scale=density / 8)
    dy = cv2.Sobel(rise, cv2.CV_32F, 0, 1, scale=density / 8)
    return np.asarray(np.clip(1 + 0.45 * dx + 0.55 * dy, 0.6, 1.35), np.float32)
