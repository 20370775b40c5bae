"""Which blocks of the camera's picture the projector lights, picture by picture of light."""

from __future__ import annotations

from collections.abc import Iterable

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points
from calibration.model.pinhole import Array, Pinhole
from calibration.rig.file import Rig
from chalkbeam.eye.blocks import U8, Mask

_LIT = 6  # code of the projector's picture, of an eighth of its size, above which it lights
_ON_HEIGHTS = 0.0, 6.0, 14.0  # mm, at which light may meet something on the platen
_OFF_HEIGHTS = 0.0, -40.0, -80.0, -120.0, -160.0  # and beside it
_LIGHTS = 24  # pictures of light that are known again: those of a burst, and those about it


class Beam:
    """Knows pictures of light again, and what each of them lights.

    Parameters
    ----------
    rig : Rig
    camera : Pinhole
    pixels : ndarray, shape (N, 2)
        Middles of the blocks in the camera's picture.
    on : ndarray of bool, shape (rows, columns)
        Blocks that show the platen or its edge.

    Attributes
    ----------
    light : int
        Number of the picture that is shown now.
    since : float
        Since when, s.
    """

    def __init__(self, rig: Rig, camera: Pinhole, pixels: Points, on: Mask) -> None:
        falls = {
            h: _falls(rig, camera.unproject(pixels, h), h) for h in (*_ON_HEIGHTS, *_OFF_HEIGHTS)
        }
        self._falls = [(falls[h], on.ravel()) for h in _ON_HEIGHTS]
        self._falls += [(falls[h], ~on.ravel()) for h in _OFF_HEIGHTS]
        self._size, self._shape = rig.projector.size, on.shape
        self._shown: list[tuple[int, U8 | None]] = []
        self._lit: dict[int, Mask] = {0: np.zeros(on.shape, np.bool_)}
        self._named = 0
        self.light, self.since = 0, -np.inf

    def show(self, frame: U8 | None, at: float, kept: Iterable[int]) -> None:
        """Take what is shown from now on; `kept` are numbers that something is remembered under.

        Parameters
        ----------
        frame : ndarray, shape (height, width, 3), uint8, or None for darkness
            The very same array while nothing changes.
        """
        if self._shown and frame is self._shown[-1][1]:
            return
        known = next((each for each in self._shown if each[1] is frame), None)
        if known is None:
            self._named += 1
            known = self._named, frame
            self._lit[self._named] = self._blocks(frame)
        self._shown = [*(each for each in self._shown if each is not known), known][-_LIGHTS:]
        self.light, self.since = known[0], at
        still = {*kept, *(light for light, _ in self._shown)}
        self._lit = {light: mask for light, mask in self._lit.items() if light in still}

    def lit(self, light: int) -> Mask:
        """Return the blocks that a picture of light may light."""
        return self._lit[light]

    def _blocks(self, frame: U8 | None) -> Mask:
        lit = np.zeros(self._shape, np.bool_)
        if frame is None:
            return lit
        width, height = self._size[0] // 8, self._size[1] // 8
        small = cv2.resize(frame, (width, height), interpolation=cv2.INTER_AREA)
        shows = cv2.dilate(small.max(axis=2), np.ones((3, 3), np.uint8)) > _LIT
        for falls, where in self._falls:
            inside = (falls >= 0).all(axis=1) & (falls < (width, height)).all(axis=1) & where
            hit = np.zeros(len(falls), np.bool_)
            hit[inside] = shows[falls[inside, 1], falls[inside, 0]]
            lit |= hit.reshape(self._shape)
        return lit


def _falls(rig: Rig, at: Points, height: float) -> NDArray[np.int64]:
    """Return which eighth pixels of the projector light platen points, shape (N, 2); or -1."""
    with np.errstate(all="ignore"):
        pixels: Array = rig.projector.projector_from_platen(at, height) / 8
    return np.asarray(np.where(np.isfinite(pixels) & (np.abs(pixels) < 1e5), pixels, -1), np.int64)
