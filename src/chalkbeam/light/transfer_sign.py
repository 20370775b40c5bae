"""How a laid transfer was seen to lie, as light on its sheet: a frame, or an arrow to go along."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calibration.geometry import XY, Isometry, xy_tuple
from chalkbeam.artwork import Box
from overlay.marks import Dash, Mark, Role, Stroke

_FRAME = 4.0  # mm between the ink and the frame that says that it lies right
_WIDE = 3.0  # mm: to be told from the lines to lay it by
_SHORTEST, _LONGEST = 30.0, 60.0  # mm of arrow: a millimetre of movement would not be seen
_HEAD = 12.0, math.radians(28)


@dataclass(frozen=True)
class TransferSign:
    """How the transfer lies.

    Attributes
    ----------
    good : bool
    off : (right, away) or None
        Where it lies minus where it should, platen frame, mm; None where that was not seen.
    turned : float
        Counter-clockwise, radians.
    """

    good: bool
    off: XY | None = None
    turned: float = 0.0


def sign_marks(sign: TransferSign, ink: Box, pose: Isometry, height: float) -> tuple[Mark, ...]:
    """Return the light that tells it.

    Parameters
    ----------
    sign : TransferSign
    ink : Box
        Art frame, mm.
    pose : Isometry
        platen_from_art of the target.
    height : float
        Of the lit surface, mm.
    """
    if sign.good:
        corners = pose.apply(ink.grown(_FRAME).corners())
        points = xy_tuple(corners)
        return (Stroke(points, Role.NOTE, _WIDE, closed=True, dash=Dash.SOLID, height=height),)
    if sign.off is None:
        return ()
    off, lies = np.array(sign.off), pose.apply([ink.centre])[0] + np.array(sign.off)
    far = float(np.hypot(*off))
    if far < 0.5:
        return ()  # only turned: words say which way
    way = -off / far
    end = lies + way * min(max(far, _SHORTEST), _LONGEST)
    long, angle = _HEAD
    back = [_turned(-way, side * angle) * long + end for side in (1, -1)]
    return tuple(
        Stroke(xy_tuple(np.array(line)), Role.WARN, _WIDE, dash=Dash.SOLID, height=height)
        for line in ([lies, end], [back[0], end, back[1]])
    )


def _turned(way: np.ndarray, angle: float) -> np.ndarray:
    c, s = math.cos(angle), math.sin(angle)
    return np.array([c * way[0] - s * way[1], s * way[0] + c * way[1]])
