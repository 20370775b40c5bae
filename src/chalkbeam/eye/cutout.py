"""Cut the cloth out of a measured surface: what was not there on the empty platen."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from calibration.geometry import PlatenFace, Points
from calibration.model.pinhole import Pinhole
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.net import beyond_edge

CHANGED = 4.0
"""Beside the platen, what lies nearer to the remembered surface is press or bench, mm."""

THINNEST = 0.3
"""On the platen, what rises less over the bare face is no cloth, mm: thin knit is 0.5 thick."""

_BESIDE = 10.0  # how far beside a remembered point its surface goes on, mm
_CELL = 12.0
_OTHER = 0.25  # of the light, a colour that differs by so much is another
_FAINT = 0.004  # light, linear, that noise and stray light may add
_MOSTLY_BARE = 0.25  # of what rises over the face: cloth of the face's own colour


@dataclass(frozen=True, eq=False)
class Unchanged:
    """Where the picture shows what the empty platen's showed, whatever lies or lay there.

    Attributes
    ----------
    camera : Pinhole
    alike : ndarray of bool, shape (height, width)
        Whether a pixel's colour under the white flash is as it was.
    """

    camera: Pinhole
    alike: NDArray[np.bool_]

    @classmethod
    def between(cls, burst: Burst, empty: Burst, camera: Pinhole) -> Unchanged:
        """Compare a burst with one of the empty platen."""
        now, then = (
            np.asarray(cv2.blur(each.light("white"), (5, 5)), np.float32) for each in (burst, empty)
        )
        off = np.abs(now * np.float32(burst.exposure_over(empty)) - then) > _OTHER * then + _FAINT
        return cls(camera, ~(off[..., 0] | off[..., 1] | off[..., 2]))

    def at(self, points: Points) -> NDArray[np.bool_]:
        """Tell at which points, shape (N, 3), it does; out of the picture it does not."""
        column, row = np.rint(self.camera.project(points)).astype(int).T
        high, wide = self.alike.shape
        inside = (column >= 0) & (row >= 0) & (column < wide) & (row < high)
        return np.asarray(
            inside & self.alike[np.clip(row, 0, high - 1), np.clip(column, 0, wide - 1)]
        )


def cloth_points(
    surface: Points, bare: Points, platen: PlatenFace, unchanged: Unchanged | None = None
) -> Points:
    """Return the points of a surface that lie on cloth.

    Beside the platen those count that stand clear of what was there without cloth, on it those
    that lie higher than the bare face did and, where the cloth is of another colour than the
    face, look different. Without a remembered surface all are kept.

    Parameters
    ----------
    surface, bare : ndarray, shape (N, 3), platen frame, mm
        Measured with the garment, and on the empty platen.
    platen : PlatenFace
    unchanged : Unchanged, optional
    """
    points = np.asarray(surface, np.float64).reshape(-1, 3)
    if len(bare) == 0 or len(points) == 0:
        return points
    beside = beyond_edge(platen, points[:, :2])[0] > 0
    before = beyond_edge(platen, bare[:, :2])[0] > 0
    keep = np.ones(len(points), bool)
    if before.any():
        scale = np.array([CHANGED / _BESIDE, CHANGED / _BESIDE, 1.0])
        remembered = cKDTree(bare[before] * scale)
        near, _ = remembered.query(points[beside] * scale, distance_upper_bound=CHANGED)
        keep[beside] = np.isinf(near)
        keep &= ~beside | (points[:, 2] > np.percentile(bare[before, 2], 2))
    keep[~beside] = _rises(points[~beside], bare[~before], platen)
    if unchanged is not None:
        keep &= beside | ~_bare(points, keep & ~beside, unchanged)
    return points[keep]


def _bare(points: Points, lies: NDArray[np.bool_], unchanged: Unchanged) -> NDArray[np.bool_]:
    """Tell which points look like the bare face; none where the cloth on it does, too."""
    alike = unchanged.at(points)
    if not lies.any() or alike[lies].mean() > _MOSTLY_BARE:
        return np.zeros(len(points), bool)
    return alike


def _rises(points: Points, bare: Points, platen: PlatenFace) -> NDArray[np.bool_]:
    """Tell which points on the platen lie higher than the bare face, judged by small cells."""
    half = np.array([platen.width, platen.depth]) / 2
    columns, rows = (int(side // _CELL) + 1 for side in 2 * half)

    def cells(of: Points) -> NDArray[np.intp]:
        at = np.clip(((of[:, :2] + half) // _CELL).astype(int), 0, (columns - 1, rows - 1))
        return np.asarray(at[:, 1] * columns + at[:, 0])

    def level(of: Points) -> NDArray[np.float64]:
        cell = cells(of)
        total = np.bincount(cell, of[:, 2], columns * rows).reshape(rows, columns)
        count = np.bincount(cell, minlength=columns * rows).reshape(rows, columns).astype(float)
        soft, share = (np.asarray(cv2.GaussianBlur(p, (0, 0), 0.7)) for p in (total, count))
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.asarray(np.where(share > 0.3, soft / share, np.nan))

    rise = level(points) - level(bare)
    return np.asarray(~(rise.ravel()[cells(points)] < THINNEST))
