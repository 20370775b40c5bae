"""Write a rendered photo as a camera would: JPEG with its EXIF tags."""

from __future__ import annotations

import math
from pathlib import Path

import cv2
from PIL import Image

from chalkbeam.simulator.rig.arrays import U8
from chalkbeam.simulator.rig.optics import Lens

_FULL_FRAME_DIAGONAL = math.hypot(36.0, 24.0)
_TURNS = {1: None, 3: cv2.ROTATE_180, 6: cv2.ROTATE_90_COUNTERCLOCKWISE, 8: cv2.ROTATE_90_CLOCKWISE}
"""How stored pixels are turned for each EXIF orientation that cameras write."""


def write_photo(
    image: U8,
    path: Path,
    *,
    make: str = "",
    model: str = "",
    view: Lens | None = None,
    orientation: int = 1,
    quality: int = 92,
) -> None:
    """Write a JPEG with EXIF make, model, focal lengths and orientation.

    Parameters
    ----------
    image : uint8 array, shape (H, W, 3), BGR
        Upright: the reader sees it so after applying the orientation.
    path : Path
        Ends in .jpg; replaced whole.
    make, model : str
        Left out when empty.
    view : Lens, optional
        Its focal length is written, as that of a sensor 6.4 mm wide, and rounded to whole
        millimetres of a full frame's diagonal (CIPA DC-008, tag 0xA405), as cameras do.
    orientation : {1, 3, 6, 8}
        EXIF orientation; the pixels are stored turned the other way.
    quality : int
        Of the JPEG, 1 to 95.
    """
    exif = Image.Exif()
    if make:
        exif[0x010F] = make
    if model:
        exif[0x0110] = model
    exif[0x0112] = orientation
    if view is not None:
        detail = exif.get_ifd(0x8769)
        width, height = view.size
        detail[0x920A] = round(view.focal * 6.4 / max(width, height), 2)
        detail[0xA405] = round(view.focal * _FULL_FRAME_DIAGONAL / math.hypot(width, height))
    turn = _TURNS[orientation]
    stored = image if turn is None else cv2.rotate(image, turn)
    beside = path.with_name(path.name + ".part")
    picture = Image.fromarray(cv2.cvtColor(stored, cv2.COLOR_BGR2RGB))
    picture.save(beside, "JPEG", quality=quality, subsampling="4:2:0", exif=exif)
    beside.replace(path)
