"""Drawn lines: how true their width and place are, beside OpenCV's anti-aliased drawing.

``python -m benchmarks.lines [--lines 200]``

Lines of several widths are drawn at random places and angles, a third of them along the
pixel rows or columns. Their place is the centroid of the light in each twenty pixels of
length, their width the light over the length.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from overlay.contours import Contours
from overlay.draw.raster import tiles

SIZE, LENGTH, PIECE = 440, 200, 20


def area(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the exact cover of a quadrangle, as the light is drawn."""
    picture = np.zeros((SIZE, SIZE))
    for top, left, tile in tiles(Contours.of([corners]), (SIZE, SIZE), 256):
        picture[top : top + tile.shape[0], left : left + tile.shape[1]] = tile
    return picture


def filled(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    picture = np.zeros((SIZE, SIZE), dtype=np.uint8)
    fixed = np.rint(corners * 16).astype(np.int32)
    cv2.fillPoly(picture, [fixed], 255, cv2.LINE_AA, 4)
    return picture.astype(float)


def convex(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    picture = np.zeros((SIZE, SIZE), dtype=np.uint8)
    fixed = np.rint(corners * 16).astype(np.int32)
    cv2.fillConvexPoly(picture, fixed, 255, cv2.LINE_AA, 4)
    return picture.astype(float)


def measure(
    draw: Callable[[NDArray[np.float64]], NDArray[np.float64]], width: float, count: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return how far pieces of lines lie off their middle line, and the lines' widths, px."""
    chance = np.random.default_rng(3)
    rows, columns = np.mgrid[:SIZE, :SIZE]
    off, wide = [], []
    for number in range(count):
        angle = chance.uniform(0, 2 * np.pi)
        if number % 3 == 0:
            angle = np.round(angle / (np.pi / 2)) * np.pi / 2
        along = np.array([np.cos(angle), np.sin(angle)])
        across = np.array([-along[1], along[0]])
        start = SIZE / 2 + chance.uniform(0, 1, 2)
        end = start + along * LENGTH
        side = across * width / 2
        picture = draw(np.array([start + side, end + side, end - side, start - side]))
        x, y = columns - start[0], rows - start[1]
        s, t = x * along[0] + y * along[1], x * across[0] + y * across[1]
        near = np.abs(t) < width + 6
        for piece in range(PIECE, LENGTH - PIECE, PIECE):
            here = near & (s >= piece) & (s < piece + PIECE)
            off.append((picture[here] * t[here]).sum() / picture[here].sum())
        inner = near & (s >= PIECE) & (s < LENGTH - PIECE)
        wide.append(picture[inner].sum() / 255 / (LENGTH - 2 * PIECE))
    return np.array(off), np.array(wide)


def main(argv: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--lines", type=int, default=200)
    options = parser.parse_args(argv)
    print(f"{'px':>5}  {'drawn by':22}{'off: RMS':>10}{'worst':>8}{'width: mean':>14}{'worst':>8}")
    ways = (("Chalkbeam", area), ("cv2.fillPoly", filled), ("cv2.fillConvexPoly", convex))
    for width in (1.0, 2.0, 2.8, 4.0):
        for name, draw in ways:
            off, wide = measure(draw, width, options.lines)
            print(
                f"{width:5.1f}  {name:22}{np.sqrt((off**2).mean()):10.4f}{np.abs(off).max():8.4f}"
                f"{wide.mean():14.3f}{wide[np.argmax(np.abs(wide - width))]:8.3f}"
            )


if __name__ == "__main__":
    main()
