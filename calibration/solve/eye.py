"""Where a fixed camera stands and what lens it has, from light that a known projector casts.

Every spot of light is known in mm, on the bare platen and perhaps on a flat board: one resection
of all of them gives pose, focal length and distortion (Hartley and Zisserman, Multiple View
Geometry, 2nd ed., 7.2). A plane seen aslant tells the focal length; a board tells it better. So
do spots beside the platen, on a bench whose height nobody knows: each must lie on the image of
its ray of light, its epipolar line (the same, 9.1).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

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
    height : float or None
        Of the lit face above the bare platen, mm; None where it is not known.
    """

    name: str
    light: Points
    pixels: Points
    height: float | None = 0.0


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
    known = [each for each in sightings if each.height is not None]
    free = [each for each in sightings if each.height is None]
    spots = _Spots.of(projector, known)
    mean, error = _before(size, prior)
    camera, noise = _first(spots.points, spots.pixels, size, prior), np.ones((len(spots.points), 1))
    for _ in range(_ROUNDS if not free else 2 * _ROUNDS):
        camera = _fitted(camera, spots, noise, mean, error)
        if free:  # from the first round on the camera is near enough to place them
            spots = _Spots.of(projector, known, free, camera)
        noise = spots.noise(off := spots.off(camera))
    points = spots.points
    _, slope, by_point = camera.jacobian(points)
    weight = 1 / (1 + (off / noise / _ROBUST) ** 2) / noise**2  # Cauchy's, as in the fit
    rows = spots.across @ slope[:, :, FREE]
    expected = np.where(np.isfinite(error), error, 1.0)
    normal = np.einsum("nip,ni,niq->pq", rows, weight, rows) + np.diag(expected**-2.0)
    spread = np.linalg.inv(normal)
    by_map = _moved(projector, spots)
    seen = spots.across @ np.einsum("nix,nxp->nip", by_point, by_map)
    follow = spread @ np.einsum("nip,ni,niq->pq", rows, weight, seen)
    whole, gain = np.zeros((15, 15)), np.zeros((15, by_map.shape[2]))
    whole[np.ix_(FREE, FREE)] = spread
    gain[list(FREE)] = follow
    eye = Eye(
        camera=camera,
        size=size,
        covariance=frozen_matrix(whole),
        by_projector=frozen_matrix(gain),
        noise=float(noise[0, 0]),
        freedom=max(1, int(spots.counted.sum()) - len(FREE)),
        points=len(points),
    )
    return eye, np.asarray(off)


@dataclass(frozen=True, eq=False)
class _Spots:
    """All spots of light together.

    Attributes
    ----------
    points : ndarray, shape (N, 3), platen frame, mm
    pixels : ndarray, shape (N, 2)
    across : ndarray, shape (N, 2, 2)
        What of an error in the picture counts: all of it, or what lies across the image of the
        spot's ray, for a spot of unknown height.
    on_face : ndarray of bool, shape (N,)
        Whether the spot's height is known.
    flat : ndarray, shape (N, 2)
        Where the light would meet the height in `points`, before the platen's bow.
    heights : ndarray, shape (N,), mm
    """

    points: Points
    pixels: Points
    across: Array
    on_face: NDArray[np.bool_]
    flat: Points
    heights: Array

    @classmethod
    def of(
        cls,
        projector: ProjectorMap,
        known: Sequence[Sighting],
        free: Sequence[Sighting] = (),
        camera: Pinhole | None = None,
    ) -> _Spots:
        parts = []
        for each in known:
            assert each.height is not None
            flat = projector.platen_from_projector(each.light, each.height)
            whole = np.broadcast_to(np.eye(2), (len(flat), 2, 2))
            at = projector.bow.at(flat, each.height)
            parts.append((at, each.pixels, whole, flat, np.full(len(flat), each.height)))
        for each in free:
            assert camera is not None
            height = _meeting(projector, camera, each)
            way = _on_ray(projector, each.light, height + 1.0)
            here = _on_ray(projector, each.light, height)
            along = camera.project(way) - camera.project(here)
            normal = np.column_stack([-along[:, 1], along[:, 0]])
            normal /= np.linalg.norm(normal, axis=1)[:, None]
            # In the first row alone, so that what does not count is plainly zero.
            across = np.stack([normal, np.zeros_like(normal)], axis=1)
            parts.append((here, each.pixels, across, here[:, :2], height))
        points, pixels, across, flat, heights = (
            np.concatenate(column) for column in zip(*parts, strict=True)
        )
        on_face = np.arange(len(points)) < sum(len(each.pixels) for each in known)
        return cls(points, pixels, across, on_face, flat, heights)

    def off(self, camera: Pinhole) -> Array:
        """Return what a camera leaves unexplained, shape (N, 2), px."""
        return self.turned(camera.project(self.points) - self.pixels)

    def turned(self, off: Array) -> Array:
        """Return what counts of errors in the picture, shape (N, 2), px."""
        return np.asarray(np.einsum("nij,nj->ni", self.across, off))

    def noise(self, off: Array) -> Array:
        """Return the scatter of spots of known height, and of the others, for each, (N, 1), px."""
        scatter = np.ones(len(off))
        for group in (self.on_face, ~self.on_face):
            if group.any():
                part = np.abs(off[group][self.counted[group]])
                scatter[group] = max(1.4826 * float(np.median(part)), 0.01)
        return scatter[:, None]

    @property
    def counted(self) -> NDArray[np.bool_]:
        """Which of `off` can differ from nothing, shape (N, 2)."""
        return np.asarray(np.abs(self.across).sum(axis=2) > 0)


