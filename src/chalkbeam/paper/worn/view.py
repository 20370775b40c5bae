"""A camera before the form, and light on it: from surfaces to a picture."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from chalkbeam.paper.worn.raster import Fragments, grid_triangles, rasterise
from chalkbeam.paper.worn.surfaces import Surface
from chalkbeam.paper.worn.texture import RGB, Texture

Floats = NDArray[np.float64]

DISTANCE = 2500.0
"""How far the viewer stands, mm: as one looks at a person one speaks to across a room."""

ELEVATION = math.radians(4)
FORM: RGB = (0.79, 0.76, 0.72)
SKY, FLOOR = np.array([0.975, 0.98, 0.985]), np.array([0.885, 0.895, 0.905])
KEY = np.array([-0.46, 0.56, 0.69])
"""Towards the main light, in the viewer's axes: right, up, towards the viewer."""


@dataclass(frozen=True, eq=False)
class Camera:
    """A pinhole on a circle round the form.

    Attributes
    ----------
    azimuth : float
        0 looks at the wearer's front, positive from the wearer's left, pi at the back; radians.
    target : ndarray, shape (3,)
        What it looks at, body frame, mm.
    focal : float
        px.
    size : (int, int)
        Width and height of the picture, px.
    centre : (float, float)
        Where the target lies in the picture, px.
    """

    azimuth: float
    target: Floats
    focal: float = 1000.0
    size: tuple[int, int] = (0, 0)
    centre: tuple[float, float] = (0.0, 0.0)

    @property
    def axes(self) -> Floats:
        """Right, up and towards the viewer as rows, body frame, shape (3, 3)."""
        c, s = math.cos(self.azimuth), math.sin(self.azimuth)
        ce, se = math.cos(ELEVATION), math.sin(ELEVATION)
        return np.array([[c, 0.0, -s], [-s * se, ce, -c * se], [s * ce, se, c * ce]])

    def project(self, points: Floats) -> tuple[Floats, Floats]:
        """Return pixels, shape (N, 2), and distances along the view, mm, of body points (N, 3)."""
        seen = (points - self.target) @ self.axes.T
        distance = DISTANCE - seen[:, 2]
        pixels = seen[:, :2] * (1.0, -1.0) * (self.focal / distance)[:, None] + self.centre
        return pixels, distance

    def towards(self, points: Floats) -> Floats:
        """Return unit vectors from points to the viewer, body frame, shape (N, 3)."""
        eye = self.target + DISTANCE * self.axes[2]
        ray = eye - points
        unit: Floats = ray / np.linalg.norm(ray, axis=1, keepdims=True)
        return unit


def frame(
    surfaces: Sequence[Surface], azimuth: float, height: int, width: int | None = None
) -> Camera:
    """Return a camera whose picture holds all surfaces with a margin.

    Parameters
    ----------
    height, width : int
        Of the picture, px; without a width, as wide as the surfaces need.
    """
    points = np.vstack([surface.points.reshape(-1, 3) for surface in surfaces])
    target = (points.min(axis=0) + points.max(axis=0)) / 2
    pixels, _ = Camera(azimuth, target).project(points)
    low, high = pixels.min(axis=0), pixels.max(axis=0)
    margin = 0.06 * (high[1] - low[1])
    room = high - low + 2 * margin
    scale = height / room[1]
    if width is None:
        width = round(scale * room[0])
    scale = min(scale, width / room[0])
    centre = np.array([width, height]) / 2 - scale * (low + high) / 2
    return Camera(
        azimuth, target, 1000.0 * scale, (width, height), (float(centre[0]), float(centre[1]))
    )


def _normals(surface: Surface) -> Floats:
    down, right = np.gradient(surface.points, axis=0), np.gradient(surface.points, axis=1)
    normal = np.cross(down, right)
    length = np.linalg.norm(normal, axis=2, keepdims=True)
    unit: Floats = normal / np.maximum(length, 1e-9)
    return unit


def see(surfaces: Sequence[Surface], textures: Mapping[str, Texture], camera: Camera) -> Fragments:
    """Return what each pixel sees: normal (3), point of the face (2), index of the surface."""
    points = np.vstack([surface.points.reshape(-1, 3) for surface in surfaces])
    values = np.vstack(
        [
            np.column_stack(
                [
                    _normals(surface).reshape(-1, 3),
                    surface.flat.reshape(-1, 2),
                    np.full(surface.points.shape[0] * surface.points.shape[1], float(index)),
                ]
            )
            for index, surface in enumerate(surfaces)
        ]
    )
    pixels, distance = camera.project(points)
    triangles, holed = _triangles(surfaces, textures, pixels)

    def there(fragments: Floats) -> NDArray[np.bool_]:
        kept = np.ones(len(fragments), dtype=bool)
        index = np.round(fragments[:, 5]).astype(int)
        for number, surface in enumerate(surfaces):
            if surface.material == "face":
                mine = np.flatnonzero(index == number)
                kept[mine] = textures[surface.face].sample(fragments[mine, 3:5])[1] > 0.5
        return kept

    return rasterise(pixels, distance, values, triangles, camera.size, holed, there)


