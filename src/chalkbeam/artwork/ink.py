"""Where the ink of a picture is, how heavy it is, and what it stands on."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.refusal import Refusal, Remedy, RemedyKind

FAINTEST = 0.10
"""Cover below this is a halo or a soft shadow that no press makes visible."""
SAME_COLOUR = 12.0
"""Distance in CIE L*a*b* within which a pixel is background; JPEG wobbles by less."""
FULL_COLOUR = 40.0
"""Distance from the background at which a pixel counts as fully inked."""
EVEN_BORDER = 0.75
"""Share of the picture's rim that must have one colour for it to be background."""
SPECK = 0.004
"""Dust: isolated ink smaller than this share of the picture's long side, each way."""
LONELY = 0.02
"""Ink is isolated if nothing else lies within this share of the long side."""
STRIP = 256
"""Rows whose colours are compared at a time."""
WORK_PIXELS = 1000
"""Long side at which isolated specks are looked for."""

Cover = NDArray[np.float32]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Ink:
    """The ink of a picture.

    Attributes
    ----------
    cover : ndarray, shape (h, w), float32
        How much of each pixel is inked, 0 to 1; 0 outside `mask`.
    mask : ndarray, shape (h, w), bool
    source : str
        What told ink from paper: ``"alpha"``, ``"background"`` or ``"whole"``.
    specks : int
        Isolated specks left out.
    paper : str
        Where the rim's colour told ink from paper: that colour, in words or as #rrggbb.
    """

    cover: Cover
    mask: Mask
    source: str
    specks: int
    paper: str = ""


def find_ink(name: str, rgba: NDArray[np.uint8], whole: bool = False) -> Ink:
    """Tell ink from paper: by transparency, else by the colour of the picture's rim.

    Parameters
    ----------
    name : str
        The file's name, for the sentence of a refusal.
    rgba : ndarray, shape (h, w, 4), uint8
    whole : bool
        A picture without transparency is all ink, its background too.

    Raises
    ------
    Refusal
        If nothing in the picture is ink.
    """
    alpha, paper = rgba[..., 3], ""
    if int(alpha.min()) < 250:
        source, cover = "alpha", alpha.astype(np.float32) / np.float32(255)
    elif whole:
        source, cover = "asked", np.ones(rgba.shape[:2], dtype=np.float32)
    else:
        source, cover, paper = _against_background(rgba)
    mask = cover >= FAINTEST
    if not mask.any():
        if source == "alpha":
            raise Refusal(
                f"{name} has no ink: every pixel is transparent; export the artwork again."
            )
        raise Refusal(
            f"{name} has no ink: it is one colour from edge to edge; leave a transparent margin "
            "around the ink, or ",
            Remedy(RemedyKind.WHOLE, "count all of it as ink"),
            ".",
        )
    mask, specks = _without_specks(mask)
    return Ink(np.where(mask, cover, np.float32(0)), mask, source, specks, paper)


def _against_background(rgba: NDArray[np.uint8]) -> tuple[str, Cover, str]:
    """Return what told ink from paper, the cover, and the paper's colour."""
    edge = np.concatenate([rgba[0], rgba[-1], rgba[:, 0], rgba[:, -1]])
    rim = _lab(edge[None])[0]
    paper = np.median(rim, axis=0)
    even = np.linalg.norm(rim - paper, axis=1) < SAME_COLOUR
    if even.mean() < EVEN_BORDER:
        return "whole", np.ones(rgba.shape[:2], dtype=np.float32), ""
    cover = np.empty(rgba.shape[:2], dtype=np.float32)
    for start in range(0, len(cover), STRIP):  # a large picture's colours would fill the memory
        strip = slice(start, start + STRIP)
        distance = np.linalg.norm(_lab(rgba[strip]) - paper, axis=2)
        cover[strip] = np.where(distance < SAME_COLOUR, 0, np.clip(distance / FULL_COLOUR, 0, 1))
    return "background", cover, _colour_words(edge[even])


def _colour_words(pixels: NDArray[np.uint8]) -> str:
    """Return the middle colour of pixels, shape (N, 4), in words or as #rrggbb."""
    red, green, blue = (int(value) for value in np.median(pixels[:, :3], axis=0))
    if min(red, green, blue) >= 245:
        return "white"
    return "black" if max(red, green, blue) <= 10 else f"#{red:02x}{green:02x}{blue:02x}"


