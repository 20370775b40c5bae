"""Whether what a rig file says can be of a press and a projector at all.

The numbers of a file can be well formed and still place light nowhere: damaged ones are
refused as they are read, not met as nonsense at the press.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from calibration.geometry import PlatenFace
from calibration.model.pinhole import PARAMETERS
from calibration.model.projector import ProjectorMap
from calibration.model.uncertainty import bound, landing_covariance

OF_MAP = len(PARAMETERS) + 5
"""How many parameters a map has: its pinhole's, its bow's 3 and its bend's 2."""
LARGEST_NUMBER = 1e15
"""No length in mm, no pixel and no variance of a rig comes near it."""
PLATENS = (50.0, 1500.0)
"""Sides of platens, mm; common practice, no source."""
PICTURES = (16, 32768)
"""Sides of pictures, px."""
FARTHEST_PIXEL = 1e6
"""px from the picture to which no point of a platen is mapped."""
ROUNDING = 1e-6
"""Of correlations, which are 1 at most."""
WIDEST_BOUND = 1000.0
"""mm; light that may be a metre off is no calibration."""


def check_numbers(content: object) -> None:
    """Raise a ValueError if something in a file's content is no number that a rig has."""
    for number in _numbers(content):
        if not abs(number) <= LARGEST_NUMBER:
            raise ValueError("a number is far too large")


def _numbers(content: object) -> Iterator[float]:
    if isinstance(content, dict):
        for value in content.values():
            yield from _numbers(value)
    elif isinstance(content, list):
        for value in content:
            yield from _numbers(value)
    elif isinstance(content, int | float):
        yield content


def check_matrix(matrix: Sequence[Sequence[float]], rows: int, columns: int, what: str) -> None:
    """Raise a ValueError if a matrix has another shape."""
    if len(matrix) != rows or any(len(row) != columns for row in matrix):
        raise ValueError(f"the {what} has not {rows} x {columns} numbers")


def check_covariance(matrix: Sequence[Sequence[float]]) -> None:
    """Raise a ValueError if a square matrix is the covariance of nothing: lopsided, or negative."""
    spread = np.array(matrix, dtype=np.float64)
    variances = np.diag(spread)
    if (variances < 0).any():
        raise ValueError("a variance is negative")
    sizes = np.sqrt(np.where(variances > 0, variances, 1.0))
    related = spread / np.outer(sizes, sizes)
    if np.abs(related - related.T).max() > ROUNDING or np.linalg.eigvalsh(related)[0] < -ROUNDING:
        raise ValueError("the covariance is none")


def check_map(
    face: PlatenFace, projector: ProjectorMap, covariance: Sequence[Sequence[float]], freedom: int
) -> None:
    """Raise a ValueError if a map does not light a platen, or nothing is known of how well."""
    if not all(PLATENS[0] <= side <= PLATENS[1] for side in (face.width, face.depth)):
        raise ValueError("no platen has such sides")
    if not 0 <= face.corner_radius <= min(face.width, face.depth) / 2:
        raise ValueError("no platen has such corners")
    if not all(PICTURES[0] <= side <= PICTURES[1] for side in projector.size):
        raise ValueError("no projector has such a picture")
    check_matrix(covariance, OF_MAP, OF_MAP, "covariance")
    check_covariance(covariance)
    if freedom < 0:
        raise ValueError("there are no observations")
    corners = np.array([[x, y] for x in (-0.5, 0, 0.5) for y in (-0.5, 0, 0.5)])
    points = corners * (face.width, face.depth)
    with np.errstate(all="ignore"):
        pixels = projector.projector_from_platen(points)
        limits = bound(landing_covariance(projector, covariance, points), freedom)
    if not (np.abs(pixels) < FARTHEST_PIXEL).all():
        raise ValueError("its light does not reach the platen")
    if not (limits < WIDEST_BOUND).all():
        raise ValueError("nobody could know where its light lands")


def check_text(text: Any) -> None:
    """Raise a ValueError if a name holds what is no letter, or is no name for its length."""
    if not isinstance(text, str) or len(text) > 200 or not text.isprintable():
        raise ValueError("its name is none")
    text.encode()
