"""The platen seen straight from above: a burst's white pictures rectified at the cloth's height.

Frame *view*: px, x to the operator's right, y **towards** the operator, so that art (y down) lies
in it without a mirror.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Isometry, Points
from calibration.model.pinhole import Array, Pinhole
from chalkbeam.eye.burst import WHOLE, Burst, Part, brightest

F32 = NDArray[np.float32]

PER_MM = 2.0
"""Pixels of the view to the mm: about twice what a webcam resolves, so that nothing is lost."""

Height = float | Callable[[Points], Array]
"""Of the lit surface over the bare platen, mm; or a function of platen points, shape (N, 2)."""

_FULL = 0.86
"""Linear light above which a camera's pixel may be clipped: code 238 of 255."""
_HALF_FULL = 0.55
"""And from which on the dimmer picture begins to count."""
_SOME: Part = (slice(None, None, 3), slice(None, None, 3))
_RIM = 3  # px beside a part of the picture, for what is taken between pixels
_NODES = 8  # px from one point that is projected to the next: between them the lens is straight


@dataclass(frozen=True, eq=False)
class View:
    """A picture of the platen from above.

    Attributes
    ----------
    image : ndarray, shape (height, width, 3), float32, BGR
        Square root of linear light: there a camera's noise is about the same at any brightness.
    origin : (x, y)
        Platen coordinates of the middle of the first pixel, mm.
    """

    image: F32
    origin: tuple[float, float]

    def pixels(self, points: Points) -> Points:
        """Return view px of platen points, shape (N, 2), mm."""
        return np.asarray((points - self.origin) * (PER_MM, -PER_MM))

    def from_platen(self, pose: Isometry) -> tuple[float, float, float]:
        """Return x, y (view px) and turn (clockwise as seen, radians) of a pose of the art."""
        (x, y), *_ = self.pixels(np.array([[pose.x, pose.y]]))
        return float(x), float(y), -pose.angle

    def to_platen(self, x: float, y: float, turn: float) -> Isometry:
        """Return ``platen_from_art`` of a pose in the view; the reverse of `from_platen`."""
        return Isometry(
            self.origin[0] + x / PER_MM, self.origin[1] - y / PER_MM, -turn, mirrored=True
        )


def merged(burst: Burst, part: Part = WHOLE) -> F32:
    """Return white and dim as one linear picture, BGR: dim fills in where white may be clipped.

    Gain and offset between the two (room light, automatic exposure) are fitted channel by channel
    where neither is clipped; one goes over into the other without an edge. Where next to all that
    is lit is clipped, dim serves alone.
    """
    white = burst.linear("white", part)
    level = brightest(white)
    if not burst.has("dim") or not (level > _FULL).any():
        return white
    dim = burst.linear("dim", part)
    share = np.clip((level - _HALF_FULL) / (_FULL - _HALF_FULL), 0, 1)
    bright, dull = (burst.linear(name, _SOME) for name in ("white", "dim"))
    usable = brightest(bright) <= _FULL
    whole = white.copy()
    for channel in range(3):
        x, y = dull[..., channel], bright[..., channel]
        sample = usable & (y > _HALF_FULL / 3)
        if sample.sum() < 500 or float(np.ptp(x[sample])) < 0.02:
            return dim
        gain, offset = np.polyfit(x[sample], y[sample], 1)
        filled = gain * dim[..., channel] + offset
        whole[..., channel] += share * (filled - white[..., channel])
    return np.maximum(whole, 0)


def view_from_above(burst: Burst, camera: Pinhole, around: Points, height: Height) -> View:
    """Return the view of the smallest upright box about platen points.

    Parameters
    ----------
    burst : Burst
        With `white`, and `dim` where it is there.
    camera : Pinhole
        Platen to picture px.
    around : ndarray, shape (N, 2), platen frame, mm
    height : float or callable
        mm.
    """
    low, high = around.min(axis=0), around.max(axis=0)
    columns, rows = (math.ceil(side * PER_MM) + 1 for side in high - low)
    origin = float(low[0]), float(high[1])
    u, v = (np.arange(0, side + _NODES, _NODES) for side in (columns, rows))
    nodes = np.stack(np.meshgrid(u, v), axis=-1)
    flat = nodes.reshape(-1, 2) * (1 / PER_MM, -1 / PER_MM) + origin
    z = np.full(len(flat), float(height)) if not callable(height) else height(flat)
    # Where the surface is unknown the middle of what is known serves.
    z = np.where(np.isfinite(z), z, np.nanmedian(z) if np.isfinite(z).any() else 0.0)
    seen = camera.project(np.column_stack([flat, z])).reshape(nodes.shape).astype(np.float32)
    x, y = np.meshgrid(np.arange(columns), np.arange(rows))
    at = cv2.remap(
        seen, (x / _NODES).astype(np.float32), (y / _NODES).astype(np.float32), cv2.INTER_LINEAR
    )
    part = _about(seen, burst.size)
    corner = np.array([part[1].start, part[0].start], np.float32)
    here = at - corner
    image = cv2.remap(
        np.sqrt(np.maximum(merged(burst, part), 0)), here[..., 0], here[..., 1], cv2.INTER_CUBIC,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    return View(np.asarray(image, np.float32), origin)


def _about(seen: F32, size: tuple[int, int]) -> Part:
    """Return the part of a picture of some size that pixels, shape (..., 2), lie in."""
    flat = seen.reshape(-1, 2)
    low = np.clip(np.floor(flat.min(axis=0)) - _RIM, 0, np.array(size) - 2).astype(int)
    high = np.clip(np.ceil(flat.max(axis=0)) + _RIM, low + 2, size).astype(int)
    return slice(int(low[1]), int(high[1])), slice(int(low[0]), int(high[0]))
