"""Where a fixed camera stands and what lens it has, from light that a known projector casts.

Every spot of light is known in mm, on the bare platen and perhaps on a flat board: one resection
of all of them gives pose, focal length and distortion (Hartley and Zisserman, Multiple View
Geometry, 2nd ed., 7.2). A plane seen aslant tells the focal length; a board tells it better.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from calibration.geometry import PlatenFace, Points
from calibration.model.eye import Eye
from calibration.model.pinhole import INTRINSIC, PARAMETERS, POSE, Array, Pinhole
from calibration.model.platen_surface import basis
from calibration.model.projector import ProjectorMap, bend
from calibration.model.uncertainty import landing_slope, over_platen
from calibration.solve.values import frozen_matrix

FREE = tuple(PARAMETERS.index(name) for name in (*INTRINSIC[:7], *POSE))
"""All but oblong and sheared pixels, which no camera of today has."""

CENTRE_ERROR = 0.02
"""Standard error of a lens's axis from the picture's middle, of the picture's width: common
practice, no source."""

DISTORTION_ERROR = {"k1": 0.25, "k2": 0.15, "p1": 0.001, "p2": 0.001}
"""Of webcams' and phones' lenses before any picture: common practice, no source."""

FOCAL_ERROR = 0.6
"""Standard error of the focal length's logarithm, before any picture: 40 to 110 degrees of view."""

USUAL_FOCAL = 0.85
"""Focal length of a webcam, of the picture's width (60 degrees across)."""

_GUESSES = (0.55, 0.7, 0.9, 1.15, 1.5, 2.0)
_ROBUST = 3.0
_ROUNDS = 3


@dataclass(frozen=True, eq=False)
class Sighting:
    """Spots of light in one picture.

    Attributes
    ----------
    name : str
        For messages.
    light : ndarray, shape (N, 2)
        Where the projector's picture has them, px.
    pixels : ndarray, shape (N, 2)
        Where the camera saw them, px.
    height : float
        Of the lit face above the bare platen, mm.
    """

    name: str
    light: Points
    pixels: Points
    height: float = 0.0


@dataclass(frozen=True)
class FocalPrior:
    """What is known of the lens beforehand.

    Attributes
    ----------
    focal : float
        px.
    error : float
        Standard error, px.
    """

    focal: float
    error: float


def solve_eye(
    projector: ProjectorMap,
    sightings: Sequence[Sighting],
    size: tuple[int, int],
    prior: FocalPrior | None = None,
) -> tuple[Eye, Array]:
    """Return the camera that explains what was seen, and what it leaves unexplained.

    Parameters
    ----------
    projector : ProjectorMap
    sightings : sequence of Sighting
        At least four spots.
    size : tuple of int
        The camera's picture, px.
    prior : FocalPrior, optional

    Returns
    -------
    eye : Eye
        Without `fixed_by`.
    residuals : ndarray, shape (N, 2), px
        Of all spots, sighting after sighting.
    """
    flat = [projector.platen_from_projector(each.light, each.height) for each in sightings]
    points = np.vstack(
        [projector.bow.at(p, s.height) for p, s in zip(flat, sightings, strict=True)]
    )
    pixels = np.vstack([each.pixels for each in sightings])
    heights = np.concatenate(
        [np.full(len(p), s.height) for p, s in zip(flat, sightings, strict=True)]
    )
    mean, error = _before(size, prior)
    camera, noise = _first(points, pixels, size, prior), 1.0
    for _ in range(_ROUNDS):
        camera = _fitted(camera, points, pixels, noise, mean, error)
        off = camera.project(points) - pixels
        noise = max(1.4826 * float(np.median(np.abs(off))), 0.01)
    _, slope, by_point = camera.jacobian(points)
    weight = 1 / (1 + (off / noise / _ROBUST) ** 2)  # Cauchy's, as in the fit
    rows = slope[:, :, FREE]
    known = np.where(np.isfinite(error), error, 1.0)
    normal = np.einsum("nip,ni,niq->pq", rows, weight, rows) / noise**2 + np.diag(known**-2.0)
    spread = np.linalg.inv(normal)
    by_map = _moved(projector, np.vstack(flat), heights)
    seen = np.einsum("nix,nxp->nip", by_point, by_map)
    follow = spread @ np.einsum("nip,ni,niq->pq", rows, weight, seen) / noise**2
    whole, gain = np.zeros((15, 15)), np.zeros((15, by_map.shape[2]))
    whole[np.ix_(FREE, FREE)] = spread
    gain[list(FREE)] = follow
    eye = Eye(
        camera=camera,
        size=size,
        covariance=frozen_matrix(whole),
        by_projector=frozen_matrix(gain),
        noise=noise,
        freedom=max(1, 2 * len(points) - len(FREE)),
        points=len(points),
    )
    return eye, np.asarray(off)


def _moved(projector: ProjectorMap, points: Points, heights: Array) -> Array:
    """Return how far spots of light truly lie from where an erring map has them, (N, 3, 20)."""
    along = landing_slope(projector, points, heights)
    up = np.einsum("nx,nxp->np", projector.bow.slope(points), along)
    up[:, 15:18] -= basis(points)
    return np.concatenate([along, up[:, None]], axis=1)


