"""Picture files of others: the one place where they are opened, and what may go wrong with them."""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable
from typing import TypeVar

from PIL import Image, UnidentifiedImageError

from calibration.refusal import Refusal
from calibration.worker import Lost, apart

FORMATS = ("PNG", "JPEG", "MPO", "TIFF", "WEBP", "GIF", "BMP", "HEIF")
"""What is opened; MPO is a JPEG with more pictures behind it, as phones write. Nothing whose
content is a program to be run (EPS) is among them, nor what only games and scanners write."""

LARGEST_FILE = 1_000_000_000
"""Bytes; 170 megapixels without compression are 700 MB."""

Result = TypeVar("Result")


class NoPicture(ValueError):
    """The content is none of the kinds of picture that are opened."""


class DamagedPicture(ValueError):
    """The picture cannot be decoded: why, where a person can do something about it."""


class TooManyPixels(ValueError):
    """The picture is beyond what Pillow decodes."""


def from_picture(data: bytes, use: Callable[[Image.Image], Result]) -> Result:
    """Return what a function makes of the picture in a file's content.

    Decoders with large attack surfaces (TIFF, HEIC) run in the process apart; then `use` and its
    result are pickled.

    Parameters
    ----------
    data : bytes
    use : callable
        Given the picture, opened but not decoded; a function of a module, or a
        `functools.partial` of one.

    Raises
    ------
    NoPicture, DamagedPicture, TooManyPixels
    Refusal
        As `use`.
    """
    try:
        return apart(_used, data, use) if _apart(data) else _used(data, use)
    except (Refusal, NoPicture, DamagedPicture, TooManyPixels):
        raise
    except Lost as error:
        raise DamagedPicture(str(error)) from None


def _apart(data: bytes) -> bool:
    """Whether the content is a TIFF's (TIFF 6.0, section 2) or HEIC's (ISO/IEC 14496-12, 4.3)."""
    return data[:2] in {b"II", b"MM"} or data[4:8] == b"ftyp"


def _used(data: bytes, use: Callable[[Image.Image], Result]) -> Result:
    if data[4:8] == b"ftyp":
        import pillow_heif

        pillow_heif.register_heif_opener()
    try:
        with warnings.catch_warnings():
            # Pillow warns of large pictures and odd tags; both are judged by who asks.
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data), formats=_formats()) as image:
                return use(image)
    except Refusal:
        raise
    except UnidentifiedImageError:
        raise NoPicture from None
    except Image.DecompressionBombError:
        raise TooManyPixels from None
    except Exception as error:  # decoders and tag readers raise whatever a damaged file runs into
        raise DamagedPicture(str(error)) from None


def _formats() -> tuple[str, ...]:
    Image.init()
    return tuple(each for each in FORMATS if each in Image.OPEN)
