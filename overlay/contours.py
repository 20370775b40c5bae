"""Many closed polygons in one array, so that they are mapped and filled in one go."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.geometry import Points, as_points

Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Contours:
    """Closed polygons, one after another; none repeats its first vertex.

    What they enclose is filled by the nonzero rule: polygons that turn the same
    way join, a polygon that turns the other way cuts a hole.

    Attributes
    ----------
    points : ndarray, shape (N, 2)
        All vertices, in any frame.
    ends : ndarray of int64, shape (M,)
        For each polygon the index after its last vertex, rising; the last is N.
    """

    points: Points
    ends: Ints

    @classmethod
    def empty(cls) -> Contours:
        """Return no polygons."""
        return cls(np.zeros((0, 2)), np.zeros(0, dtype=np.int64))

    @classmethod
    def uniform(cls, polygons: ArrayLike) -> Contours:
        """Return polygons that all have the same number of vertices, from shape (M, K, 2)."""
        array = np.asarray(polygons, dtype=np.float64)
        if array.size == 0:
            return cls.empty()
        count, vertices, _ = array.shape
        return cls(array.reshape(-1, 2), np.arange(1, count + 1) * vertices)

    @classmethod
    def of(cls, polygons: Iterable[ArrayLike]) -> Contours:
        """Return polygons of shapes (K, 2), K differing from one to the next; empty ones go."""
        arrays = [array for array in map(as_points, polygons) if len(array)]
        if not arrays:
            return cls.empty()
        return cls(np.vstack(arrays), np.cumsum([len(array) for array in arrays]))

    @classmethod
    def joined(cls, parts: Sequence[Contours]) -> Contours:
        """Return all polygons of `parts` in one."""
        parts = [part for part in parts if len(part.ends)]
        if not parts:
            return cls.empty()
        if len(parts) == 1:
            return parts[0]
        shifts = np.cumsum([0] + [len(part.points) for part in parts[:-1]])
        return cls(
            np.concatenate([part.points for part in parts]),
            np.concatenate([part.ends + shift for part, shift in zip(parts, shifts, strict=True)]),
        )

    def __len__(self) -> int:
        return len(self.ends)

    @property
    def starts(self) -> Ints:
        """Index of each polygon's first vertex, shape (M,)."""
        return self.ends - self.counts

    @property
    def counts(self) -> Ints:
        """Number of vertices of each polygon, shape (M,)."""
        return np.diff(self.ends, prepend=0)

    def polygons(self) -> list[Points]:
        """Return the polygons one by one, shapes (K, 2)."""
        return np.split(self.points, self.ends[:-1]) if len(self) else []

    def moved(self, points: Points) -> Contours:
        """Return the same polygons with other vertices, shape (N, 2)."""
        return Contours(points, self.ends)

    def chosen(self, keep: NDArray[np.bool_]) -> Contours:
        """Return the polygons where `keep`, shape (M,), is true."""
        if keep.all():
            return self
        counts = self.counts
        return Contours(self.points[np.repeat(keep, counts)], np.cumsum(counts[keep]))

    def areas(self) -> NDArray[np.float64]:
        """Return each polygon's signed area, shape (M,); positive when counter-clockwise (y up)."""
        if not len(self):
            return np.zeros(0)
        starts = self.starts
        following = np.arange(1, len(self.points) + 1)
        following[self.ends - 1] = starts
        # Relative to each polygon's first vertex, so that far polygons keep their digits.
        x, y = (self.points - np.repeat(self.points[starts], self.counts, axis=0)).T
        twice = x * y[following] - x[following] * y
        return np.asarray(np.add.reduceat(twice, starts) / 2)

    def boxes(self) -> tuple[Points, Points]:
        """Return the lower and upper corners of each polygon's bounding box, each shape (M, 2)."""
        if not len(self):
            return np.zeros((0, 2)), np.zeros((0, 2))
        starts = self.starts
        return np.minimum.reduceat(self.points, starts), np.maximum.reduceat(self.points, starts)
