"""The garment as it is worn: pictures of it on a body form, and what the eye loses of the art.

`Worn` is what to show; `look` gives pictures, `losses` the numbers. The geometry
is simple and stated: `form` (a stack of ellipses), `drape` (cloth that keeps its
lengths), `surfaces`, `necks`, `others`. It shows where art turns away and what a
hood covers; it does not show folds, or how a person moves.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import shapely
from numpy.typing import NDArray

from calibration.geometry import Isometry, Points
from calibration.refusal import Refusal
from chalkbeam.garments import Garment
from chalkbeam.paper.worn.necks import collar_surfaces
from chalkbeam.paper.worn.others import bag_figure, hood_figure, legs_figure
from chalkbeam.paper.worn.surfaces import Figure, Place, Surface, top_figure
from chalkbeam.paper.worn.texture import RGB, Texture, cloth_texture, with_art
from chalkbeam.paper.worn.view import Camera, frame, paint, see

__all__ = ["BELLY", "VIEWS", "Losses", "View", "Worn", "look", "losses", "under_hood"]

View = Literal["straight", "three_quarter", "front"]
VIEWS: tuple[View, ...] = get_args(View)

PALE: RGB = (0.86, 0.875, 0.89)
"""A cloth that shows any artwork, where no colour is given."""

SAMPLES = 20_000
"""About how many points of ink are looked at for the numbers."""

BELLY = 0.25
"""How full a form's belly is where nobody says, 0 to 1."""

EDGE_ON = math.radians(60)
"""Cloth turned further than this from the viewer shows less than half its width."""

BEHIND = 8.0
"""A point this far behind what its pixel sees is hidden, mm: the mesh's and pixel's coarseness."""


@dataclass(frozen=True, eq=False)
class Worn:
    """A garment with its artwork, to be shown on a body form.

    Attributes
    ----------
    garment : Garment
    face : str
        The face that takes the art.
    art : ndarray, shape (h, w, 4), uint8
        RGBA with straight alpha, as the operator sees it on the garment.
    garment_from_art : Isometry
        Pose of the art in the face's frame. Art frame: origin at the middle of the
        picture, x right, y down, mm.
    width : float
        Width of the whole picture, mm.
    cloth : RGB
        Colour of the cloth, 0 to 1.
    belly : float
        How full the form's belly is, 0 to 1.
    """

    garment: Garment
    face: str
    art: NDArray[np.uint8]
    garment_from_art: Isometry
    width: float
    cloth: RGB = PALE
    belly: float = BELLY


@dataclass(frozen=True)
class Losses:
    """What the eye loses of the ink, as shares of its area, 0 to 1.

    Attributes
    ----------
    out_of_sight : float
        Not seen at all from straight before the wearer (a back print: straight behind).
    edge_on : float
        Seen from there, but turned so far that it shows less than half its width.
    under_hood : float
        Covered by the hood lying down.
    """

    out_of_sight: float
    edge_on: float
    under_hood: float


@functools.lru_cache(maxsize=16)
def _figure(garment: Garment, belly: float, hood: str) -> tuple[Figure, tuple[Surface, ...]]:
    """Return what is worn; `hood` names the side of a hood that is looked at, else nothing."""
    if hood:
        figure = hood_figure(garment, hood)
        return figure, figure.surfaces
    if "panel" in garment.faces:
        figure = bag_figure(garment)
        return figure, figure.surfaces
    if "left_leg" in garment.faces:
        figure = legs_figure(garment)
        return figure, figure.surfaces
    figure = top_figure(garment, belly)
    return figure, (*figure.surfaces, *collar_surfaces(garment, figure))


def _hood(worn: Worn) -> str:
    name = worn.garment.face(worn.face).name
    return name if name.endswith("_hood") else ""


def _face_name(worn: Worn, figure: Figure) -> str:
    name = worn.garment.face(worn.face).name
    if name not in figure.places:
        raise Refusal(f"The {name.replace('_', ' ')} has no worn view.")
    return name


def _cut_out(garment: Garment, face: str) -> bool:
    """Whether a face has an outline of its own within its box, as an apron's, a cap's or a hood."""
    return face.endswith("_hood") or bool({"bib_width", "crown_width"} & set(garment.measures))


def _textures(worn: Worn, figure: Figure, art_face: str) -> dict[str, Texture]:
    textures = {}
    for name in figure.places:
        filled = name not in ("front", "back") and not _cut_out(worn.garment, name)
        texture = cloth_texture(worn.garment.face(name), worn.cloth, filled)
        if name == art_face:
            texture = with_art(texture, worn.art, worn.garment_from_art, worn.width)
        textures[name] = texture
    return textures