def _lab(rgba: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Return CIE L*a*b* in its true units: OpenCV gives them for float32 input from 0 to 1."""
    scaled = (rgba[..., :3] / np.float32(255)).astype(np.float32)
    return np.asarray(cv2.cvtColor(scaled, cv2.COLOR_RGB2LAB), dtype=np.float32)


def _without_specks(mask: Mask) -> tuple[Mask, int]:
    """Drop specks that are small and isolated; a halftone's dots are small but never isolated."""
    height, width = mask.shape
    long_side = max(height, width)
    reduce = max(1, -(-long_side // WORK_PIXELS))
    padded = np.pad(mask, ((0, -height % reduce), (0, -width % reduce)))
    rows, columns = padded.shape[0] // reduce, padded.shape[1] // reduce
    # One axis after the other takes half as long as both at once.
    strips = padded.reshape(rows, reduce, -1).any(axis=1)
    found = strips.reshape(rows, columns, reduce).any(axis=2)
    small: NDArray[np.uint8] = np.asarray(found, dtype=np.uint8)
    reach = max(1, round(LONELY * long_side / reduce))
    near = cv2.dilate(small, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach + 1, reach + 1)))
    count, labels = cv2.connectedComponents(near)
    limit = max(1, round(SPECK * long_side / reduce))
    keep = np.zeros(count, dtype=bool)
    for label in range(1, count):
        ys, xs = np.nonzero((labels == label) & (small > 0))
        keep[label] = max(np.ptp(ys), np.ptp(xs)) >= limit
    dropped = int((~keep[1:]).sum())
    if not dropped or not keep[1:].any():
        return mask, 0
    kept = np.repeat(np.repeat(keep[labels], reduce, axis=0), reduce, axis=1)
    return mask & kept[:height, :width], dropped


def bounds(mask: Mask) -> tuple[int, int, int, int]:
    """Return left, top, right, bottom of the ink as pixel *edges* (right and bottom exclusive)."""
    columns, rows = np.nonzero(mask.any(axis=0))[0], np.nonzero(mask.any(axis=1))[0]
    return int(columns[0]), int(rows[0]), int(columns[-1]) + 1, int(rows[-1]) + 1


def edges(cover: Cover, box: tuple[int, int, int, int]) -> tuple[float, float, float, float]:
    """Return left, top, right, bottom of the ink within the pixels that are its `bounds`.

    A drawing's outermost pixels are inked in part: as much of their width as their cover is of the
    next ones'.
    """
    left, top, right, bottom = box
    columns = cover[top:bottom, left:right].max(axis=0)
    rows = cover[top:bottom, left:right].max(axis=1)

    def bare(outermost: NDArray[np.float32]) -> float:
        """Return the bare share of the first of two pixels from the rim."""
        return 1.0 - min(1.0, float(outermost[0] / outermost[-1])) if outermost[-1] > 0 else 0.0

    return (
        left + bare(columns[:2]), top + bare(rows[:2]),
        right - bare(columns[:-3:-1]), bottom - bare(rows[:-3:-1]),
    )  # fmt: skip


def centroid(cover: Cover) -> tuple[float, float]:
    """Return the weighted centroid (x, y) in pixel edges: a pixel's middle is at +0.5."""
    columns, rows = cover.sum(axis=0, dtype=np.float64), cover.sum(axis=1, dtype=np.float64)
    total = columns.sum()
    x = float(columns @ (np.arange(columns.size) + 0.5) / total)
    y = float(rows @ (np.arange(rows.size) + 0.5) / total)
    return x, y


def find_baseline(mask: Mask) -> float | None:
    """Return the line a single line of lettering stands on, as a pixel edge; None for other art.

    Letters stand side by side on one line: as the rows go down, the ink's share
    of the width falls nowhere as sharply as at the foot of the letters, with
    only descenders below. Art that is not much wider than high, or whose ink
    falls off slowly, has no such line.
    """
    left, top, right, bottom = bounds(mask)
    if right - left < 1.5 * (bottom - top) or bottom - top < 8:
        return None
    rows = mask[top:bottom, left:right].sum(axis=1, dtype=np.float64)
    # Round letters overshoot the line by about 2 % of their height: look over that reach.
    reach = max(1, round(0.04 * rows.size))
    padded = np.concatenate([rows, np.zeros(reach)])
    fall = padded[:-reach] - padded[reach:]
    first = rows.size // 3  # the feet stand in the lower part, however long the descenders
    steepest = first + int(np.argmax(fall[first:]))
    typical = np.median(rows[rows > 0])
    if fall[steepest] < 0.35 * typical:
        return None
    # Within the reach, the line is where half of the fall has happened.
    half = padded[steepest] - fall[steepest] / 2
    window = padded[steepest : steepest + reach + 1]
    return float(top + steepest + int(np.argmax(window < half)))
