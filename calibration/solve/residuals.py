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

from calibration.geometry import Points, as_points
from calibration.model.pinhole import Array, Pinhole
from calibration.model.platen_surface import Bow, basis, land, land_rays, on_surface
from calibration.model.projector import unbend
from calibration.observations import PhotoObservation
from calibration.solve.parameters import N_CARD_POSE, N_LENS, Indices, Layout
from calibration.solve.photo_corners import PhotoCorners
from calibration.solve.values import CardPlan, Cross


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
            PhotoCorners.of(o, cameras.index(o.camera), levels.index(o.raised), names)
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

    def at(self, vector: Array) -> Predicted:
        """Return what the unknowns predict, worked out as far as it is asked for."""
        return Predicted(self, vector)

    def residuals(self, vector: Array) -> Array:
        """Return solved less seen, shape (R,): photo px, and mm for crosses."""
        return self.at(vector).residuals

    def jacobian(self, vector: Array) -> Array:
        """Return the slope of `residuals` by the long vector, shape (R, layout.size)."""
        return self.at(vector).jacobian

    def photo_points(self, vector: Array, photo: int, pixels: Points) -> Points:
        """Return where a photo's pixels lie on the bare face, (N, 2), mm."""
        return land(self.camera(vector, photo), pixels, 0.0, self.bow(vector, 0))

    def photo_landing(self, vector: Array, photo: int, pixels: Points) -> tuple[Points, Array]:
        """Return where a photo's pixels lie on the bare face, (N, 2), mm, and their slopes.

        The slopes are by the long vector, shape (N, 2, layout.size).
        """
        bow = self.bow(vector, 0)
        camera = self.camera(vector, photo)
        points = land(camera, pixels, 0.0, bow)
        by_camera, by_height = _landing_slopes(camera, bow.at(points), bow.slope(points))
        block = np.zeros((len(points), 2, self.layout.size))
        self.put_camera(block, by_camera, vector, photo)
        block[:, :, self.layout.bow(0)] = by_height * basis(points)[:, None, :]
        return points, block

    @cached_property
    def cross_pixels(self) -> tuple[Points, Array]:
        """Projector px of the crosses, shape (N, 2), and heights of their marks, mm."""
        pixels = as_points([cross.pixel for cross in self.crosses])
        return pixels, np.array([cross.height for cross in self.crosses])

    @cached_property
    def cross_points(self) -> Points:
        """The marks that the crosses were moved on to, platen frame, mm, shape (N, 2)."""
        return as_points([cross.point for cross in self.crosses])

    @cached_property
    def shown(self) -> tuple[Points, tuple[slice | Indices, ...]]:
        """Projector px of what was seen of the picture, and which of them each photo saw.

        Photos see much the same corners: each is worked out once. Crosses come last.
        """
        seen = [photo.pattern for photo in self.photos]
        used = np.unique(np.concatenate([*seen, np.zeros(0, np.intp)]))
        of_photos = [np.searchsorted(used, each) for each in seen]
        crosses = slice(len(used), len(used) + len(self.crosses))
        return np.vstack([self.pattern[used], self.cross_pixels[0]]), (*of_photos, crosses)

    @cached_property
    def card_frames(self) -> tuple[Array, Array, Array]:
        """Of each card its middle, where that is from its anchor, and its corners from there, mm.

        Shapes (cards, 2), (cards, 2) and (cards, K, 2).
        """
        centres = np.array([plan.centre for plan in self.plans])
        from_anchor = centres - np.array([plan.anchor for plan in self.plans])
        corners = np.array([plan.corners for plan in self.plans])
        return centres, from_anchor, corners - centres[:, None]

    def put_camera(self, block: Array, slope: Array, vector: Array, photo: int) -> None:
        """Enter the slopes by a photo's camera, shape (N, 2, 15), where they belong."""
        layout = self.layout
        lens, own = layout.camera(self.photos[photo].camera), layout.photo_intrinsics(photo)
        block[:, :, lens] = slope[:, :, :N_LENS]
        block[:, :, lens.start] *= 1 + vector[own.start]
        block[:, :, own.start] = slope[:, :, 0] * vector[lens.start]
        block[:, :, own.start + 1 : own.stop] = slope[:, :, 1:3]
        block[:, :, layout.pose(photo)] = slope[:, :, N_LENS:]


