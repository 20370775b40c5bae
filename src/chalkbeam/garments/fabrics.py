"""Fabric colours: by name, by hex code, or measured from a photo."""

from __future__ import annotations

import difflib
import functools
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import platformdirs
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field

from calibration.files import write_whole
from calibration.photo.read import Photo
from calibration.refusal import Refusal, Remedy, RemedyKind
from chalkbeam.basics.toml_files import read_data
from overlay.colour.colorimetry import linear_from_srgb, srgb_from_linear
from overlay.palette import RGB

DATA = Path(__file__).parent / "fabrics.toml"

WHITE_PAPER = 0.9
"""Share of light that plain white paper sends back; from memory."""


@dataclass(frozen=True)
class Fabric:
    """A cloth's colour.

    Attributes
    ----------
    name : str
    colour : (red, green, blue)
        sRGB codes 0 … 255 of the cloth in white light, where 255 is a perfect white.
    """

    name: str
    colour: RGB

    @property
    def hex(self) -> str:
        """The colour as ``#rrggbb``."""
        return "#{:02x}{:02x}{:02x}".format(*self.colour)


class _Entry(BaseModel):
    model_config = ConfigDict(extra="forbid")
    name: str = Field(min_length=1)
    colour: str = Field(pattern=r"^#[0-9a-fA-F]{6}$")
    also: list[str] = []


class _Book(BaseModel):
    model_config = ConfigDict(extra="forbid")
    fabric: list[_Entry] = []


def shop_fabrics_file() -> Path:
    """Return the file of the shop's fabrics (it need not exist yet)."""
    return platformdirs.user_data_path("chalkbeam", appauthor=False) / "fabrics.toml"


def _fold(text: str) -> str:
    return re.sub(r"[\W_]+", "", text.lower())


def _parse_hex(text: str) -> RGB | None:
    match = re.fullmatch(r"#?([0-9a-f]{6})|#([0-9a-f]{3})", text.strip().lower())
    if match is None:
        return None
    digits = match[1] or "".join(digit * 2 for digit in match[2])
    return int(digits[:2], 16), int(digits[2:4], 16), int(digits[4:], 16)


@functools.lru_cache(maxsize=8)
def _read(path: Path, changed: int) -> tuple[dict[str, Fabric], dict[str, Fabric]]:
    """Return a file's fabrics by name, and by every folded spelling."""
    book = read_data(path, _Book)
    by_name: dict[str, Fabric] = {}
    by_spelling: dict[str, Fabric] = {}
    for entry in book.fabric:
        colour = _parse_hex(entry.colour)
        assert colour is not None  # the pattern has made sure
        by_name[entry.name] = Fabric(entry.name, colour)
        for spelling in (entry.name, *entry.also):
            by_spelling[_fold(spelling)] = by_name[entry.name]
    return by_name, by_spelling


def _books() -> list[tuple[dict[str, Fabric], dict[str, Fabric]]]:
    """Return the shop's fabrics first, then the built-in ones."""
    files = [path for path in (shop_fabrics_file(), DATA) if path.is_file()]
    return [_read(path, path.stat().st_mtime_ns) for path in files]


def fabrics() -> Mapping[str, Fabric]:
    """Return every fabric by name; the shop's go before built-in ones of that name."""
    found: dict[str, Fabric] = {}
    for by_name, _ in reversed(_books()):
        found.update(by_name)
    return found


def find_fabric(text: str) -> Fabric:
    """Return a fabric by name (``navy``, ``Grey marl``) or hex code (``#1d2542``).

    Raises
    ------
    Refusal
        If no fabric goes by that name; names the nearest.
    """
    colour = _parse_hex(text)
    if colour is not None:
        return Fabric(text.strip(), colour)
    books = _books()
    for _, by_spelling in books:
        if (found := by_spelling.get(_fold(text))) is not None:
            return found
    known = {spelling: each.name for _, by in reversed(books) for spelling, each in by.items()}
    close = difflib.get_close_matches(_fold(text), known, n=3, cutoff=0.5)
    near = ", ".join(dict.fromkeys(known[spelling] for spelling in close))
    raise Refusal(
        f"There is no fabric colour “{text}”: "
        + (f"is it {near}? If not, " if near else "")
        + "give a hex code such as #1d2542, or measure the cloth from a photo."
    )