def _azimuth(face: str, view: View, x: float) -> float:
    """Return where the viewer stands for a face; three-quarter turns to the art's own side."""
    behind = face == "back"
    if view == "front":
        return math.pi if behind else 0.0
    straight = {"back": math.pi, "left_sleeve": math.pi / 2, "right_sleeve": -math.pi / 2}
    base = straight.get(face, 0.0)
    if view == "straight":
        return base
    if face.endswith("_sleeve"):
        return base / 2
    if face.endswith("_leg"):
        return math.radians(40) * (1 if face == "left_leg" else -1)
    # On the back, x > 0 is the wearer's right, which is the viewer's right too.
    return base + math.radians(40) * (1.0 if x >= -1e-6 else -1.0)


def look(
    worn: Worn, view: View = "straight", height: int = 720, width: int | None = None
) -> NDArray[np.uint8]:
    """Return a picture of the worn garment.

    Parameters
    ----------
    worn : Worn
    view : {"straight", "three_quarter", "front"}
        Straight at the face; from between the face and the side the art lies on; or
        straight before the wearer (behind, for the back).
    height, width : int
        px; without a width, as wide as the figure needs.

    Returns
    -------
    ndarray, shape (height, width, 3), RGB, uint8
    """
    figure, surfaces = _figure(worn.garment, worn.belly, _hood(worn))
    face = _face_name(worn, figure)
    textures = _textures(worn, figure, face)
    azimuth = _azimuth(face, view, worn.garment_from_art.x)
    return paint(surfaces, textures, worn.cloth, azimuth, height, width)


def losses(worn: Worn) -> Losses:
    """Return what the eye loses of the ink, seen from straight before (or behind) the wearer."""
    figure, surfaces = _figure(worn.garment, worn.belly, _hood(worn))
    face = _face_name(worn, figure)
    points, weights = _ink(worn)
    total = weights.sum()
    if total <= 0:
        raise Refusal("The artwork has no ink to look at: check its transparency.")
    place = figure.places[face]
    textures = {
        name: cloth_texture(
            worn.garment.face(name),
            worn.cloth,
            name not in ("front", "back") and not _cut_out(worn.garment, name),
        )
        for name in figure.places
    }
    camera = frame(surfaces, _azimuth(face, "front", 0.0), 700)
    depth = see(surfaces, textures, camera).depth
    body, facing = place(points), _facing(place, points, camera)
    pixels, distance = camera.project(body)
    column = np.clip(np.round(pixels[:, 0]).astype(int), 0, camera.size[0] - 1)
    row = np.clip(np.round(pixels[:, 1]).astype(int), 0, camera.size[1] - 1)
    hidden = (facing <= 0) | (distance > depth[row, column] + BEHIND)
    turned = ~hidden & (facing < math.cos(EDGE_ON))
    return Losses(
        float(weights[hidden].sum() / total),
        float(weights[turned].sum() / total),
        under_hood(worn),
    )


def _ink(worn: Worn) -> tuple[Points, NDArray[np.float64]]:
    """Return points of ink on the face, mm, shape (N, 2), and how much ink each stands for."""
    height, width = worn.art.shape[:2]
    step = max(1, math.ceil(math.sqrt(height * width / SAMPLES)))
    rows, columns = np.mgrid[step // 2 : height : step, step // 2 : width : step]
    cover = worn.art[rows, columns, 3].astype(np.float64) / 255
    mm = worn.width / width
    art = np.stack([columns + 0.5 - width / 2, rows + 0.5 - height / 2], axis=-1) * mm
    inked = cover > 0
    return worn.garment_from_art.apply(art[inked]), cover[inked]


def _facing(place: Place, points: Points, camera: Camera) -> NDArray[np.float64]:
    """Return the cosine between the cloth's outward normal and the way to the viewer."""
    on = place(points)
    right = place(np.add(points, (0.5, 0.0))) - on
    down = place(np.add(points, (0.0, 0.5))) - on
    normal = np.cross(down, right)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    return np.asarray(np.sum(normal * camera.towards(on), axis=1), dtype=np.float64)


def under_hood(worn: Worn) -> float:
    """Return the share of the ink that the hood lying down covers, 0 to 1."""
    points, weights = _ink(worn)
    covered = np.zeros(len(points), dtype=bool)
    for area in worn.garment.face(worn.face).areas:
        if area.kind == "hood_shadow":
            covered |= shapely.contains_xy(shapely.Polygon(area.polygon), points)
    return float(weights[covered].sum() / weights.sum()) if len(weights) else 0.0
