"""Small pictures drawn for the tests of artwork."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from overlay.text.typeface import BUNDLED_FONT

NAVY = (18, 52, 96, 255)
CLEAR = (0, 0, 0, 0)


def canvas(width=400, height=300, colour=CLEAR):
    image = Image.new("RGBA", (width, height), colour)
    return image, ImageDraw.Draw(image)


def block(path: Path, box=(100, 80, 300, 180), size=(400, 300)) -> Path:
    """A plain rectangle of ink; `box` in pixel edges, right and bottom exclusive."""
    image, draw = canvas(*size)
    draw.rectangle((box[0], box[1], box[2] - 1, box[3] - 1), fill=NAVY)
    image.save(path)
    return path


def lettered(path: Path, text: str, height=200, baseline=300, size=(1800, 450)) -> Path:
    """Text whose baseline is the pixel edge `baseline`."""
    image, draw = canvas(*size)
    font = ImageFont.truetype(str(BUNDLED_FONT), height)
    draw.text((60, baseline), text, font=font, fill=NAVY, anchor="ls")
    image.save(path)
    return path


def noise_blob(seed: int, size=(60, 90)) -> np.ndarray:
    """A picture of random cover around a random middle, RGBA, with clear rims."""
    rng = np.random.default_rng(seed)
    rgba = np.zeros((*size, 4), dtype=np.uint8)
    rgba[5:-5, 5:-5, 3] = rng.integers(30, 256, size=(size[0] - 10, size[1] - 10))
    top, left = rng.integers(5, size[0] // 2), rng.integers(5, size[1] // 2)
    rgba[:top, :left, 3] = 0
    return rgba
