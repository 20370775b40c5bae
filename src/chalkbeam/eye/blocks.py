"""Pictures by blocks: a mean colour and a scatter each, compared with the picture's gain taken out.

Room light and automatic exposure change all blocks alike; whatever else differs is a thing.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from chalkbeam.eye.burst import Burst, brightest

U8 = NDArray[np.uint8]
F32 = NDArray[np.float32]
Mask = NDArray[np.bool_]

COLUMNS = 96
"""Blocks across the picture: about 12 mm each where the camera sees the platen well."""

STIRS = 3.5
"""Codes by which blocks differ from moment to moment when something moves."""

DIFFERS = 5.0
"""Codes of 255, gain taken out, by which a block differs."""

_WIDTH = 480  # px of the picture that blocks are taken from
_BINS, _FARTHEST_GAIN = 121, 1.2  # of the gain's logarithm
_SCATTER = 4.0  # codes by which its scatter differs
_CLIPPED, _FEW = 245, 0.002  # codes, and the share of a picture that may be brighter


@dataclass(frozen=True, eq=False)
class Blocks:
    """A picture by blocks.

    Attributes
    ----------
    colour : ndarray, shape (rows, columns, 3), float32
        Mean codes, BGR.
    scatter : ndarray, shape (rows, columns), float32
        Standard deviation of grey within a block, codes.
    grey : ndarray, shape (h, w), float32
        The picture itself, small.
    light : int
        Which picture of light it was taken under.
    at : float
        When, s.
    """

    colour: F32
    scatter: F32
    grey: F32
    light: int
    at: float


def blocks_of(picture: U8, light: int = 0, at: float = 0.0) -> Blocks:
    """Return a picture by blocks."""
    rows = block_rows(picture.shape[1], picture.shape[0])
    height = round(_WIDTH * picture.shape[0] / picture.shape[1])
    if picture.shape[1] > _WIDTH:
        # Every other pixel first: a full mean of a large picture takes longer than it helps.
        step = max(1, picture.shape[1] // (2 * _WIDTH))
        picture = np.asarray(
            cv2.resize(picture[::step, ::step], (_WIDTH, height), interpolation=cv2.INTER_AREA),
            np.uint8,
        )
    size = COLUMNS, rows
    grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY).astype(np.float32)
    colour = cv2.resize(picture, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    mean = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
    square = cv2.resize(grey * grey, size, interpolation=cv2.INTER_AREA)
    scatter = np.sqrt(np.maximum(square - mean * mean, 0.0))
    small = cv2.resize(grey, (_WIDTH // 2, height // 2), interpolation=cv2.INTER_AREA)
    return Blocks(np.asarray(colour, np.float32), scatter, np.asarray(small, np.float32), light, at)


def block_rows(width: int, height: int) -> int:
    """Return how many rows of blocks a picture of some size has."""
    return max(2, round(COLUMNS * height / width))


def gain_between(one: Blocks, other: Blocks, where: Mask) -> float:
    """Return by how much the other picture is brighter: what most blocks agree on."""
    a, b = (_sum(each.colour)[where] for each in (one, other))
    usable = (a > 24) & (b > 24) & (a < 735) & (b < 735)
    if usable.sum() < 10:
        return 1.0
    ratio = np.log(b[usable] / a[usable])
    inside = ratio[np.abs(ratio) < _FARTHEST_GAIN]
    places = ((inside + _FARTHEST_GAIN) * (_BINS / (2 * _FARTHEST_GAIN))).astype(np.int64)
    counts = np.bincount(places, minlength=_BINS)
    edges = np.linspace(-_FARTHEST_GAIN, _FARTHEST_GAIN, _BINS + 1)
    smooth = np.convolve(counts, np.ones(3), "same")
    # Of equals the one nearest to no change at all.
    middle = (edges[:-1] + edges[1:]) / 2
    best = middle[int(np.argmax(smooth * np.exp(-(middle**2) / 0.5)))]
    near = np.abs(ratio - best) < 0.03
    return float(np.exp(np.median(ratio[near]))) if near.any() else 1.0


def differing(one: Blocks, other: Blocks, gain: float, least: float = DIFFERS) -> Mask:
    """Return which blocks differ between two pictures, gain taken out."""
    scale = np.float32(gain)
    expected = np.minimum(one.colour * scale, 255)
    brightest = _most(expected)
    clipped = (brightest > 240) & (_most(other.colour) > 235)
    by = _most(np.abs(other.colour - expected))
    # A bright block's code follows the gain less exactly: tone curves bend.
    limit = least + 0.35 * abs(gain - 1.0) * brightest
    rough = np.abs(other.scatter - one.scatter * scale) > _SCATTER + 0.25 * one.scatter
    return np.asarray(((by > limit) | rough) & ~clipped)


def share_of(differs: Mask, where: Mask) -> float:
    """Return which share differs of some blocks; 0 of none."""
    return float(differs[where].mean()) if where.any() else 0.0


def count_of(differs: Mask) -> int:
    """Return how many differing blocks have another beside them: noise stands alone."""
    beside = cv2.filter2D(differs.astype(np.float32), -1, np.ones((3, 3), np.float32))
    return int((differs & (beside >= 1.5)).sum())


def _most(colour: F32) -> F32:
    """Return the largest of three channels: quicker than a reduction over so few."""
    return np.asarray(
        np.maximum(np.maximum(colour[..., 0], colour[..., 1]), colour[..., 2]), np.float32
    )


def _sum(colour: F32) -> F32:
    return np.asarray(colour[..., 0] + colour[..., 1] + colour[..., 2], np.float32)


def by_light_alone(before: Burst, now: Burst) -> tuple[Blocks, Blocks]:
    """Return what the projector's light alone gives back in two bursts."""
    # Where white cloth saturates the dim pictures tell.
    dim = all(each.has("dim") for each in (before, now)) and any(map(_is_clipped, (before, now)))
    name = "dim" if dim else "white"
    return _lit_blocks(before, name), _lit_blocks(now, name)


@lru_cache(maxsize=2)
def _lit_blocks(burst: Burst, name: str) -> Blocks:
    """Return a burst's own: a garment's is asked for with each transfer that is laid on it."""
    light = np.clip(burst.light(name), 0.0, 1.0)
    return blocks_of(_CODES[np.rint(_FINE * light).astype(np.uint16)])


@lru_cache(maxsize=2)
def _is_clipped(burst: Burst) -> bool:
    return float((brightest(burst.picture("white")) > _CLIPPED).mean()) > _FEW


_FINE = 16383
_CODES = np.rint(255 * np.linspace(0, 1, _FINE + 1) ** (1 / 2.2)).astype(np.uint8)
