"""What a calibration must explain: observations, their residuals, and the residuals' slopes.

Every unknown has a place in one long vector (`parameters.Layout`); which of them are
free is the solver's choice. Corners leave residuals in photo pixels, since that is where
their noise arises: a card's corner is mapped from the card to the photo, a corner of the
projected pattern from the projector to the lit surface and from there to the photo.
Crosses moved by hand leave residuals on the platen, mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points, as_points
from calibration.model.pinhole import Array, Pinhole
from calibration.model.platen_surface import Bow, basis, land, on_surface
from calibration.model.projector import unbend
from calibration.observations import Corner, PhotoObservation
from calibration.solve.parameters import N_CARD_POSE, N_LENS, Indices, Layout, places_of
from calibration.solve.values import CardPlan, Cross

Mask = NDArray[np.bool_] | slice


@dataclass(frozen=True, eq=False)
class PhotoCorners:
    """One photo's corners as arrays.

    Attributes
    ----------
    camera, level : int
        Index of its camera and of its raised height.
    card, corner : ndarray of int, shape (N,)
        Index of the card and of the corner on it.
    card_pixels : ndarray, shape (N, 2), photo px
    pattern : ndarray of int, shape (M,)
        Index of the pattern's corner.
    pattern_pixels : ndarray, shape (M, 2), photo px
    """

    camera: int
    level: int
    card: Indices
    corner: Indices
    card_pixels: Points
    pattern: Indices
    pattern_pixels: Points

    def part(self, cards: Mask, pattern: Mask) -> PhotoCorners:
        """Return the corners that the masks keep."""
        return PhotoCorners(
            self.camera,
            self.level,
            self.card[cards],
            self.corner[cards],
            self.card_pixels[cards],
            self.pattern[pattern],
            self.pattern_pixels[pattern],
        )


NOTHING = slice(0)
"""The mask that keeps no corner."""

EVERYTHING = slice(None)
"""The mask that keeps every corner."""


@dataclass(frozen=True, eq=False)
class ResidualModel:
    """The observations of one calibration as arrays, and what the unknowns leave of them.

    Attributes
    ----------
    photos : tuple of PhotoCorners
    cameras : tuple of str
        Camera keys.
    levels : tuple of float
        Stated heights of the cards, mm; the first is the bare platen, 0.
    plans : tuple of CardPlan
    pattern : ndarray, shape (K, 2)
        Projector px of the pattern's corners by index.
    crosses : tuple of Cross
    size : tuple of int
        The projector's picture, px.
    """

    photos: tuple[PhotoCorners, ...]
    cameras: tuple[str, ...]
    levels: tuple[float, ...]
    plans: tuple[CardPlan, ...]
    pattern: Points
    crosses: tuple[Cross, ...]
    size: tuple[int, int]

    @classmethod
    def of(
        cls,
        observations: Sequence[PhotoObservation],
        plans: Sequence[CardPlan],
        pattern: Points,
        size: tuple[int, int],
        crosses: Sequence[Cross] = (),
    ) -> ResidualModel:
        """Gather observations into arrays; cameras and levels in the order they appear."""
        cameras = tuple(dict.fromkeys(o.camera for o in observations))
        levels = tuple(dict.fromkeys((0.0, *(o.raised for o in observations))))
        names = {plan.name: k for k, plan in enumerate(plans)}
        photos = tuple(
            _photo_corners(o, cameras.index(o.camera), levels.index(o.raised), names)
            for o in observations
        )
        return cls(photos, cameras, levels, tuple(plans), as_points(pattern), tuple(crosses), size)

    @cached_property
    def layout(self) -> Layout:
        """Where each unknown stands."""
        return Layout(len(self.cameras), len(self.photos), len(self.levels), len(self.plans))

    @cached_property
    def groups(self) -> Indices:
        """The noise group of each residual, shape (R,).

        Photo i has group 2 i for its cards and 2 i + 1 for its pattern; crosses have the last.
        """
        sizes = [n for seen in self.photos for n in (2 * len(seen.card), 2 * len(seen.pattern))]
        sizes.append(2 * len(self.crosses))
        return np.repeat(np.arange(len(sizes)), sizes)

    def camera(self, vector: Array, photo: int) -> Pinhole:
        """Return the camera of a photo, in its pose."""
        layout = self.layout
        lens = vector[layout.camera(self.photos[photo].camera)].copy()
        zoom, *shift = vector[layout.photo_intrinsics(photo)]
        lens[0] *= 1 + zoom
        lens[1:3] += shift
        return Pinhole.from_vector(np.concatenate([lens, vector[layout.pose(photo)]]))

    def projector(self, vector: Array) -> Pinhole:
        """Return the projector."""
        return Pinhole.from_vector(vector[self.layout.projector])

    def bow(self, vector: Array, level: int) -> Bow:
        """Return the bow of a level's face."""
        return Bow(*(float(value) for value in vector[self.layout.bow(level)]))

    def height(self, vector: Array, level: int) -> float:
        """Return the true height of a level, mm."""
        return float(self.levels[level] + vector[self.layout.height_error(level)])

    def residuals(self, vector: Array) -> Array:
        """Return solved less seen, shape (R,): photo px, and mm for crosses."""
        projector = self.projector(vector)
        rows: list[Array] = []
        for index, seen in enumerate(self.photos):
            camera, height = self.camera(vector, index), self.height(vector, seen.level)
            bow = self.bow(vector, seen.level)
            laid, _ = self._laid(vector, seen)
            rows.append(camera.project(bow.at(laid, height)) - seen.card_pixels)
            lit = land(projector, self._unbent(vector, self.pattern[seen.pattern]), height, bow)
            rows.append(camera.project(bow.at(lit, height)) - seen.pattern_pixels)
        if self.crosses:
            bow = self.bow(vector, 0)
            pixels, heights = self._cross_pixels
            lit = land(projector, self._unbent(vector, pixels), heights, bow)
            rows.append(lit - self._cross_points)
        return np.concatenate([block.ravel() for block in rows])

    def jacobian(self, vector: Array) -> Array:
        """Return the slope of `residuals` by the long vector, shape (R, layout.size)."""
        layout, projector = self.layout, self.projector(vector)
        blocks: list[Array] = []
        for index, seen in enumerate(self.photos):
            camera, height = self.camera(vector, index), self.height(vector, seen.level)
            bow, bow_block = self.bow(vector, seen.level), layout.bow(seen.level)

            laid, by_unknown = self._laid(vector, seen)
            _, by_camera, by_point = camera.jacobian(bow.at(laid, height))
            by_place = on_surface(by_point, bow.slope(laid))
            block = np.zeros((len(laid), 2, layout.size))
            self._put_camera(block, by_camera, vector, index)
            for place, slope in by_unknown:
                block[:, :, place] += by_place @ slope
            block[:, :, bow_block] = by_point[:, :, 2:] * basis(laid)[:, None, :]
            block[:, :, layout.height_error(seen.level)] = by_point[:, :, 2]
            blocks.append(block)

            pixels = self.pattern[seen.pattern]
            lit, by_projector, by_height = _landing(
                projector, self._unbent(vector, pixels), height, bow
            )
            _, by_camera, by_point = camera.jacobian(bow.at(lit, height))
            by_place = on_surface(by_point, bow.slope(lit))
            lifted = by_place @ by_height + by_point[:, :, 2:]
            block = np.zeros((len(lit), 2, layout.size))
            self._put_camera(block, by_camera, vector, index)
            block[:, :, layout.projector] = by_place @ by_projector
            self._put_bend(block, vector, pixels)
            block[:, :, bow_block] = lifted * basis(lit)[:, None, :]
            block[:, :, layout.height_error(seen.level)] = lifted[:, :, 0]
            blocks.append(block)
        if self.crosses:
            pixels, heights = self._cross_pixels
            lit, by_projector, by_height = _landing(
                projector, self._unbent(vector, pixels), heights, self.bow(vector, 0)
            )
            block = np.zeros((len(lit), 2, layout.size))
            block[:, :, layout.projector] = by_projector
            self._put_bend(block, vector, pixels)
            block[:, :, layout.bow(0)] = by_height * basis(lit)[:, None, :]
            blocks.append(block)
        return np.concatenate(blocks).reshape(-1, layout.size)

    def photo_points(self, vector: Array, photo: int, pixels: Points) -> Points:
        """Return where a photo's pixels lie on the bare face, (N, 2), mm."""
        return land(self.camera(vector, photo), pixels, 0.0, self.bow(vector, 0))

    def photo_landing(self, vector: Array, photo: int, pixels: Points) -> tuple[Points, Array]:
        """Return where a photo's pixels lie on the bare face, (N, 2), mm, and their slopes.

        The slopes are by the long vector, shape (N, 2, layout.size).
        """
        bow = self.bow(vector, 0)
        points, by_camera, by_height = _landing(self.camera(vector, photo), pixels, 0.0, bow)
        block = np.zeros((len(points), 2, self.layout.size))
        self._put_camera(block, by_camera, vector, photo)
        block[:, :, self.layout.bow(0)] = by_height * basis(points)[:, None, :]
        return points, block

    @cached_property
    def _cross_pixels(self) -> tuple[Points, Array]:
        pixels = as_points([cross.pixel for cross in self.crosses])
        return pixels, np.array([cross.height for cross in self.crosses])

    @cached_property
    def _cross_points(self) -> Points:
        return as_points([cross.point for cross in self.crosses])

    @cached_property
    def _corners(self) -> Array:
        """Corners of every card by index, platen frame, shape (cards, K, 2)."""
        return np.array([plan.corners for plan in self.plans])

    def _put_camera(self, block: Array, slope: Array, vector: Array, photo: int) -> None:
        """Enter the slopes by a photo's camera, shape (N, 2, 15), where they belong."""
        layout = self.layout
        lens, own = layout.camera(self.photos[photo].camera), layout.photo_intrinsics(photo)
        block[:, :, lens] = slope[:, :, :N_LENS]
        block[:, :, lens.start] *= 1 + vector[own.start]
        block[:, :, own.start] = slope[:, :, 0] * vector[lens.start]
        block[:, :, own.start + 1 : own.stop] = slope[:, :, 1:3]
        block[:, :, layout.pose(photo)] = slope[:, :, N_LENS:]

    def _unbent(self, vector: Array, pixels: Points) -> Points:
        """Return the pixels that a plain lens would light where these land, px."""
        return unbend(pixels, self.size, vector[self.layout.bend])[0]

    def _put_bend(self, block: Array, vector: Array, pixels: Points) -> None:
        """Enter the slopes by the bend: it moves a pixel against its principal point."""
        start = self.layout.projector.start
        by_centre = block[:, :, start + 1 : start + 3]
        _, slopes = unbend(pixels, self.size, vector[self.layout.bend])
        block[:, :, self.layout.bend] = -by_centre @ slopes

    def _laid(
        self, vector: Array, seen: PhotoCorners
    ) -> tuple[Points, list[tuple[Indices, Array]]]:
        """Return where a photo's card corners truly are, and the slopes of that.

        A corner c of a card with centre m and anchor a, printed s times too large,
        is at ``B (m + (s - 1)(m - a) + shift + R(turn) s (c - m)) + spacer shift``, where
        R turns by the card's pose and B by the spacer's.

        Returns
        -------
        points : ndarray, shape (N, 2), platen frame, mm
        slopes : list of (places, slope)
            `slope`, shape (N, 2, len(places)), by the unknowns at `places`.
        """
        layout = self.layout
        centres = np.array([plan.centre for plan in self.plans])
        from_anchor = centres - np.array([plan.anchor for plan in self.plans])
        poses = np.array([vector[layout.card_pose(seen.level, k)] for k in range(layout.cards)])
        spacer = vector[layout.spacer_pose(seen.level)]
        growth = vector[layout.scale]

        card = seen.card
        local = _turn(self._corners[card, seen.corner] - centres[card], poses[card, 2])
        inner = centres[card] + growth * from_anchor[card] + poses[card, :2] + (1 + growth) * local
        turned = _turn(inner, np.full(len(card), spacer[2]))
        by_shift = _turn(np.eye(2), np.full(2, spacer[2])).T

        slopes: list[tuple[Indices, Array]] = []
        for k in np.unique(card):
            mask = (card == k)[:, None]
            by_pose = np.zeros((len(card), 2, N_CARD_POSE))
            by_pose[:, :, :2] = mask[:, :, None] * by_shift
            by_pose[:, :, 2] = mask * ((1 + growth) * _perpendicular(local) @ by_shift.T)
            slopes.append((places_of(layout.card_pose(seen.level, int(k))), by_pose))
        by_spacer = np.zeros((len(card), 2, N_CARD_POSE))
        by_spacer[:, :, :2] = np.eye(2)
        by_spacer[:, :, 2] = _perpendicular(turned)
        slopes.append((places_of(layout.spacer_pose(seen.level)), by_spacer))
        by_scale = ((from_anchor[card] + local) @ by_shift.T)[:, :, None]
        slopes.append((np.array([layout.scale]), by_scale))
        return turned + spacer[:2], slopes


