"""First values for the solver, from homographies, so that it starts near the answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from calibration.geometry import Points
from calibration.model import homography
from calibration.model.homography import Homography
from calibration.model.pinhole import Array, Pinhole
from calibration.observations import PhotoObservation
from calibration.refusal import Refusal, Remedy, RemedyKind
from calibration.solve.least_squares import FitProblem, minimise
from calibration.solve.photo_corners import EVERYTHING, NOTHING
from calibration.solve.priors import PROJECTOR_FREE, projector_places, projector_priors
from calibration.solve.residuals import ResidualModel
from calibration.solve.values import Cross, Stated

FOCAL_GUESSES = np.geomspace(0.5, 2.2, 12)
"""Focal lengths tried for a camera without one in its photo, over the photo's longer side:
from a very wide phone lens to a portrait lens."""

SHIFT_GUESSES = (-0.9, -0.6, -0.3, 0.0, 0.3, 0.6, 0.9)
"""Lens shifts tried for a projector, over the picture's height: lens shift moves the principal
point to an edge of the picture or beyond, and which edge is unknown beforehand."""

THROW_GUESSES = (0.5, 0.9, 1.4, 2.2)
"""Throw ratios tried where a photo's homography gives none."""

START_NOISE = 0.25
"""How well points are known where only a start is sought, mm."""


def first_vector(model: ResidualModel, observations: tuple[PhotoObservation, ...]) -> Array:
    """Return the long vector with cameras and poses set; cards lie as planned.

    Raises
    ------
    Refusal
        If a photo's cards do not fix the photo's view.
    """
    layout = model.layout
    vector = np.zeros(layout.size)
    vector[layout.projector] = Pinhole(1.0, 0.0, 0.0).vector
    views = [_view(model, k, o) for k, o in enumerate(observations)]
    for index, _ in enumerate(model.cameras):
        mine = [k for k, seen in enumerate(model.photos) if seen.camera == index]
        size = np.array(observations[mine[0]].size, dtype=np.float64)
        centre = (size - 1) / 2
        hints = [o.focal_hint for k, o in enumerate(observations) if k in mine and o.focal_hint]
        guesses = hints[:1] or list(FOCAL_GUESSES * size.max())
        lens = [Pinhole(float(f), float(centre[0]), float(centre[1])) for f in guesses]
        best = min(lens, key=lambda each: sum(_non_rigidity(each, views[k]) for k in mine))
        vector[layout.camera(index)] = best.vector[:9]
        for k in mine:
            height = model.levels[model.photos[k].level]
            vector[layout.pose(k)] = pose_from_homography(best, views[k], height).vector[9:]
    return vector


def _view(model: ResidualModel, photo: int, observation: PhotoObservation) -> Homography:
    """Return photo_from_platen at the height of the photo's cards."""
    seen = model.photos[photo]
    corners = np.array([plan.corners for plan in model.plans])
    try:
        return homography.fit(corners[seen.card, seen.corner], seen.card_pixels)
    except homography.DegeneratePointsError:
        raise Refusal(
            f"{observation.name}: too few corners of the cards were found to tell where the camera "
            "was; ",
            Remedy(RemedyKind.AGAIN, "take it again", observation.name),
            " with all cards in full view.",
        ) from None


def _non_rigidity(lens: Pinhole, view: Homography) -> float:
    """Return how far a homography is from a rigid view through a lens, free of scale."""
    columns = np.linalg.inv(lens.intrinsic_matrix) @ view
    a, b = columns[:, 0], columns[:, 1]
    size = float(a @ a + b @ b)
    return (2 * float(a @ b) / size) ** 2 + (float(a @ a - b @ b) / size) ** 2


def pose_from_homography(lens: Pinhole, view: Homography, height: float = 0.0) -> Pinhole:
    """Return the pinhole, with the intrinsics of `lens`, whose view of a plane is `view`.

    Zhang (2000), section 3.1, with the nearest rotation by singular values.

    Parameters
    ----------
    lens : Pinhole
        Its intrinsics count.
    view : Homography
        ``pixel_from_platen`` at `height`.
    height : float
        mm above the bare platen.
    """
    columns = np.linalg.inv(lens.intrinsic_matrix) @ view
    columns /= (np.linalg.norm(columns[:, 0]) + np.linalg.norm(columns[:, 1])) / 2
    columns *= np.sign(columns[2, 2])
    a, b = columns[:, 0], columns[:, 1]
    left, _, right = np.linalg.svd(np.column_stack([a, b, np.cross(a, b)]))
    rotation = left @ np.diag([1, 1, np.linalg.det(left @ right)]) @ right
    return lens.moved(rotation, columns[:, 2] - height * rotation[:, 2])


