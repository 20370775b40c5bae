"""What the operator's display draws: the platen with its lines, and the artwork in colour."""

from __future__ import annotations

import functools
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import XY, Isometry, PlatenFace, xy_tuple
from calibration.refusal import Refusal
from calibration.worker import Lost, apart
from chalkbeam.light.choice import Choice
from chalkbeam.light.marks import lay_lines, load_lines
from chalkbeam.orders.order_of_work import Stop
from chalkbeam.orders.pieces import Art
from chalkbeam.placement import Placement
from chalkbeam.record.events import Step
from chalkbeam.station.ready_imprint import changed_at
from overlay.marks import Dash, Mark, Role, Stroke

THUMB = 360
"""Longest side of the artwork's picture, px: more is not seen on the plan."""


@dataclass(frozen=True)
class ArtPicture:
    """The artwork in colour.

    Attributes
    ----------
    source : tuple of (Art, int, bool)
        The artwork, when its file was changed last, and whether it is mirrored: they stand for
        `rgba` where pictures are compared.
    rgba : ndarray of uint8, shape (h, w, 4)
        Cropped to the ink.
    width, height : float
        Of the ink, mm.
    platen_from_art : Isometry
        Where it lies; the art frame has y down and its origin at the ink's middle.
    """

    source: tuple[Art, int, bool]
    rgba: NDArray[np.uint8] = field(compare=False)
    width: float
    height: float
    platen_from_art: Isometry


def plan_view(
    face: PlatenFace, choice: Choice | None, step: Step, laid: Placement | None
) -> tuple[Mark, ...]:
    """Return the platen, the garment on it and the lines of the step, without lettering."""
    edge = tuple((float(x), float(y)) for x, y in face.outline())
    marks: list[Mark] = [Stroke(edge, Role.CHECK, 2.0, closed=True, dash=Dash.SOLID)]
    if choice is None or laid is None:
        return tuple(marks)
    if step in (Step.LOAD, Step.PREPRESS):
        marks += load_lines(choice.placement, choice.loading)
    return (*marks, *lay_lines(laid, choice.loading))


def garment_outline(choice: Choice | None) -> tuple[XY, ...]:
    """Return the edge of the garment's face as it is to lie, platen frame, mm; empty for none."""
    if choice is None:
        return ()
    return xy_tuple(choice.loading.platen_from_garment.apply(choice.placement.face.outline))


def art_picture(
    choice: Choice | None, stop: Stop | None, laid: Placement | None
) -> ArtPicture | None:
    """Return the artwork in colour where it is to be laid; None for lettering, or nothing."""
    if choice is None or laid is None or stop is None or stop.imprint.art.path is None:
        return None
    art, mirrored = stop.imprint.art, choice.placement.artwork.mirrored
    source = (art, changed_at(art), mirrored)
    rgba = _thumbnail(*source)
    if rgba is None:
        return None
    ink = laid.artwork.ink
    pose = choice.loading.platen_from_garment @ laid.garment_from_art
    return ArtPicture(source, rgba, ink.width, ink.height, pose)


@functools.lru_cache(maxsize=64)
def _thumbnail(art: Art, changed: int, mirrored: bool) -> NDArray[np.uint8] | None:
    """Return an artwork's ink in colour, shape (h, w, 4), RGBA; None if it cannot be read."""
    del changed  # an edited file is read again
    try:
        return apart(_small_ink, Path(art.path or art.text), mirrored)
    except (Refusal, Lost):
        return None


def _small_ink(path: Path, mirrored: bool) -> NDArray[np.uint8]:
    """Return the same; called where decoders run, for a whole picture takes a hundred megabytes."""
    from chalkbeam.artwork.files import read_picture
    from chalkbeam.artwork.ink import bounds, find_ink

    picture = read_picture(path)
    rgba = _within(picture.rgba, 3 * THUMB)
    ink = find_ink(picture.name, rgba)
    left, top, right, bottom = bounds(ink.mask)
    rgba = rgba.copy()
    rgba[:, :, 3] = np.rint(255 * ink.cover)
    rgba = rgba[top:bottom, left:right]
    if mirrored:
        rgba = np.ascontiguousarray(rgba[:, ::-1])
    return _within(rgba, THUMB)


def _within(rgba: NDArray[np.uint8], longest: int) -> NDArray[np.uint8]:
    """Return a picture with no side longer than so many pixels."""
    scale = longest / max(rgba.shape[:2])
    if scale >= 1.0:
        return rgba
    size = (max(1, round(rgba.shape[1] * scale)), max(1, round(rgba.shape[0] * scale)))
    return np.asarray(cv2.resize(rgba, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