def _photo_corners(
    observation: PhotoObservation, camera: int, level: int, names: dict[str, int]
) -> PhotoCorners:
    cards = [corner for corner in observation.cards if corner.board in names]
    return PhotoCorners(
        camera,
        level,
        np.array([names[corner.board] for corner in cards], dtype=np.intp),
        _indices(cards),
        as_points([corner.pixel for corner in cards]),
        _indices(observation.pattern),
        as_points([corner.pixel for corner in observation.pattern]),
    )


def _indices(corners: Sequence[Corner]) -> Indices:
    return np.array([corner.index for corner in corners], dtype=np.intp)


def _turn(points: Points, angles: Array) -> Points:
    """Turn each point about the origin by its angle, counter-clockwise."""
    c, s = np.cos(angles), np.sin(angles)
    return np.column_stack(
        [c * points[:, 0] - s * points[:, 1], s * points[:, 0] + c * points[:, 1]]
    )


def _perpendicular(points: Points) -> Points:
    """Return the slope of turning each point about the origin."""
    return np.column_stack([-points[:, 1], points[:, 0]])


def _landing(
    projector: Pinhole, pixels: Points, height: float | Array, bow: Bow
) -> tuple[Points, Array, Array]:
    """Return where the light of pixels lands on a bowed sheet, and the slopes of that.

    The landing point X keeps ``project(X(p), p) = pixel``, hence
    ``dX/dp = -(du/dX)^-1 du/dp`` (implicit function theorem).

    Returns
    -------
    points : ndarray, shape (N, 2), platen frame, mm
    by_projector : ndarray, shape (N, 2, 15)
    by_height : ndarray, shape (N, 2, 1)
    """
    points = land(projector, pixels, height, bow)
    _, by_parameter, by_point = projector.jacobian(bow.at(points, height))
    inverse = -np.linalg.inv(on_surface(by_point, bow.slope(points)))
    return points, inverse @ by_parameter, inverse @ by_point[:, :, 2:]