def _projector_guesses(size: tuple[int, int], view: Homography) -> list[Pinhole]:
    """Return first projectors for every assumed lens shift, whose view of the platen is `view`.

    With the principal point assumed, the two constraints on a plane's homography
    (Zhang 2000, section 2.3) give the focal length; where they give none, several
    throw ratios are tried.

    Parameters
    ----------
    size : tuple of int
        The projector's picture, px.
    view : Homography
        ``projector_from_platen`` at height 0.
    """
    width, height = size
    guesses = []
    for shift in SHIFT_GUESSES:
        cx, cy = (width - 1) / 2, (height - 1) / 2 + shift * height
        focal = _focal(view, cx, cy)
        usable = focal is not None and 0.3 * width < focal < 5 * width
        for f in [focal] if usable and focal is not None else [t * width for t in THROW_GUESSES]:
            guesses.append(pose_from_homography(Pinhole(f, cx, cy), view))
    return guesses


def _focal(view: Homography, cx: float, cy: float) -> float | None:
    """Return the focal length that best makes a homography's axes square and of one length."""
    shifted = np.array([[1, 0, -cx], [0, 1, -cy], [0, 0, 1]]) @ view
    a, b = shifted[:, 0], shifted[:, 1]
    # (a0 b0 + a1 b1) / f^2 + a2 b2 = 0, and (a.a - b.b without z) / f^2 + a2^2 - b2^2 = 0
    known = np.array([a[:2] @ b[:2], a[:2] @ a[:2] - b[:2] @ b[:2]])
    depth = np.array([a[2] * b[2], a[2] ** 2 - b[2] ** 2])
    below = float(known @ known)
    inverse_square = -float(known @ depth) / below if below > 0 else 0.0
    return float(inverse_square**-0.5) if inverse_square > 0 else None


def first_projectors(
    crosses: Sequence[Cross], size: tuple[int, int], stated: Stated
) -> list[Pinhole]:
    """Return the likeliest projector for each sign of its lens shift, best first.

    One plane hardly tells the lens shift, not even its sign, and a start on the wrong
    side may end in a false minimum. So the joint fit is started from both sides.

    Parameters
    ----------
    crosses : sequence of Cross
        Known points and the pixels that light them.
    size : tuple of int
        The projector's picture, px.
    stated : Stated

    Raises
    ------
    Refusal
        If those on the bare platen are too few or lie on one line.
    """
    known = [cross for cross in crosses if np.all(np.isfinite(cross.point))]
    flat = [cross for cross in known if not cross.height]
    try:
        view = homography.fit([c.point for c in flat], [c.pixel for c in flat])
    except homography.DegeneratePointsError:
        raise Refusal(
            "Too little was seen of the light on the bare platen: project the pattern over the "
            "whole platen and ",
            Remedy(RemedyKind.ALL_AGAIN, "take the photo again"),
            ".",
        ) from None
    few = tuple(known[:: max(1, len(known) // 150)])
    model = ResidualModel((), (), (0.0,), (), np.zeros((0, 2)), few, size)
    free = projector_places(model, PROJECTOR_FREE)
    problem = FitProblem(
        model, projector_priors(model, size, stated), free, np.array([START_NOISE])
    )
    results = []
    for guess in _projector_guesses(size, view):
        start = np.zeros(model.layout.size)
        start[model.layout.projector] = guess.vector
        results.append(minimise(problem, start, 15))
    ranked = [
        model.projector(result.vector) for result in sorted(results, key=lambda each: each.cost)
    ]
    middle = (size[1] - 1) / 2
    others = [each for each in ranked if (each.cy < middle) != (ranked[0].cy < middle)]
    return [ranked[0], *others[:1]]


def observed_landings(model: ResidualModel, vector: Array) -> list[tuple[float, Points, Points]]:
    """Return, for each photo, where its pattern corners were seen to land.

    Returns
    -------
    list of (height, points, pixels)
        mm; platen frame, mm, shape (M, 2); projector px, shape (M, 2).
    """
    found = []
    for k, seen in enumerate(model.photos):
        height = model.height(vector, seen.level)
        points = model.camera(vector, k).unproject(seen.pattern_pixels, height)
        found.append((height, points, model.pattern[seen.pattern]))
    return found


def without_pattern(model: ResidualModel) -> ResidualModel:
    """Return the problem of the cameras and cards alone."""
    photos = tuple(seen.part(EVERYTHING, NOTHING) for seen in model.photos)
    return replace(model, photos=photos, crosses=())
