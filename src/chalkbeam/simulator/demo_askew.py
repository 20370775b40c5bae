"""The demo's shirt laid askew: light as planned, light that follows, a transfer beside its place.

Where the shirt lies is taken as found here (`chalkbeam eye read` finds it from a whole burst); how
far off the transfer lies is measured, from two pictures of a virtual camera at the press.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Isometry
from calibration.model.pinhole import Pinhole
from calibration.rig.file import Rig
from chalkbeam.basics.units import Unit
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.flashes import DIM
from chalkbeam.eye.moving import how_to_move
from chalkbeam.eye.transfer import Target, find_transfer
from chalkbeam.eye.values import TransferSeen
from chalkbeam.light.choice import about
from chalkbeam.light.marks import lay_marks
from chalkbeam.light.transfer_sign import TransferSign, sign_marks
from chalkbeam.placement import Placement
from chalkbeam.placement.loading import Loading, laid_at
from chalkbeam.placement.shift import Shift
from chalkbeam.simulator.rig import (
    Cloth,
    ClothReflectance,
    GarmentPicture,
    Lens,
    PressScene,
    RoomLight,
    Sensor,
    VirtualRig,
    drape,
    look_at,
    paint,
    render_photo,
)
from overlay.draw.frame import Frame, render
from overlay.palette import Palette

ASKEW = Shift(9.0, 5.0, math.radians(3.5))
"""How the shirt lies off its planned load: to the right, away from the operator, turned left."""

OFF = Shift(3.2, 2.4)
"""How far the transfer lies off its place, platen frame, mm: 4 mm."""

_STANDS = (760.0, 330.0, 820.0)
_PAPER, _INK = (228, 232, 232), (120, 70, 60)  # square roots of reflectance, BGR, of 255


@dataclass(frozen=True, eq=False)
class Askew:
    """What the demo shows of a shirt laid askew.

    Attributes
    ----------
    planned, follows, told : tuple of (Cloth, Frame)
        The shirt, and what the projector shows on it: the lay lines where they were planned, where
        they belong on the shirt as it lies, and what tells that the transfer is beside its place.
    how : str
        How the shirt would come to the planned load.
    seen : TransferSeen
    """

    planned: tuple[Cloth, Frame]
    follows: tuple[Cloth, Frame]
    told: tuple[Cloth, Frame]
    how: str
    seen: TransferSeen


def askew(
    rig: Rig,
    truth: VirtualRig,
    placement: Placement,
    planned: Loading,
    dye: ClothReflectance,
    palette: Palette,
    ink: NDArray[np.bool_],
) -> Askew:
    """Lay a placed garment askew, let the light follow it, and measure a transfer laid beside.

    Parameters
    ----------
    ink : ndarray of bool, shape (h, w)
        Of the placement's artwork, cut to its bounds.
    """
    pose = planned.platen_from_garment
    lies = about(ASKEW, (pose.x, pose.y)) @ pose
    follows = laid_at(placement, planned, lies)
    garment = placement.garment
    bare = paint(placement.face, dye, garment.thickness, 2.5)

    def laid(picture: GarmentPicture) -> Cloth:
        return drape(picture, lies, planned.platen.face, thickness=garment.thickness, seed=3)

    def lit(loading: Loading, sign: TransferSign | None = None) -> Frame:
        marks = lay_marks(placement, loading, unit=Unit.INCH)
        if sign is not None:
            art = loading.platen_from_garment @ placement.garment_from_art
            marks = (*marks, *sign_marks(sign, placement.artwork.ink, art, loading.height))
        return render(marks, rig.projector, palette)

    shirt, with_sheet = laid(bare), laid(_with_sheet(bare, placement, lies, ink))
    target = Target.of(placement.artwork, ink, lies @ placement.garment_from_art, False)
    seen = _measured(truth, with_sheet, planned, target)
    sign = TransferSign(seen.verdict == "good", seen.off, seen.turned or 0.0)
    return Askew(
        (shirt, lit(planned)), (shirt, lit(follows)), (with_sheet, lit(follows, sign)),
        how_to_move(lies, pose), seen,
    )  # fmt: skip


def _with_sheet(
    picture: GarmentPicture, placement: Placement, lies: Isometry, ink: NDArray[np.bool_]
) -> GarmentPicture:
    """Return a garment's picture with the transfer on it, `OFF` beside its place."""
    art = lies @ placement.garment_from_art
    beside = lies.inverse() @ about(OFF, (art.x, art.y)) @ art
    colour = picture.colour.copy()
    sheet = picture.pixels(beside.apply(placement.artwork.sheet.corners()))
    cv2.fillPoly(colour, [np.rint(sheet * 16).astype(np.int32)], (*_PAPER, 255), cv2.LINE_AA, 4)
    rows, columns = ink.shape
    box = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], np.float32)
    corners = picture.pixels(beside.apply(placement.artwork.ink.corners())).astype(np.float32)
    to = cv2.getPerspectiveTransform(box, corners)
    size = colour.shape[1], colour.shape[0]
    cover = cv2.warpPerspective(ink.astype(np.float32), to, size)[..., None]
    printed = colour[..., :3] + cover * (np.array(_INK, np.float32) - colour[..., :3])
    colour[..., :3] = np.rint(printed)
    return replace(picture, colour=colour)


def _measured(truth: VirtualRig, cloth: Cloth, loading: Loading, target: Target) -> TransferSeen:
    """Return where the transfer is seen to lie, by a virtual camera and the program's own path."""
    size = 1280, 720
    middle = (size[0] - 1) / 2, (size[1] - 1) / 2
    lens = Lens(size, 0.95 * size[0], middle, look_at(_STANDS, (0.0, 0.0, 0.0)), _STANDS)
    scene = PressScene(
        face=loading.platen.face, cover=False, cloth=cloth, room=RoomLight(level=0.25)
    )
    width, height = truth.projector.view.size
    take: Callable[[int], NDArray[np.uint8]] = lambda code: render_photo(  # noqa: E731
        scene, lens, Sensor(white=2.0), truth.projector,
        np.full((height, width, 3), code, np.uint8), seed=code,
    )  # fmt: skip
    burst = Burst("the demo's camera", {"white": take(255), "dim": take(round(255 * DIM))})
    return find_transfer(burst, _pinhole(lens), target, loading.height)


def _pinhole(lens: Lens) -> Pinhole:
    rx, ry, rz = lens.turn
    tx, ty, tz = (float(value) for value in -lens.rotation @ np.array(lens.position))
    return Pinhole(lens.focal, *lens.centre, rx=rx, ry=ry, rz=rz, tx=tx, ty=ty, tz=tz)