def _before(size: tuple[int, int], prior: FocalPrior | None) -> tuple[Array, Array]:
    """Return mean and standard error of the free parameters before any picture."""
    width, height = size
    mean = np.zeros(len(FREE))
    error = np.full(len(FREE), np.inf)
    mean[0] = USUAL_FOCAL * width if prior is None else prior.focal
    error[0] = FOCAL_ERROR * mean[0] if prior is None else prior.error
    mean[1:3] = (width - 1) / 2, (height - 1) / 2
    error[1:3] = CENTRE_ERROR * width
    error[3:7] = [DISTORTION_ERROR[name] for name in INTRINSIC[3:7]]
    error[7:] = 1e6  # of a pose nothing is known
    return mean, error


def _first(
    points: Points, pixels: Points, size: tuple[int, int], prior: FocalPrior | None
) -> Pinhole:
    """Return a camera near enough to begin with: the best of several focal lengths."""
    width, height = size
    tried = [share * width for share in _GUESSES] if prior is None else [prior.focal]
    best, least = None, np.inf
    for focal in tried:
        lens = Pinhole(focal, (width - 1) / 2, (height - 1) / 2)
        done, turn, shift = cv2.solvePnP(
            points, pixels, lens.intrinsic_matrix, None, flags=cv2.SOLVEPNP_SQPNP
        )
        if not done:
            continue
        camera = lens.moved(
            np.asarray(cv2.Rodrigues(turn)[0], np.float64), np.asarray(shift, np.float64)
        )
        miss = float(np.median(np.linalg.norm(camera.project(points) - pixels, axis=1)))
        if miss < least and camera.lens[2] > 0:
            best, least = camera, miss
    if best is None:
        raise ArithmeticError("no camera sees these points so")
    return best


def _fitted(
    start: Pinhole, points: Points, pixels: Points, noise: float, mean: Array, error: Array
) -> Pinhole:
    """Return the camera with the least weighted squares."""
    free = list(FREE)
    base = start.vector
    far = np.concatenate([np.full(pixels.size, _ROBUST), np.full(len(free), 1e9)])

    def camera(vector: Array) -> Pinhole:
        full = base.copy()
        full[free] = vector
        return Pinhole.from_vector(full)

    def residuals(vector: Array) -> Array:
        off = np.nan_to_num((camera(vector).project(points) - pixels) / noise, nan=1e6)
        return np.concatenate([off.ravel(), (vector - mean) / error])

    def slope(vector: Array) -> Array:
        _, by, _ = camera(vector).jacobian(points)
        rows = np.nan_to_num(by[:, :, free].reshape(-1, len(free)) / noise)
        return np.vstack([rows, np.diag(1 / error)])

    def loss(squared: Array) -> NDArray[np.float64]:
        # Cauchy's for spots, the plain square for what was known before.
        c2 = far**2
        z = squared / c2
        return np.array([c2 * np.log1p(z), 1 / (1 + z), -1 / c2 / (1 + z) ** 2])

    scale = np.maximum(np.abs(base[free]), [1, 1, 1, 0.1, 0.1, 1e-3, 1e-3, *[0.1] * 3, *[10] * 3])
    done = least_squares(
        residuals, base[free], slope, loss=loss, x_scale=scale, method="trf", max_nfev=80
    )
    return camera(done.x)


def best_axis(projector: ProjectorMap, camera: Pinhole, face: PlatenFace) -> int:
    """Return which of the projector's axes tells most of height to a camera: 0 for x, 1 for y.

    That is the one whose coordinate changes most along the camera's rays.
    """
    x, y = face.width / 3, face.depth / 3
    below = np.array([(0.0, 0.0, 0.0), (-x, -y, 0.0), (x, -y, 0.0), (x, y, 0.0), (-x, y, 0.0)])
    above = below + (camera.lens - below) * (10.0 / camera.lens[2])
    moved = np.abs(projector.pinhole.project(above) - projector.pinhole.project(below))
    return int(np.argmax(moved.mean(axis=0)))


def surface_bound(
    projector: ProjectorMap,
    map_covariance: Array,
    eye: Eye,
    face: PlatenFace,
    height: float,
) -> float:
    """Return how far a measured point of a surface may be off at the worst place, 95 %, mm.

    A point is measured where a camera's ray meets the light of a line of the projector: its error
    follows from the camera's and from the map's, which are not independent, for the map fixed the
    camera. The bound is the longer half axis of the 95 % ellipsoid of three coordinates.

    Parameters
    ----------
    projector : ProjectorMap
    map_covariance : ndarray, shape (20, 20)
    eye : Eye
    face : PlatenFace
    height : float
        Of the surface above the bare platen, mm.
    """
    from scipy.stats import f  # takes a while to import

    axis = best_axis(projector, eye.camera, face)
    points = projector.bow.at(over_platen(face, 40.0), height)
    _, by_camera, ray = eye.camera.jacobian(points)
    light, by_lens, plane = projector.pinhole.jacobian(points)
    by_map = np.concatenate(
        [by_lens, np.zeros((len(points), 2, 3)), bend(light, projector.size)], axis=2
    )
    inverse = np.linalg.inv(np.concatenate([ray, plane[:, axis : axis + 1]], axis=1))
    by_noise = inverse[:, :, :2] @ by_camera
    together = np.concatenate([by_camera @ eye.projector_slope, by_map[:, axis : axis + 1]], axis=1)
    by_error = inverse @ together
    spread = by_noise @ eye.matrix @ by_noise.transpose(0, 2, 1)
    spread = spread + by_error @ map_covariance @ by_error.transpose(0, 2, 1)
    longest = float(np.linalg.eigvalsh(spread)[:, -1].max())
    return float(np.sqrt(3 * f.ppf(0.95, 3, eye.freedom) * longest))


def with_sentences(eye: Eye, *said: str) -> Eye:
    """Return the eye with what fixed it."""
    return replace(eye, fixed_by=said)
