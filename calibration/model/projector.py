"""From platen millimetres, at any height, to projector pixels and back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.geometry import Points, as_points
from calibration.model.pinhole import Array, Pinhole
from calibration.model.platen_surface import FLAT, Bow, land


@dataclass(frozen=True)
class ProjectorMap:
    """What a calibration is for: the map between the platen and the projector's picture.

    Attributes
    ----------
    size : tuple of int
        Width and height of the projector's picture, px.
    pinhole : Pinhole
        The projector's lens and ``projector_from_platen`` pose.
    bow : Bow
        How the platen's bare face is bowed; heights are above that face.
    """

    size: tuple[int, int]
    pinhole: Pinhole
    bow: Bow = FLAT

    def projector_from_platen(self, points: ArrayLike, height: ArrayLike = 0.0) -> Points:
        """Return the projector pixels that light points on or above the platen.

        Parameters
        ----------
        points : array_like, shape (N, 2), platen frame, mm
        height : float or array_like of shape (N,)
            Height of the lit surface above the bare platen, mm.

        Returns
        -------
        ndarray, shape (N, 2), px, pixel (0, 0) at the centre of the top-left pixel.
        Pixels outside the picture are returned as they are: nothing is clipped.
        """
        return self.pinhole.project(self.bow.at(points, height))

    def platen_from_projector(self, pixels: ArrayLike, height: ArrayLike = 0.0) -> Points:
        """Return where the light of projector pixels lands at a height.

        Parameters
        ----------
        pixels : array_like, shape (N, 2), px
        height : float or array_like of shape (N,)
            Height of the lit surface above the bare platen, mm.

        Returns
        -------
        ndarray, shape (N, 2), platen frame, mm
        """
        return land(self.pinhole, pixels, height, self.bow)

    def in_picture(self, pixels: ArrayLike) -> NDArray[np.bool_]:
        """Tell which pixels, shape (N, 2), lie within the picture, shape (N,); none at infinity."""
        at = as_points(pixels)
        return np.asarray(((at > -0.5) & (at < np.array(self.size) - 0.5)).all(axis=1), np.bool_)

    def shift_per_height(self, points: ArrayLike) -> Points:
        """Return how far light moves for each mm that the surface rises, shape (N, 2), mm per mm.

        Parameters
        ----------
        points : array_like, shape (N, 2), platen frame, mm
        """
        lens = self.pinhole.lens
        return np.asarray((lens[:2] - as_points(points)) / lens[2])


def bend(pixels: Points, size: tuple[int, int]) -> Array:
    """Return how far a slight bend of a projector's picture moves pixels, shape (N, 2, 2), px.

    Keystone correction maps the picture by a homography before the lens does. Two of its terms,
    the perspective ones, no lens can produce; they are called the *bend*. With p a pixel from
    the picture's middle, w the picture's width and v those terms, ``p / (1 - v.p / w)`` is
    ``p + p (v.p) / w`` to first order. The last axis is that of v.

    Parameters
    ----------
    pixels : ndarray, shape (N, 2), px
    size : tuple of int
        The picture, px.
    """
    from_middle = pixels - (np.array(size) - 1) / 2
    return np.asarray(from_middle[:, :, None] * from_middle[:, None, :] / size[0])


def unbend(pixels: Points, size: tuple[int, int], terms: Array) -> tuple[Points, Array]:
    """Return the pixels that a bent picture was made of, shape (N, 2), px, and their slopes.

    Parameters
    ----------
    pixels : ndarray, shape (N, 2), px
        As the lens shows them.
    size : tuple of int
        The picture, px.
    terms : ndarray, shape (2,)
        The bend's (see `bend`).

    Returns
    -------
    pixels : ndarray, shape (N, 2)
        ``p / (1 + v.p / w)``, the inverse of the bend.
    slopes : ndarray, shape (N, 2, 2)
        By the terms; the last axis is theirs.
    """
    middle = (np.array(size) - 1) / 2
    from_middle = pixels - middle
    scale = 1 / (1 + from_middle @ terms / size[0])
    slopes = -bend(pixels, size) * (scale**2)[:, None, None]
    return middle + from_middle * scale[:, None], slopes
