"""Photo files as phones and cameras write them: upright BGR pixels, which camera, which lens."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageOps

from calibration.files import read_whole
from calibration.picture_files import (
    LARGEST_FILE,
    DamagedPicture,
    NoPicture,
    TooManyPixels,
    from_picture,
)
from calibration.refusal import Refusal

SMALLEST = (640, 480)
"""Longer and shorter side of the smallest photo in which markers can be read, px."""

LARGEST_PIXELS = 170_000_000
"""More is refused before it fills the memory."""

_LONGEST_ASPECT = 2.4  # single shots end at 21:9 = 2.33; beyond are stitched panoramas
_DARKEST_HIGHLIGHT = 45  # of 255: the 99th percentile of a photo with any usable light
_BRIGHTEST_MEDIAN = 250
_DIAGONAL_35MM = math.hypot(36.0, 24.0)  # CIPA DCG-001: "equivalent" goes by the diagonal
_CUSTOM_PANORAMA = 6  # EXIF CustomRendered as phones write it for a panorama
_MM_PER_FOCAL_PLANE_UNIT = {2: 25.4, 3: 10.0, 4: 1.0}  # EXIF 2.32, FocalPlaneResolutionUnit

_TURNS = {
    None: None,
    1: None,
    3: cv2.ROTATE_180,
    6: cv2.ROTATE_90_CLOCKWISE,
    8: cv2.ROTATE_90_COUNTERCLOCKWISE,
}
"""How to turn a picture by its EXIF orientation (EXIF 2.32); mirrored ones no camera writes."""

UNKNOWN_CAMERA = "unknown camera"
"""How the key of a photo begins that does not say which camera took it."""


@dataclass(frozen=True, eq=False)
class Photo:
    """One photo, upright.

    Attributes
    ----------
    name : str
        File name, for messages.
    image : ndarray, shape (height, width, 3), uint8
        BGR, turned as its EXIF orientation says.
    camera : str
        Key that tells cameras (and lenses, and picture sizes) apart.
    focal_hint : float or None
        Focal length in px, where EXIF tells it.
    """

    name: str
    image: NDArray[np.uint8]
    camera: str
    focal_hint: float | None = None

    @property
    def size(self) -> tuple[int, int]:
        """Width and height, px."""
        return int(self.image.shape[1]), int(self.image.shape[0])


def read_photo(path: str | Path) -> Photo:
    """Read a JPEG, PNG, HEIC, WebP or TIFF photo.

    Raises
    ------
    Refusal
        If the file is missing or no photo, too small, a panorama, or so dark or bright
        that nothing can be seen.
    """
    path = Path(path)
    try:
        data = read_whole(path, LARGEST_FILE)
        if not data:
            raise Refusal(f"{path.name} is empty: copy it from the camera again.")
        return from_picture(data, partial(_photo, path.name))
    except FileNotFoundError:
        raise Refusal(f"There is no photo at {path}: check the name and folder.") from None
    except IsADirectoryError:
        raise Refusal(f"{path} is a folder: name the photo file in it.") from None
    except NoPicture:
        raise Refusal(
            f"{path.name} is no photo that can be read: save it as JPEG, PNG, HEIC, WebP or TIFF."
        ) from None
    except TooManyPixels:
        raise _too_large(path.name) from None
    except (OSError, DamagedPicture):
        raise Refusal(
            f"{path.name} is damaged or incomplete: copy it from the camera again."
        ) from None


def check_light(photo: Photo) -> None:
    """Raise a `Refusal` if the photo is too small, or black or white all over."""
    long, short = sorted(photo.size, reverse=True)
    if long < SMALLEST[0] or short < SMALLEST[1]:
        raise Refusal(
            f"{photo.name} has only {photo.size[0]} x {photo.size[1]} pixels: set the camera to "
            "1920 x 1080 or more."
        )
    thumbnail = cv2.resize(photo.image, (256, 256), interpolation=cv2.INTER_AREA)
    brightest = thumbnail.max(axis=2)
    if np.percentile(brightest, 99) < _DARKEST_HIGHLIGHT:
        raise Refusal(
            f"{photo.name} is too dark all over: switch on the projector and the room light, and "
            "take it again."
        )
    if np.median(thumbnail.min(axis=2)) > _BRIGHTEST_MEDIAN:
        raise Refusal(
            f"{photo.name} is washed out white all over: tap on the platen to lower the exposure "
            "and take it again."
        )


def _too_large(name: str) -> Refusal:
    return Refusal(f"{name} has more than 170 megapixels: set the camera to 12 megapixels.")


def _photo(name: str, opened: Image.Image) -> Photo:
    width, height = opened.size
    if width * height > LARGEST_PIXELS:
        raise _too_large(name)
    exif = opened.getexif()
    details = exif.get_ifd(ExifTags.IFD.Exif)
    if (
        details.get(ExifTags.Base.CustomRendered) == _CUSTOM_PANORAMA
        or b"GPano:" in _xmp(opened)
        or max(width, height) > _LONGEST_ASPECT * min(width, height)
    ):
        raise Refusal(
            f"{name} is a panorama, stitched from several shots: take one ordinary photo that "
            "shows the whole platen."
        )
    image = _upright(opened, exif)
    size = (image.shape[1], image.shape[0])
    camera = _camera(exif, details, size)
    photo = Photo(name, np.asarray(image, np.uint8), camera, _focal_hint(details, size))
    check_light(photo)
    return photo


def _upright(opened: Image.Image, exif: Image.Exif) -> NDArray[np.uint8]:
    """Return the picture's BGR pixels, turned as its EXIF orientation says.

    HEIC comes already turned, with its orientation tag reset: nothing turns twice.
    """
    turn = exif.get(ExifTags.Base.Orientation)
    if opened.mode != "RGB" or turn not in _TURNS:
        upright = ImageOps.exif_transpose(opened)
        return np.asarray(cv2.cvtColor(_rgb(upright), cv2.COLOR_RGB2BGR), np.uint8)
    # As phones write: Pillow's own way copies such a picture four times.
    width, height = opened.size
    image = np.frombuffer(opened.tobytes("raw", "BGR"), np.uint8).reshape(height, width, 3)
    way = _TURNS[turn]
    return image if way is None else np.asarray(cv2.rotate(image, way), np.uint8)


def _rgb(upright: Image.Image) -> NDArray[np.uint8]:
    if upright.mode.startswith("I") or upright.mode == "F":  # 16-bit grey and the like
        deep = np.asarray(upright, np.float64)
        top = 65535.0 if deep.max() > 255 else 255.0
        return np.repeat(np.clip(deep / top * 255, 0, 255).astype(np.uint8)[..., None], 3, axis=2)
    return np.asarray(upright.convert("RGB"))


def _xmp(opened: Image.Image) -> bytes:
    xmp = opened.info.get("xmp", b"")
    return xmp.encode() if isinstance(xmp, str) else bytes(xmp or b"")


def _number(value: object) -> float:
    """Return an EXIF number, or 0 where it is missing or malformed."""
    try:
        number = float(value)  # type: ignore[arg-type]  # whatever the file holds
    except (TypeError, ValueError, ZeroDivisionError):
        return 0.0
    return number if math.isfinite(number) and number > 0 else 0.0


def _camera(exif: Image.Exif, details: dict[int, object], size: tuple[int, int]) -> str:
    words = [
        str(source.get(tag, "")).replace("\x00", "").strip()
        for source, tag in (
            (exif, ExifTags.Base.Make),
            (exif, ExifTags.Base.Model),
            (details, ExifTags.Base.LensModel),
        )
    ]
    focal = _number(details.get(ExifTags.Base.FocalLength))
    equivalent = _number(details.get(ExifTags.Base.FocalLengthIn35mmFilm))
    words.append(f"{focal:g} mm" if focal else "")
    words.append(f"({equivalent:g} mm)" if equivalent else "")
    known = " ".join(word for word in words if word) or UNKNOWN_CAMERA
    return f"{known} {size[0]}x{size[1]}"


def _focal_hint(details: dict[int, object], size: tuple[int, int]) -> float | None:
    """Return the focal length in px from EXIF, or None.

    From the 35 mm equivalent by the picture's diagonal (CIPA DCG-001), else from the
    focal length and the sensor's pixels per unit of length (EXIF 2.32, FocalPlane...).
    A photo cropped afterwards has another shape than its EXIF size: then there is none.
    """
    stated = [
        _number(details.get(tag))
        for tag in (ExifTags.Base.ExifImageWidth, ExifTags.Base.ExifImageHeight)
    ]
    long, short = max(size), min(size)
    if all(stated) and abs(max(stated) / min(stated) / (long / short) - 1) > 0.02:
        return None
    equivalent = _number(details.get(ExifTags.Base.FocalLengthIn35mmFilm))
    if equivalent:
        return equivalent * math.hypot(*size) / _DIAGONAL_35MM
    focal = _number(details.get(ExifTags.Base.FocalLength))
    density = _number(details.get(ExifTags.Base.FocalPlaneXResolution))
    unit = details.get(ExifTags.Base.FocalPlaneResolutionUnit, 2)
    millimetres = _MM_PER_FOCAL_PLANE_UNIT.get(unit) if isinstance(unit, int) else None
    if not (focal and density and millimetres):
        return None
    shrunk = long / max(stated) if all(stated) else 1.0
    zoom = _number(details.get(ExifTags.Base.DigitalZoomRatio)) or 1.0
    return focal * density / millimetres * shrunk * zoom
