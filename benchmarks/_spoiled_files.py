"""Ways in which the file of a photo can be bad, or no photo at all."""

from __future__ import annotations

import cv2
import numpy as np

from benchmarks._spoiled import File, Spoil, Studio, finish
from calibration.targets.cards import layout
from chalkbeam.simulator.rig import lay_cards


def drawn_cards(s: Studio, k: int) -> File:
    """Return a screenshot of the cards on white, no photo at all."""
    density = 2.4
    face = s.rig.face
    page = np.full(
        (round(face.depth * density) + 200, round(face.width * density) + 200), 255, np.uint8
    )
    for sheet in lay_cards(layout(face)):
        side = round(sheet.width * density)
        x, y = sheet.pose.x, sheet.pose.y
        left = round((x + face.width / 2) * density) + 100 - side // 2
        top = round((face.depth / 2 - y) * density) + 100 - side // 2
        small = cv2.resize(sheet.image, (side, side), interpolation=cv2.INTER_AREA)
        page[top : top + side, left : left + side] = small
    return File(np.repeat(page[..., None], 3, axis=2), suffix=".png", named=False)


def stretched(x: float, y: float = 1.0) -> Spoil:
    return finish(lambda image: cv2.resize(image, None, fx=x, fy=y, interpolation=cv2.INTER_AREA))


def scanned(s: Studio, k: int) -> File:
    """Put upright by a telephone's document scanner: the perspective is gone."""
    image = s.take(k)
    face, height = s.rig.face, s.rig.photos[k].spacer
    x, y = face.width / 2 + 20, face.depth / 2 + 20
    corners = s.rig.camera_from_platen(k, [[-x, y], [x, y], [x, -y], [-x, -y]], height)
    density = 1500 / (2 * y)
    wide, high = round(2 * x * density), round(2 * y * density)
    goal = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], np.float32)
    matrix = cv2.getPerspectiveTransform(corners.astype(np.float32), goal)
    return File(cv2.warpPerspective(image, matrix, (wide, high), flags=cv2.INTER_AREA), named=False)


def sent(s: Studio, k: int) -> File:
    """Sent by a messenger: smaller, coarser, nameless."""
    image = s.take(k)
    scale = min(1.0, 1600 / max(image.shape))
    small = cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    return File(small, quality=60, named=False)


def stitched(shift: float, bend: float) -> Spoil:
    """Join two shots and roll them on a cylinder, as stitching does."""

    def spoil(s: Studio, k: int) -> File:
        image = s.take(k)
        height, width = image.shape[:2]
        y, x = np.mgrid[:height, :width].astype(np.float32)
        focal = np.float32(s.rig.photos[k].view.focal / max(bend, 1e-9))
        middle, level = np.float32(width / 2), np.float32(height / 2)
        angle = (x - middle) / focal
        u = middle + focal * np.tan(angle)
        v = level + (y - level) / np.cos(angle)
        seam = 1 / (1 + np.exp(-(x - middle) / np.float32(20 * s.unit)))
        v = v + np.float32(shift * s.unit) * seam
        return File(cv2.remap(image, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))

    return spoil


def jpeg(quality: int) -> Spoil:
    return lambda s, k: File(s.take(k), quality=quality)


def heic(s: Studio, k: int) -> File:
    return File(s.take(k), suffix=".heic")


def raw(content: bytes, suffix: str = ".jpg") -> Spoil:
    return lambda s, k: File(raw=content, suffix=suffix)


def truncated(s: Studio, k: int) -> File:
    coded = cv2.imencode(".jpg", s.take(k))[1].tobytes()
    return File(raw=coded[: len(coded) * 6 // 10])