def _triangles(
    surfaces: Sequence[Surface], textures: Mapping[str, Texture], pixels: Floats
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Return the triangles of all surfaces, and which of them a face's edge runs through.

    Of a face, only those that show their outer side and have cloth at a corner.
    """
    parts: list[NDArray[np.int64]] = []
    edges: list[NDArray[np.bool_]] = []
    offset = 0
    for surface in surfaces:
        rows, columns = surface.points.shape[:2]
        triangles = grid_triangles(rows, columns)
        edge = np.zeros(len(triangles), dtype=bool)
        if surface.material == "face":
            a, b, c = (pixels[triangles[:, corner] + offset] for corner in range(3))
            first, second = b - a, c - a
            area = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
            covered = textures[surface.face].sample(surface.flat.reshape(-1, 2))[1] > 0.99
            corners = covered[triangles].sum(axis=1)
            shown = (area < 0) & (corners > 0)
            triangles, edge = triangles[shown], corners[shown] < 3
        parts.append(triangles + offset)
        edges.append(edge)
        offset += rows * columns
    return np.vstack(parts), np.concatenate(edges)


def paint(
    surfaces: Sequence[Surface],
    textures: Mapping[str, Texture],
    cloth: RGB,
    azimuth: float,
    height: int,
    width: int | None = None,
) -> NDArray[np.uint8]:
    """Return a picture of the surfaces, shape (height, width, 3), RGB, uint8."""
    camera = frame(surfaces, azimuth, 2 * height, None if width is None else 2 * width)
    fragments = see(surfaces, textures, camera)
    seen = fragments.seen
    values = fragments.values[seen]
    albedo = np.zeros((len(values), 3))
    index = np.round(values[:, 5]).astype(int)
    plain = {"form": np.array(FORM), "cloth": np.array(cloth), "rib": np.array(cloth) * 0.93}
    for number, surface in enumerate(surfaces):
        mine = np.flatnonzero(index == number)
        if surface.material == "face":
            albedo[mine] = textures[surface.face].sample(values[mine, 3:5])[0]
        else:
            albedo[mine] = plain[surface.material]
    normal = values[:, :3] @ camera.axes.T
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)
    normal *= np.where(normal[:, 2:] < 0, -1.0, 1.0)
    key = KEY / np.linalg.norm(KEY)
    lit = (0.5 + 0.5 * normal @ key) ** 1.6
    sky = 0.5 + 0.5 * normal[:, 1]
    grazing = (1 - normal[:, 2]) ** 4
    shade = (0.40 + 0.62 * lit + 0.08 * sky) * (1 - 0.28 * grazing)
    shade = shade * _nearness(fragments)[seen]
    rows = np.linspace(0.0, 1.0, 2 * height)[:, None, None]
    picture = np.broadcast_to(SKY * (1 - rows) + FLOOR * rows, (*seen.shape, 3)).copy()
    picture[seen] = np.clip(albedo * shade[:, None], 0.0, 1.0)
    small = cv2.resize(picture, (camera.size[0] // 2, height), interpolation=cv2.INTER_AREA)
    return np.asarray(np.round(np.clip(small, 0, 1) * 255), dtype=np.uint8)


def _nearness(fragments: Fragments) -> Floats:
    """Return how much light reaches each pixel past its neighbours that stand before it.

    Shade in hollows, from the depth picture alone: a pixel that lies behind the mean
    depth around it is darkened, by up to a third.
    """
    seen = fragments.seen
    full = (seen.shape[1], seen.shape[0])
    small = (max(1, full[0] // 4), max(1, full[1] // 4))
    there = cv2.resize(seen.astype(np.float32), small, interpolation=cv2.INTER_AREA)
    shown = np.where(seen, fragments.depth, 0.0).astype(np.float32)
    depth = cv2.resize(shown, small, interpolation=cv2.INTER_AREA)
    light = np.ones(seen.shape)
    for reach in (9.0, 27.0):
        weight = cv2.GaussianBlur(there, (0, 0), reach / 4)
        mean = cv2.GaussianBlur(depth, (0, 0), reach / 4) / np.maximum(weight, 1e-4)
        around = cv2.resize(mean, full, interpolation=cv2.INTER_LINEAR)
        behind = np.clip((fragments.depth - around) / (2.5 * reach), 0.0, 1.0)
        light *= 1 - 0.26 * behind
    return np.where(seen, light, 1.0)