def save_fabric(fabric: Fabric, path: Path | None = None) -> Path:
    """Add a fabric to the shop's, in place of one of that name; return the file.

    Raises
    ------
    Refusal
        If the file there is faulty or cannot be written.
    """
    path = path or shop_fabrics_file()
    entries = read_data(path, _Book).fabric if path.is_file() else []
    kept = [entry for entry in entries if _fold(entry.name) != _fold(fabric.name)]
    blocks = ["# The shop's own fabric colours, sRGB in white light."]
    for entry in [*kept, _Entry(name=fabric.name, colour=fabric.hex)]:
        lines = [
            f"name = {json.dumps(entry.name, ensure_ascii=False)}",
            f'colour = "{entry.colour}"',
        ]
        if entry.also:
            lines.append(f"also = {json.dumps(entry.also, ensure_ascii=False)}")
        blocks.append("\n".join(["[[fabric]]", *lines]))
    write_whole(path, ("\n\n".join(blocks) + "\n").encode())
    return path


Box = tuple[int, int, int, int]
"""Left, top, width and height, px."""


def measure_fabric(photo: Photo, patch: Box, white: Box | None, name: str) -> Fabric:
    """Return a cloth's colour from a photo taken in white light.

    Parameters
    ----------
    photo : Photo
    patch : Box
        A part of the photo that shows nothing but the cloth.
    white : Box or None
        A part that shows plain white paper beside the cloth, by which the light's colour and
        strength are divided out. Without it the photo's colours are taken as they are.
    name : str

    Notes
    -----
    Phones change brightness to make pictures pleasant; with the paper in the picture expect the
    colour to be right to some ΔE, which is enough to choose lines by.

    Raises
    ------
    Refusal
        If a part lies outside the photo, is burnt out, uneven, or the paper is darker.
    """
    cloth = _mean_light(photo, patch, "cloth")
    if white is not None:
        paper = _mean_light(photo, white, "white paper")
        if np.all(paper <= cloth):
            raise Refusal(
                f"In {photo.name} the white paper is darker than the cloth: ",
                Remedy(RemedyKind.CLOTH_PARTS, "say which part shows paper and which cloth"),
                ".",
            )
        cloth = WHITE_PAPER * cloth / paper
    red, green, blue = (int(code) for code in srgb_from_linear(cloth))
    return Fabric(name, (red, green, blue))


def _mean_light(photo: Photo, box: Box, what: str) -> NDArray[np.float64]:
    left, top, width, height = box
    across, down = photo.size
    if (
        width < 8
        or height < 8
        or left < 0
        or top < 0
        or left + width > across
        or (top + height > down)
    ):
        raise Refusal(
            f"The part of {photo.name} for the {what} must be 8 px or more each way and lie within "
            f"{across} × {down} px: give left, top, width, height."
        )
    codes = photo.image[top : top + height, left : left + width, ::-1].reshape(-1, 3)
    if np.mean(np.any(codes >= 254, axis=1)) > 0.05:
        raise Refusal(
            f"In {photo.name} the {what} is burnt out: take the photo with less light or exposure."
        )
    light = linear_from_srgb(codes)
    brightness = light.mean(axis=1)
    if brightness.std() > 0.5 * brightness.mean() + 0.01:
        raise Refusal(
            f"In {photo.name} the part for the {what} is uneven: choose a part that shows nothing "
            "else, without folds or shadow."
        )
    return np.asarray(light.mean(axis=0))
