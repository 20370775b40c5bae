"""The pictures of light that a burst shows: flashes, lines with the code that counts them, dots.

Lines are thin and one pitch apart; Gray code (Gray 1953, US patent 2632058) says which line is
which: stripe edges of the code lie midway between lines, so that a line is never at an edge.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.files import write_whole
from calibration.geometry import Points
from calibration.model.pinhole import Array
from calibration.model.projector import ProjectorMap
from calibration.rig.eye import axis_of_lines
from calibration.rig.file import Rig
from calibration.targets.pattern import Pattern, wants_fine

U8 = NDArray[np.uint8]
Family = Literal["across", "down"]
"""Lines of constant projector x, counted across the picture, or of constant y, counted down."""
FAMILIES: tuple[Family, Family] = ("across", "down")

KIND = "chalkbeam burst"
VERSION = 1
PLAIN = ("dark", "white", "dim", "red", "green", "blue", "pattern", "dots")

COLOURS = "red", "green", "blue"
"""Flashes that tell of colour and of nothing else."""

LINE_PITCH = 8.0
"""From line to line on the bare platen, about, mm."""

DOT_PITCH = 45.0
"""From dot to dot on the bare platen, about, mm."""

DIM = 0.5
"""Level of the second exposure, of 1: with the usual tone curve a fifth of the light."""

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
    """Return the pictures of one burst in order; with an eye in the rig only the best lines.

    What tells where things lie comes before what tells their colour: a burst is read as it comes.
    """
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
    plain = {
        name: BurstFrame(name, np.full((height, width, 3), colour, np.uint8))
        for name, colour in flashes.items()
    }
    frames = [frame for name, frame in plain.items() if name not in COLOURS]
    best = best_family(rig)
    for family in FAMILIES if best is None else (best,):
        lines = lines_of(rig.projector, family)
        frames += [
            BurstFrame(name, _coloured(image))
            for name, image in zip(lines.names, lines.pictures(size), strict=True)
        ]
    frames += [plain[name] for name in COLOURS]
    frames.append(BurstFrame("pattern", Pattern(size).draw(wants_fine(rig.face))))
    frames.append(BurstFrame("dots", _coloured(_dots(rig.projector))))
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
