"""A burst: the pictures of light that the projector shows one after the other, and their photos.

Lines are thin and one pitch apart; Gray code (Gray 1953, US patent 2632058) says which line is
which: stripe edges of the code lie midway between lines, so that a line is never at an edge.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.files import read_whole, write_whole
from calibration.geometry import Points
from calibration.model.pinhole import Array
from calibration.model.projector import ProjectorMap
from calibration.picture_files import LARGEST_FILE
from calibration.refusal import Refusal
from calibration.rig.eye import axis_of_lines, check_light
from calibration.rig.file import Rig
from calibration.targets.pattern import Pattern, wants_fine

U8 = NDArray[np.uint8]
F32 = NDArray[np.float32]
Family = Literal["across", "down"]
"""Lines of constant projector x, counted across the picture, or of constant y, counted down."""
Part = tuple[slice, slice]
WHOLE: Part = (slice(None), slice(None))
FAMILIES: tuple[Family, Family] = ("across", "down")

KIND = "chalkbeam burst"
VERSION = 1
PLAIN = ("dark", "white", "dim", "red", "green", "blue", "pattern", "dots")

LINE_PITCH = 8.0
"""From line to line on the bare platen, about, mm."""

DOT_PITCH = 45.0
"""From dot to dot on the bare platen, about, mm."""

DIM = 0.5
"""Level of the second exposure, of 1: with the usual tone curve a fifth of the light."""

ROOM_CHANGE = 0.12
"""Surroundings that change by more than this share did so by the camera's exposure: a room's
light seldom does within a second. Common practice, no source."""

_ENOUGH_UNLIT = 0.02  # of the picture
_MOST_UNLIT = 1.6  # how much brighter under white a spot may be that its light does not reach
_LINE_SHARE = 0.22  # of the pitch that is lit
_DOT_RADIUS = 0.06  # of the dots' pitch


@dataclass(frozen=True)
class Lines:
    """One family of lines and the code that counts them.

    Attributes
    ----------
    family : "across" or "down"
    pitch : int
        From line to line, px of the projector.
    length : int
        Of the projector's picture, along the count, px.
    """

    family: Family
    pitch: int
    length: int

    @property
    def count(self) -> int:
        """Number of lines, the last perhaps outside the picture."""
        return math.ceil(self.length / self.pitch)

    @property
    def bits(self) -> int:
        """Number of code pictures."""
        return max(1, (self.count - 1).bit_length())

    def centre(self, number: NDArray[np.integer[Any]]) -> Array:
        """Return the middle of lines by number, px of the projector."""
        return np.asarray(number, np.float64) * self.pitch + (self.pitch - 1) / 2

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the lines' picture and of the code's, coarsest first."""
        coded = (f"{self.family}-{bit}" for bit in range(1, self.bits + 1))
        return f"{self.family}-lines", *coded

    def pictures(self, size: tuple[int, int]) -> tuple[U8, ...]:
        """Return what is shown under `names`, each of shape (height, width)."""
        at = np.arange(self.length)
        lit = max(2, round(_LINE_SHARE * self.pitch))
        lit += (self.pitch - lit) % 2  # as odd as the pitch, so that a line is in its middle
        inside = np.abs(at % self.pitch - (self.pitch - 1) / 2) < lit / 2
        gray = (at // self.pitch) ^ (at // self.pitch >> 1)
        rows = [inside] + [(gray >> bit) & 1 == 1 for bit in reversed(range(self.bits))]
        width, height = size
        shape = (height, width)
        turned = (row if self.family == "across" else row[:, None] for row in rows)
        return tuple(
            np.ascontiguousarray(np.broadcast_to(np.where(row, 255, 0).astype(np.uint8), shape))
            for row in turned
        )


def lines_of(projector: ProjectorMap, family: Family) -> Lines:
    """Return a family of lines for a projector: the same for the same map, always."""
    pitch = max(8, round(LINE_PITCH / mm_per_pixel(projector)))
    return Lines(family, pitch, projector.size[0 if family == "across" else 1])


def mm_per_pixel(projector: ProjectorMap) -> float:
    """Return how large a projector pixel is on the bare platen, about its middle, mm."""
    at = projector.projector_from_platen([(0.0, 0.0)])[0]
    ring = projector.platen_from_projector(at + np.array([(0, 0), (1, 0), (0, 1)]))
    return float(math.sqrt(abs(np.linalg.det(ring[1:] - ring[0]))))


def best_family(rig: Rig) -> Family | None:
    """Return which family of lines tells most of height to the rig's eye; None without an eye."""
    axis = axis_of_lines(rig)
    return None if axis is None else FAMILIES[axis]


def dots_of(projector: ProjectorMap) -> Points:
    """Return the middles of the dots, px of the projector, shape (N, 2)."""
    pitch = max(24, round(DOT_PITCH / mm_per_pixel(projector)))
    width, height = projector.size
    x, y = (np.arange(pitch // 2, side - pitch // 2 + 1, pitch) for side in (width, height))
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2).astype(np.float64)


@dataclass(frozen=True, eq=False)
class BurstFrame:
    """One picture that the projector shows.

    Attributes
    ----------
    name : str
    image : ndarray, shape (height, width, 3), uint8, BGR
    """

    name: str
    image: U8


def burst_frames(rig: Rig) -> tuple[BurstFrame, ...]:
    """Return the pictures of one burst in order; with an eye in the rig only the best lines."""
    width, height = size = rig.projector.size
    dim = round(255 * DIM)
    flashes = {
        "dark": (0, 0, 0),
        "white": (255, 255, 255),
        "dim": (dim, dim, dim),
        "red": (0, 0, 255),
        "green": (0, 255, 0),
        "blue": (255, 0, 0),
    }
    frames = [
        BurstFrame(name, np.full((height, width, 3), colour, np.uint8))
        for name, colour in flashes.items()
    ]
    frames.append(BurstFrame("pattern", Pattern(size).draw(wants_fine(rig.face))))
    frames.append(BurstFrame("dots", _coloured(_dots(rig.projector))))
    best = best_family(rig)
    for family in FAMILIES if best is None else (best,):
        lines = lines_of(rig.projector, family)
        frames += [
            BurstFrame(name, _coloured(image))
            for name, image in zip(lines.names, lines.pictures(size), strict=True)
        ]
    return tuple(frames)


def _coloured(image: U8) -> U8:
    return np.repeat(image[:, :, None], 3, axis=2)


def _dots(projector: ProjectorMap) -> U8:
    width, height = projector.size
    picture = np.zeros((height, width), np.uint8)
    radius = max(3.0, _DOT_RADIUS * DOT_PITCH / mm_per_pixel(projector))
    reach = math.ceil(radius) + 1
    side = np.arange(-reach, reach + 1)
    # Coverage by distance: OpenCV's own circles stand a tenth of a pixel beside their middle.
    cover = np.clip(radius + 0.5 - np.hypot(side, side[:, None]), 0, 1)
    stamp = np.rint(255 * cover).astype(np.uint8)
    for x, y in dots_of(projector).astype(int):
        picture[y - reach : y + reach + 1, x - reach : x + reach + 1] = stamp
    return picture


def write_burst(rig: Rig, folder: Path) -> tuple[str, ...]:
    """Write the pictures of one burst as PNG, and burst.json naming them in order.

    Parameters
    ----------
    rig : Rig
    folder : Path
        Made if it is not there.

    Returns
    -------
    tuple of str
        Names of the pictures, in order.

    Raises
    ------
    Refusal
        If the folder cannot be written to.
    """
    frames = burst_frames(rig)
    for frame in frames:
        done, data = cv2.imencode(".png", frame.image)
        if not done:
            raise RuntimeError("a picture could not be made a PNG")
        write_whole(folder / f"{frame.name}.png", data.tobytes())
    content = {
        "kind": KIND,
        "version": VERSION,
        "size": list(rig.projector.size),
        "pictures": [{"name": frame.name, "file": f"{frame.name}.png"} for frame in frames],
    }
    write_whole(folder / "burst.json", json.dumps(content, indent=1) + "\n")
    return tuple(frame.name for frame in frames)


@dataclass(frozen=True, eq=False)
class Burst:
    """Photos of one burst, all from one camera standing still.

    Attributes
    ----------
    where : str
        The folder, for messages.
    pictures : mapping of str to ndarray, shape (height, width, 3), uint8, BGR
    """

    where: str
    pictures: Mapping[str, U8]

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the camera's picture, px."""
        first = next(iter(self.pictures.values()))
        return int(first.shape[1]), int(first.shape[0])

    def has(self, *names: str) -> bool:
        """Tell whether pictures are there."""
        return all(name in self.pictures for name in names)

    def picture(self, name: str) -> U8:
        """Return one photo, BGR.

        Raises
        ------
        Refusal
            If it is missing.
        """
        if name not in self.pictures:
            raise Refusal(f"{self.where} holds no picture “{name}”: take the whole burst again.")
        return self.pictures[name]

    def linear(self, name: str) -> F32:
        """Return one photo with the tone curve of sRGB undone, BGR, 0 to 1, float32.

        IEC 61966-2-1, 5.2: the curve that cameras write by default, more or less.
        """
        return _UNDONE[self.picture(name)]

    def light(self, name: str, part: Part = WHOLE) -> F32:
        """Return what the projector's light adds to the dark picture, linear, BGR, float32.

        Where the picture shows surroundings out of the beam, they tell what changed since the
        dark picture: a little is the room's light, much is the camera's own exposure.
        """
        gain, shown = np.float32(self._gain(name)), _UNDONE[self.picture(name)[part]]
        if abs(gain - 1) <= ROOM_CHANGE:
            return shown - gain * self._dark[part]
        return shown / gain - self._dark[part]

    def _gain(self, name: str) -> float:
        unlit = self._unlit
        if unlit.sum() < _ENOUGH_UNLIT * unlit.size:
            return 1.0
        now = _UNDONE[self.picture(name)[..., 1][unlit]]
        return float(now.mean() / self._dark[..., 1][unlit].mean())

    def dark_over(self, other: Burst) -> float:
        """Return how much brighter this burst's surroundings are than another's, without light."""
        unlit = self._unlit & other._unlit
        if unlit.sum() < _ENOUGH_UNLIT * unlit.size:
            return 1.0
        return float(self._dark[..., 1][unlit].mean() / other._dark[..., 1][unlit].mean())

    @cached_property
    def _unlit(self) -> NDArray[np.bool_]:
        """Where the room is seen and neither projector nor saturation: (height, width)."""
        # Smoothed: picked by what noise makes of single pixels, they would look too dark.
        dark, white = (
            np.asarray(cv2.GaussianBlur(each[..., 1], (0, 0), 5.0), np.float32)
            for each in (self._dark, self.linear("white"))
        )
        usable = (dark > 0.01) & (dark < 0.7) & (white < 0.9)
        if not usable.any():
            return np.asarray(usable)
        ratio = white / np.maximum(dark, 1e-4)
        least = float(np.percentile(ratio[usable], 2))
        # An exposure of its own shortens under white: what gains much is lit, all of it here.
        return np.asarray(usable & (ratio < 1.08 * least) & (least < _MOST_UNLIT))

    @cached_property
    def _dark(self) -> F32:
        return self.linear("dark")

    def lines(self, projector: ProjectorMap, family: Family) -> Lines | None:
        """Return the family of lines if all its pictures are there."""
        lines = lines_of(projector, family)
        return lines if self.has(*lines.names) else None


def _undone() -> F32:
    value = np.arange(256) / 255
    low, high = value / 12.92, ((value + 0.055) / 1.055) ** 2.4
    return np.where(value <= 0.04045, low, high).astype(np.float32)


_UNDONE = _undone()

_PICTURE = re.compile(r"(?i)\.(png|jpe?g)$")
_NAME = re.compile(rf"{'|'.join(PLAIN)}|(across|down)-(lines|\d+)")
_SIGNATURES = (b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff")  # PNG 3rd ed. 5.2; ITU-T T.81 B.1.1.3
_WASHED = 0.5  # of a picture


def read_burst(folder: Path | str) -> Burst:
    """Read the camera's photos of a burst from a folder.

    They are looked for under the names of burst.json if it lies beside them, as PNG or JPEG
    whatever ending is named there; without it every photo with a burst's name counts.

    Raises
    ------
    Refusal
        If the folder or a picture is missing or cannot be read, or sizes differ.
    """
    place = Path(folder)
    if not place.is_dir():
        raise Refusal(f"There is no folder {place}: name the one with the camera's pictures.")
    files = {path.stem.lower(): path for path in sorted(place.iterdir()) if _is_picture(path)}
    named = _named(place / "burst.json") or {stem: stem for stem in files if _NAME.fullmatch(stem)}
    if not files or not named:
        raise Refusal(f"{place} holds no pictures: name the folder with the camera's pictures.")
    found = {}
    for name, stem in named.items():
        if stem not in files:
            raise Refusal(
                f"{place} lacks the picture “{name}” that its burst.json names: take the whole "
                "burst again."
            )
        found[name] = _read(files[stem])
    sizes = {name: (image.shape[1], image.shape[0]) for name, image in found.items()}
    first = next(iter(sizes))
    for name, size in sizes.items():
        if size != sizes[first]:
            raise Refusal(
                f"In {place} “{name}” has {size[0]} x {size[1]} pixels and “{first}” has "
                f"{sizes[first][0]} x {sizes[first][1]}: take the whole burst again, one camera."
            )
    burst = Burst(str(place), found)
    burst.picture("dark"), burst.picture("white")
    return burst


def _is_picture(path: Path) -> bool:
    return path.is_file() and bool(_PICTURE.search(path.name))


def _named(path: Path) -> dict[str, str]:
    """Return the stem of each picture's file by its name, as burst.json says; nothing without."""
    if not path.is_file():
        return {}
    try:
        content = json.loads(read_whole(path))
        if content["kind"] != KIND:
            raise ValueError(content["kind"])
        newer = content["version"] > VERSION
        named = {str(each["name"]): Path(each["file"]).stem.lower() for each in content["pictures"]}
    except (OSError, ValueError, LookupError, TypeError, RecursionError):
        raise Refusal(
            f"{path} does not name the pictures of a burst: make it again beside the patterns."
        ) from None
    if newer:
        raise Refusal(f"{path} was made by a newer Chalkbeam: update Chalkbeam.")
    return named


def _read(path: Path) -> U8:
    image = None
    content = read_whole(path, LARGEST_FILE)
    if content.startswith(_SIGNATURES):
        image = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_COLOR)
    if image is None:
        raise Refusal(
            f"{path} is damaged or no picture of PNG or JPEG: take the whole burst again."
        )
    return np.asarray(image, np.uint8)


def check_exposure(burst: Burst) -> None:
    """Refuse a burst in which the projector's light cannot be told from none, or is all bleached.

    Raises
    ------
    Refusal
    """
    white = burst.picture("white")
    check_light(burst.where, burst.picture("dark"), white)
    dimmest = burst.picture("dim") if burst.has("dim") else white
    if np.mean(dimmest.min(axis=2) >= 250) > _WASHED:
        raise Refusal(f"{burst.where} is washed out under white light: expose for less time.")