@dataclass(frozen=True, eq=False)
class Predicted:
    """What one set of unknowns predicts: each part is worked out once, when it is asked for.

    Attributes
    ----------
    model : ResidualModel
    vector : ndarray, shape (layout.size,)
    """

    model: ResidualModel
    vector: Array

    @cached_property
    def residuals(self) -> Array:
        """Solved less seen, shape (R,): photo px, and mm for crosses."""
        model, rows = self.model, []
        for index, seen in enumerate(model.photos):
            pixels = self._cameras[index].project(self._points[index])
            rows += [pixels - np.vstack([seen.card_pixels, seen.pattern_pixels])]
        if model.crosses:
            rows.append(self._crosses[:, :2] - model.cross_points)
        return np.concatenate([*rows, np.zeros((0, 2))]).ravel()

    @cached_property
    def jacobian(self) -> Array:
        """The slope of `residuals` by the long vector, shape (R, layout.size)."""
        model, layout, vector = self.model, self.model.layout, self.vector
        every = np.zeros((len(model.groups) // 2, 2, layout.size))
        _, bends = unbend(model.shown[0], model.size, vector[layout.bend])
        first = 0
        for index, seen in enumerate(model.photos):
            points, bow = self._points[index], model.bow(vector, seen.level)
            block = every[first : first + len(points)]
            cards, light = block[: len(seen.card)], block[len(seen.card) :]
            first += len(points)
            _, by_camera, by_point = self._cameras[index].jacobian(points)
            slope = bow.slope(points[:, :2])
            by_place, by_rise = on_surface(by_point, slope), by_point[:, :, 2:].copy()
            model.put_camera(block, by_camera, vector, index)
            self._put_cards(cards, seen, by_place[: len(cards)])

            lit, by_place = points[len(cards) :], by_place[len(cards) :]
            by_projector, by_height = _landing_slopes(self._projector, lit, slope[len(cards) :])
            light[:, :, layout.projector] = by_place @ by_projector
            self._put_bend(light, bends[model.shown[1][index]])
            by_rise[len(cards) :] += by_place @ by_height
            block[:, :, layout.bow(seen.level)] = by_rise * basis(points[:, :2])[:, None, :]
            block[:, :, layout.height_error(seen.level)] = by_rise[:, :, 0]
        if model.crosses:
            lit, block, bow = self._crosses, every[first:], model.bow(vector, 0)
            by_projector, by_height = _landing_slopes(self._projector, lit, bow.slope(lit[:, :2]))
            block[:, :, layout.projector] = by_projector
            self._put_bend(block, bends[model.shown[1][-1]])
            block[:, :, layout.bow(0)] = by_height * basis(lit[:, :2])[:, None, :]
        return every.reshape(-1, layout.size)

    @cached_property
    def _projector(self) -> Pinhole:
        return self.model.projector(self.vector)

    @cached_property
    def _cameras(self) -> list[Pinhole]:
        return [self.model.camera(self.vector, k) for k in range(len(self.model.photos))]

    @cached_property
    def _directions(self) -> Array:
        """Directions in which a plain lens sends the pixels that were seen, platen frame."""
        pixels, _ = unbend(
            self.model.shown[0], self.model.size, self.vector[self.model.layout.bend]
        )
        return self._projector.directions(pixels)

    @cached_property
    def _points(self) -> list[Points]:
        """Where each photo's corners are, those of cards first, platen frame, mm, (N, 3)."""
        model, found = self.model, []
        for index, seen in enumerate(model.photos):
            bow, height = model.bow(self.vector, seen.level), model.height(self.vector, seen.level)
            rays = self._directions[model.shown[1][index]]
            lit = land_rays(self._projector.lens, rays, height, bow)
            found.append(bow.at(np.vstack([self._laid(seen).places, lit]), height))
        return found

    @cached_property
    def _crosses(self) -> Points:
        """Where the crosses land, platen frame, mm, (N, 3)."""
        model, bow = self.model, self.model.bow(self.vector, 0)
        rays, heights = self._directions[model.shown[1][-1]], model.cross_pixels[1]
        return bow.at(land_rays(self._projector.lens, rays, heights, bow), heights)

    def _laid(self, seen: PhotoCorners) -> _Laid:
        """Return where a photo's card corners truly are.

        A corner c of a card with centre m and anchor a, printed s times too large,
        is at ``B (m + (s - 1)(m - a) + shift + R(turn) s (c - m)) + spacer shift``, where
        R turns by the card's pose and B by the spacer's.
        """
        vector, layout, card = self.vector, self.model.layout, seen.card
        centres, from_anchor, corners = self.model.card_frames
        start = layout.card_pose(seen.level, 0).start
        poses = vector[start : start + layout.cards * N_CARD_POSE].reshape(-1, N_CARD_POSE)
        spacer = vector[layout.spacer_pose(seen.level)]
        growth = vector[layout.scale]
        local = _turn(corners[card, seen.corner], poses[card, 2])
        middle = centres[card] + growth * from_anchor[card] + poses[card, :2]
        turned = _turn(middle + (1 + growth) * local, np.full(len(card), spacer[2]))
        by_shift = _turn(np.eye(2), np.full(2, spacer[2])).T
        return _Laid(turned + spacer[:2], turned, local, by_shift)

    def _put_cards(self, block: Array, seen: PhotoCorners, by_place: Array) -> None:
        """Enter the slopes by how cards and spacer lie, and by the print's scale."""
        layout, laid, card = self.model.layout, self._laid(seen), seen.card
        growth = 1 + self.vector[layout.scale]
        by_pose = np.empty((len(card), 2, N_CARD_POSE))
        by_pose[:, :, :2] = by_place @ laid.by_shift
        by_turn = growth * _perpendicular(laid.local) @ laid.by_shift.T
        by_pose[:, :, 2] = (by_place @ by_turn[:, :, None])[:, :, 0]
        first = layout.card_pose(seen.level, 0).start + N_CARD_POSE * card
        rows = np.arange(len(card))
        for k in range(N_CARD_POSE):
            block[rows, :, first + k] = by_pose[:, :, k]
        spacer = layout.spacer_pose(seen.level).start
        block[:, :, spacer : spacer + 2] = by_place
        turn = _perpendicular(laid.turned)
        block[:, :, spacer + 2] = (by_place @ turn[:, :, None])[:, :, 0]
        by_scale = (self.model.card_frames[1][card] + laid.local) @ laid.by_shift.T
        block[:, :, layout.scale] = (by_place @ by_scale[:, :, None])[:, :, 0]

    def _put_bend(self, block: Array, bends: Array) -> None:
        """Enter the slopes by the bend: it moves a pixel against its principal point."""
        start = self.model.layout.projector.start
        block[:, :, self.model.layout.bend] = -block[:, :, start + 1 : start + 3] @ bends


@dataclass(frozen=True, eq=False)
class _Laid:
    """Where card corners truly are, platen frame, mm, and what the slopes of that come from."""

    places: Points
    turned: Points
    local: Points
    by_shift: Array


def _turn(points: Points, angles: Array) -> Points:
    """Turn each point about the origin by its angle, counter-clockwise."""
    c, s = np.cos(angles), np.sin(angles)
    return np.column_stack(
        [c * points[:, 0] - s * points[:, 1], s * points[:, 0] + c * points[:, 1]]
    )


def _perpendicular(points: Points) -> Points:
    """Return the slope of turning each point about the origin."""
    return np.column_stack([-points[:, 1], points[:, 0]])


def _landing_slopes(projector: Pinhole, landed: Points, slope: Array) -> tuple[Array, Array]:
    """Return the slopes of where light lands on a bowed sheet.

    The landing point X keeps ``project(X(p), p) = pixel``, hence
    ``dX/dp = -(du/dX)^-1 du/dp`` (implicit function theorem).

    Parameters
    ----------
    landed : ndarray, shape (N, 3), platen frame, mm
    slope : ndarray, shape (N, 2)
        Of the sheet's height there.

    Returns
    -------
    by_projector : ndarray, shape (N, 2, 15)
    by_height : ndarray, shape (N, 2, 1)
    """
    _, by_parameter, by_point = projector.jacobian(landed)
    inverse = -np.linalg.inv(on_surface(by_point, slope))
    return inverse @ by_parameter, inverse @ by_point[:, :, 2:]
