"""Artwork files to pixels: PNG, JPEG, WebP, TIFF and other pictures, SVG, PDF at true size."""

from __future__ import annotations

import math
from functools import partial
from pathlib import Path

from PIL import Image, ImageOps

from calibration.files import read_whole
from calibration.picture_files import (
    LARGEST_FILE,
    DamagedPicture,
    NoPicture,
    TooManyPixels,
    from_picture,
)
from calibration.refusal import Refusal
from chalkbeam.artwork.pdf import read_pdf
from chalkbeam.artwork.picture import Picture, Pixels, drawn_apart, to_rgba
from chalkbeam.artwork.svg import is_svg, linked_files, read_svg
from chalkbeam.basics.sentences import Sentence

__all__ = ["Picture", "linked_files", "read_picture"]

MOST_PIXELS = 170_000_000
"""A larger picture would not fit a small shop computer's memory; 22 x 80 in at 300 dpi does."""
WORK_PIXELS = 20_000_000
"""Larger pictures are reduced by a whole factor as they are read: a pixel of 0.25 mm is enough for
a long sheet of transfers."""


def read_picture(path: Path, page: int = 1) -> Picture:
    """Read an artwork file.

    Parameters
    ----------
    path : Path
    page : int
        Page of a PDF, counted from 1.

    Raises
    ------
    Refusal
        If the file is missing, unreadable, empty or far too large.
    """
    path = Path(path)
    try:
        data = read_whole(path, LARGEST_FILE)
    except IsADirectoryError:
        raise Refusal(f"{path} is a folder: name the artwork file in it.") from None
    except FileNotFoundError:
        raise Refusal(f"There is no artwork file {path}: check the name and the folder.") from None
    except OSError as error:
        raise Refusal(
            f"{path.name} cannot be read ({error.strerror}): check that you may open the file."
        ) from error
    if not data:
        raise Refusal(f"{path.name} is empty: export the artwork again.")
    if data[:1024].lstrip().startswith(b"%PDF"):
        return drawn_apart(path.name, partial(read_pdf, path.name, data, page))
    if is_svg(path, data):
        return read_svg(path, data)
    return _read_raster(path.name, data)


def _read_raster(name: str, data: bytes) -> Picture:
    try:
        rgba, pictures = from_picture(data, partial(_upright, name))
    except TooManyPixels:
        raise Refusal(
            f"{name} has more pixels than Chalkbeam reads: export it at 300 dpi."
        ) from None
    except (NoPicture, DamagedPicture):
        raise Refusal(
            f"{name} is not a picture Chalkbeam can read: export it as PNG, SVG or PDF."
        ) from None
    remarks: tuple[Sentence, ...] = ()
    if pictures > 1:
        remarks = (Sentence(f"The file holds {pictures} pictures: the first of them is taken."),)
    return Picture(name, rgba, None, False, remarks)


def _upright(name: str, image: Image.Image) -> tuple[Pixels, int]:
    """Return a picture's pixels, RGBA and not too many, and how many pictures its file holds."""
    if image.width * image.height > MOST_PIXELS:
        raise Refusal(
            f"{name} has {image.width} x {image.height} pixels, more than Chalkbeam "
            "reads: export it at 300 dpi."
        )
    pictures = int(getattr(image, "n_frames", 1))
    factor = math.ceil(math.sqrt(image.width * image.height / WORK_PIXELS))
    ImageOps.exif_transpose(image, in_place=True)
    return to_rgba(image if factor == 1 else _reduced(image, factor)), pictures


def _reduced(image: Image.Image, factor: int) -> Image.Image:
    """Return a picture with so many times fewer pixels each way, each their mean."""
    plain = {"1": "L", "P": "RGBA", "PA": "RGBA", "I;16": "I", "I;16B": "I"}.get(image.mode)
    return (image.convert(plain) if plain else image).reduce(factor)
