"""An artwork as pixels, and what reading any kind of drawing has in common."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from calibration.refusal import Refusal
from calibration.worker import Lost, apart
from chalkbeam.basics.sentences import Sentence
from chalkbeam.basics.units import MM_PER_INCH

MM_PER_POINT = MM_PER_INCH / 72
"""PDF user space: 72 points to the inch (ISO 32000-1, 8.3.2.3)."""
DRAWN_PIXEL = 0.2
"""Of drawings, mm: half a projector's pixel on a platen. Where ink ends within a pixel is measured,
and the time that drawing takes grows with the pixels."""
FEWEST_DRAWN, MOST_DRAWN = 1800, 3000
"""Pixels of a drawing's long side: as for 14 in, the widest usual print, where the file says
nothing or less; and what a small computer's memory holds."""

Pixels = NDArray[np.uint8]
Result = TypeVar("Result")


@dataclass(frozen=True, eq=False)
class Picture:
    """An artwork file as pixels.

    Attributes
    ----------
    name : str
        The file's name.
    rgba : ndarray, shape (h, w, 4), uint8
        Straight alpha.
    pixels_per_mm : float or None
        Scale at the file's true size; None where the file does not say.
    drawn : bool
        Whether the file is a drawing (SVG, PDF), sharp at any size.
    remarks : tuple of Sentence
        What was taken for granted while reading it.
    """

    name: str
    rgba: Pixels
    pixels_per_mm: float | None
    drawn: bool
    remarks: tuple[Sentence, ...] = ()


def drawn_pixels(longest: float | None) -> int:
    """Return how many pixels long a drawing is rendered whose long side the file says, mm, or not.

    A small one may be asked for larger than it says.
    """
    return min(max(round((longest or 0.0) / DRAWN_PIXEL), FEWEST_DRAWN), MOST_DRAWN)


def to_rgba(image: Image.Image) -> Pixels:
    """Return a picture of any mode as RGBA, 8 bits a channel."""
    if image.mode == "LAB":
        lab, srgb = ImageCms.createProfile("LAB"), ImageCms.createProfile("sRGB")
        image = ImageCms.profileToProfile(image, lab, srgb, outputMode="RGB") or image
    if image.mode.startswith("I;16") or image.mode in {"I", "F"}:  # more than 8 bits a channel
        grey = np.asarray(image, dtype=np.float64)
        peak = 65535.0 if grey.max() > 255 else 255.0
        eight = np.clip(grey / peak * 255, 0, 255).astype(np.uint8)
        image = Image.fromarray(eight)
    return np.array(image.convert("RGBA"))


def drawn_apart(name: str, draw: Callable[[], Result]) -> Result:
    """Return what is drawn in the process apart.

    Raises
    ------
    Refusal
        As `draw`, or where drawing it crashed, took too long or too much memory.
    """
    try:
        return apart(draw)
    except Refusal:
        raise
    except Lost as lost:
        raise Refusal(
            f"{name} cannot be drawn, it {lost}: simplify the drawing, or export it as PNG."
        ) from None
    except Exception as error:  # a damaged drawing raises whatever its reader runs into
        raise Refusal(
            f"{name} is not a drawing Chalkbeam can read: export it as plain SVG or PDF."
        ) from error
