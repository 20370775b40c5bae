"""The artwork as a picture of its ink alone, for pages that show it in colour.

Frame: the picture's whole extent is the ink's box, so its middle is the origin of
the art frame (`chalkbeam.artwork.values`).
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from chalkbeam.artwork import Artwork, letter_ink
from chalkbeam.artwork.files import read_picture
from chalkbeam.artwork.ink import bounds, find_ink
from chalkbeam.artwork.measure import ganged_inks, picked

LARGEST = 1600
"""Long side of a picture, px: 150 dots to the inch on a print 10 in wide."""

Pixels = NDArray[np.uint8]


def ink_picture(
    path: Path,
    *,
    page: int = 1,
    mirrored: bool = False,
    pick: int | None = None,
    sheet_width: float | None = None,
    whole: bool = False,
) -> Pixels:
    """Return the ink of an artwork file, shape (h, w, 4), RGBA with straight alpha.

    Parameters
    ----------
    path : Path
    page : int
        Page of a PDF.
    mirrored : bool
        The file is printed in mirror image and seen through its carrier.
    pick : int, optional
        Which artwork of a ganged sheet, counted from 1.
    sheet_width : float, optional
        Width of a ganged sheet, mm, where the file does not say it.
    whole : bool
        A picture without transparency is all ink.

    Raises
    ------
    Refusal
        If the file cannot be read or has no ink.
    """
    picture = read_picture(path, page)
    rgba = np.ascontiguousarray(picture.rgba[:, ::-1]) if mirrored else picture.rgba
    if pick is None:
        ink = find_ink(picture.name, rgba, whole)
    else:
        _, inks = ganged_inks(replace(picture, rgba=rgba), sheet_width)
        ink = picked(picture.name, inks, pick)
    left, top, right, bottom = bounds(ink.mask)
    cropped = rgba[top:bottom, left:right].copy()
    cover = ink.cover[top:bottom, left:right]
    cropped[..., 3] = np.round(np.clip(cover, 0, 1) * 255).astype(np.uint8)
    return _smaller(cropped)


def _smaller(rgba: Pixels) -> Pixels:
    height, width = rgba.shape[:2]
    share = LARGEST / max(height, width)
    if share >= 1:
        return rgba
    size = (max(1, round(width * share)), max(1, round(height * share)))
    # Colours count by their cover, so that clear pixels bleed nothing into the rim.
    layer = rgba.astype(np.float32)
    layer[..., :3] *= layer[..., 3:] / 255
    small = np.asarray(cv2.resize(layer, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
    small[..., :3] /= np.maximum(small[..., 3:] / 255, 1e-6)
    return np.asarray(np.round(np.clip(small, 0, 255)), dtype=np.uint8)


def letter_picture(artwork: Artwork, colour: tuple[int, int, int]) -> Pixels:
    """Return set lettering in one colour, shape (h, w, 4), RGBA.

    Parameters
    ----------
    artwork : Artwork
        As `chalkbeam.artwork.letter` gave it.
    colour : (red, green, blue)
    """
    shape = letter_ink(artwork)
    left, top, right, bottom = shape.bounds
    scale = min(LARGEST, 8 * max(right - left, bottom - top)) / max(right - left, bottom - top)
    size = (math.ceil((right - left) * scale), math.ceil((bottom - top) * scale))
    cover = np.zeros((size[1], size[0]), dtype=np.uint8)
    rings = []
    for part in getattr(shape, "geoms", [shape]):
        for ring in (part.exterior, *part.interiors):
            points = (np.asarray(ring.coords) - (left, top)) * scale - 0.5
            rings.append(np.round(points * 16).astype(np.int32))
    cv2.fillPoly(cover, rings, 255, cv2.LINE_AA, 4)  # rings within rings stay open
    rgba = np.empty((size[1], size[0], 4), dtype=np.uint8)
    rgba[..., :3] = colour
    rgba[..., 3] = cover
    return rgba