def _on_ray(projector: ProjectorMap, light: Points, height: Array) -> Points:
    """Return points of the light's rays at heights, shape (N, 3)."""
    lens, way = projector.pinhole.lens, projector.pinhole.directions(light)
    return np.asarray(lens + way * ((height - lens[2]) / way[:, 2])[:, None])


def _meeting(projector: ProjectorMap, camera: Pinhole, seen: Sighting) -> Array:
    """Return at which height light and camera's ray come nearest to each other, mm, shape (N,)."""
    lens, other = projector.pinhole.lens, camera.lens
    a, b = projector.pinhole.directions(seen.light), camera.directions(seen.pixels)
    a, b = (each / np.linalg.norm(each, axis=1)[:, None] for each in (a, b))
    # Hartley and Sturm's midpoint: the feet of the common perpendicular of two lines.
    c, gap = (a * b).sum(axis=1), other - lens
    far = ((gap * a).sum(axis=1) - c * (gap * b).sum(axis=1)) / np.maximum(1 - c * c, 1e-9)
    return np.asarray(lens[2] + far * a[:, 2])


def _moved(projector: ProjectorMap, spots: _Spots) -> Array:
    """Return how far spots of light truly lie from where an erring map has them, (N, 3, 20)."""
    on, flat, heights = spots.on_face, spots.flat, spots.heights
    moved = np.zeros((len(flat), 3, 20))
    moved[on, :2] = along = landing_slope(projector, flat[on], heights[on])
    moved[on, 2] = np.einsum("nx,nxp->np", projector.bow.slope(flat[on]), along)
    moved[on, 2, 15:18] -= basis(flat[on])
    if not on.all():  # beside the platen there is no bow
        level = replace(projector, bow=type(projector.bow)())
        moved[~on, :2] = landing_slope(level, flat[~on], heights[~on])
        moved[~on, :, 15:18] = 0.0
    return moved


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


def _fitted(start: Pinhole, spots: _Spots, noise: Array, mean: Array, error: Array) -> Pinhole:
    """Return the camera with the least weighted squares."""
    free = list(FREE)
    base = start.vector
    points = spots.points
    far = np.concatenate([np.full(spots.pixels.size, _ROBUST), np.full(len(free), 1e9)])

    def camera(vector: Array) -> Pinhole:
        full = base.copy()
        full[free] = vector
        return Pinhole.from_vector(full)

    def residuals(vector: Array) -> Array:
        off = np.nan_to_num(spots.off(camera(vector)) / noise, nan=1e6)
        return np.concatenate([off.ravel(), (vector - mean) / error])

    def slope(vector: Array) -> Array:
        _, by, _ = camera(vector).jacobian(points)
        rows = np.nan_to_num(
            (spots.across @ by[:, :, free] / noise[..., None]).reshape(-1, len(free))
        )
        return np.vstack([rows, np.diag(1 / error)])

    def loss(squared: Array) -> NDArray[np.float64]:
        # Cauchy's for spots, the plain square for what was known before.
        c2 = far**2
        z = squared / c2
        return np.array([c2 * np.log1p(z), 1 / (1 + z), -1 / c2 / (1 + z) ** 2])

    from scipy.optimize import least_squares  # takes 0.4 s to import

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
    from scipy.special import fdtri

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
    return float(np.sqrt(3 * fdtri(3, eye.freedom, 0.95) * longest))


def with_sentences(eye: Eye, *said: str) -> Eye:
    """Return the eye with what fixed it."""
    return replace(eye, fixed_by=said)
