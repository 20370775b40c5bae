"""What is known before any photo is looked at, and how well."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration.model.pinhole import INTRINSIC, PARAMETERS
from calibration.observations import PhotoObservation
from calibration.solve.least_squares import CARD_ROBUST_SCALE, GaussianPrior, LensPrior, Prior
from calibration.solve.parameters import places_of
from calibration.solve.residuals import ResidualModel
from calibration.solve.values import CardPlan, Inherited, Stated

# Cameras, as shares of the photo's longer side. Phones write their focal length as a whole
# 35-mm equivalent (26 mm: 2 %) and crop for stabilisation, which also walks the principal point.
CAMERA_FOCAL, CAMERA_FOCAL_ERROR = 0.85, 0.35
CAMERA_HINT_ERROR = 0.05
CAMERA_CENTRE_ERROR = 0.015
CAMERA_RADIAL_ERROR = 0.3
CAMERA_TANGENTIAL_ERROR = 5e-4
# How photos of one camera differ. The shift also covers a camera held upside down, whose upright
# picture has its principal point mirrored.
PHOTO_FOCAL_ERROR = 1e-3
PHOTO_CENTRE_ERROR = 0.003

# Projectors, as shares of the picture's width (throw ratio, sideways shift) or height.
THROW, THROW_ERROR = 1.4, 0.5
THROW_STATED_ERROR = 0.05
SIDE_SHIFT_ERROR = 0.02
LENS_SHIFT_ERROR = 0.6
PROJECTOR_RADIAL_ERROR = 0.02
"""Half a percent of the picture's height at a corner. A real projector that was looked at has
-0.11 (Gray-code captures of two planes)."""
UNUSUAL = 2.0
"""Robust scale of that: most projectors hardly bend straight lines, and some do, which photos may
show (Cauchy's loss stands for the long tails)."""
PROJECTOR_TANGENTIAL_ERROR = 0.003
"""A lens whose elements are not quite centred, or stand askew to the panel (from memory)."""
ASPECT_ERROR = 0.3
SKEW_ERROR = 0.3

PRINT_SCALE_ERROR = 0.003
"""Office printers come out within about 0.5 % (common practice, no source): two standard errors
and a little more."""
BAR_ERROR = 0.001
"""A 100 mm bar read to 0.2 mm with a steel rule, as two standard errors."""
SPACER_SHIFT_ERROR, SPACER_TURN_ERROR = 1.0, 0.01
"""How a spacer lies on the platen, mm and radians: flush with its edges by eye. The surer that
is, the better the light can tell the spacer's height. One that lies far off is given little
weight (`CARD_ROBUST_SCALE`)."""
SPACER_HEIGHT_ERROR = 0.15
"""How well the spacer's stated height is known, mm."""
BOW_ERROR = 0.06
"""How far a press's platen or a spacer is from flat, mm at 100 mm from its middle: a quarter of
a millimetre at the edges (common practice, no source)."""
BOW_YY = len(PARAMETERS) + 2
"""Where the bow's last term stands among a map's parameters."""
LENS_ERROR = 10.0
"""How well a lens is found with a tape measure, mm."""


def card_pose_error(stated: Stated) -> float:
    """Return the standard error of where a card lies, mm, as stated."""
    return stated.laid / 2


def camera_priors(model: ResidualModel, observations: Sequence[PhotoObservation]) -> list[Prior]:
    """Return what is known of each camera's lens."""
    priors: list[Prior] = []
    for index, key in enumerate(model.cameras):
        photos = [o for o in observations if o.camera == key]
        start = model.layout.camera(index).start
        width, height = photos[0].size
        long = max(width, height)
        hints = [o.focal_hint for o in photos if o.focal_hint]
        focal = float(np.mean(hints)) if hints else CAMERA_FOCAL * long
        error = CAMERA_HINT_ERROR * focal if hints else CAMERA_FOCAL_ERROR * long
        centre = CAMERA_CENTRE_ERROR * long
        mean = [focal, (width - 1) / 2, (height - 1) / 2, 0, 0, 0, 0]
        errors = [error, centre, centre, *[CAMERA_RADIAL_ERROR] * 2, *[CAMERA_TANGENTIAL_ERROR] * 2]
        priors.append(GaussianPrior.each(start + np.arange(7), mean, errors))
    for photo, observation in enumerate(observations):
        block = model.layout.photo_intrinsics(photo)
        centre = PHOTO_CENTRE_ERROR * max(observation.size)
        errors = [PHOTO_FOCAL_ERROR, centre, centre]
        priors.append(GaussianPrior.each(places_of(block), 0.0, errors))
    return priors


def card_priors(model: ResidualModel, stated: Stated, error: float) -> list[Prior]:
    """Return what is known of the cards: how they lie, how large they are, how high the spacer is.

    Parameters
    ----------
    error : float
        Standard error of where a card lies as observed, mm. The robust scale goes by the stated
        one: however badly cards lie, the worst must not shift the others.
    """
    layout = model.layout
    robust_scale = CARD_ROBUST_SCALE * card_pose_error(stated) / error
    priors: list[Prior] = []
    for level, height in enumerate(model.levels):
        for k, plan in enumerate(model.plans):
            errors = [error, error, error / _half_side(plan)]
            places = places_of(layout.card_pose(level, k))
            priors.append(GaussianPrior.each(places, 0.0, errors, robust_scale))
        if height:
            errors = [SPACER_SHIFT_ERROR, SPACER_SHIFT_ERROR, SPACER_TURN_ERROR]
            places = places_of(layout.spacer_pose(level))
            priors.append(GaussianPrior.each(places, 0.0, errors, CARD_ROBUST_SCALE))
            priors.append(GaussianPrior.each(layout.height_error(level), 0.0, SPACER_HEIGHT_ERROR))
    measured = stated.bar is not None
    mean = stated.bar / 100.0 - 1.0 if stated.bar is not None else 0.0
    priors.append(
        GaussianPrior.each(layout.scale, mean, BAR_ERROR if measured else PRINT_SCALE_ERROR)
    )
    return priors


def bow_priors(model: ResidualModel, inherited: Inherited | None = None) -> list[Prior]:
    """Return how flat the platen and spacers are, unless an earlier calibration tells it."""
    layout = model.layout
    told = inherited is not None and inherited.covariance[BOW_YY][BOW_YY] > 0
    levels = range(1 if told else 0, layout.levels)
    return [GaussianPrior.each(places_of(layout.bow(level)), 0.0, BOW_ERROR) for level in levels]


def projector_priors(
    model: ResidualModel,
    size: tuple[int, int],
    stated: Stated,
    inherited: Inherited | None = None,
) -> list[Prior]:
    """Return what is known of the projector: from an earlier calibration, or as projectors are."""
    if inherited is not None:
        spread = np.array(inherited.covariance)
        known = np.flatnonzero(np.diag(spread) > 0)
        # The inverse of the Cholesky factor whitens.
        root = np.linalg.inv(np.linalg.cholesky(spread[np.ix_(known, known)]))
        places = model.layout.map[known]
        return [GaussianPrior(places, np.array(inherited.mean)[known], root)]
    width, height = size
    throw = THROW if stated.throw is None else stated.throw
    error = THROW_ERROR if stated.throw is None else THROW_STATED_ERROR * stated.throw
    about = {
        "focal": (throw * width, error * width),
        "cx": ((width - 1) / 2, SIDE_SHIFT_ERROR * width),
        "cy": ((height - 1) / 2, LENS_SHIFT_ERROR * height),
        "p1": (0.0, PROJECTOR_TANGENTIAL_ERROR),
        "p2": (0.0, PROJECTOR_TANGENTIAL_ERROR),
        "aspect": (1.0, ASPECT_ERROR),
        "skew": (0.0, SKEW_ERROR * throw * width),
    }
    projector = model.layout.projector
    usual, radial = (
        projector.start + np.array([INTRINSIC.index(name) for name in names])
        for names in (about, ("k1", "k2"))
    )
    means, errors = zip(*about.values(), strict=True)
    priors: list[Prior] = [
        GaussianPrior.each(usual, means, errors),
        GaussianPrior.each(radial, 0.0, PROJECTOR_RADIAL_ERROR, UNUSUAL),
    ]
    if stated.lens is not None:
        priors.append(LensPrior(projector, np.array(stated.lens), LENS_ERROR))
    return priors


def free_unknowns(model: ResidualModel) -> NDArray[np.bool_]:
    """Return which unknowns of cameras, cards and faces the photos bear on, as a mask."""
    layout = model.layout
    free = np.zeros(layout.size, dtype=np.bool_)
    for index in range(layout.cameras):
        free[layout.camera(index)][:7] = True
    for photo, seen in enumerate(model.photos):
        free[layout.pose(photo)] = True
        alone = sum(other.camera == seen.camera for other in model.photos) == 1
        free[layout.photo_intrinsics(photo)] = not alone  # one photo cannot differ from itself
        for k in np.unique(seen.card):
            free[layout.card_pose(seen.level, int(k))] = True
        free[layout.bow(seen.level)] = True
        if model.levels[seen.level]:
            free[layout.spacer_pose(seen.level)] = True
            free[layout.height_error(seen.level)] = True
    free[layout.bow(0)] = True  # crosses stand on the platen, too
    free[layout.scale] = bool(model.photos)
    return free


def bows(model: ResidualModel) -> NDArray[np.bool_]:
    """Return a mask of the bows of all faces, shape (layout.size,)."""
    mask = np.zeros(model.layout.size, dtype=np.bool_)
    mask[model.layout.bow(0).start : model.layout.bow(model.layout.levels).start] = True
    return mask


PROJECTOR_FREE = ("focal", "cx", "cy", "k1", "k2", "rx", "ry", "rz", "tx", "ty", "tz")
"""A pinhole with square pixels and radial distortion."""

DECENTRED = ("p1", "p2")
"""Free as well for a lens that is not quite centred."""

KEYSTONE = ("aspect", "skew")
"""Free as well for oblong pixels or a picture with keystone correction."""


def projector_places(model: ResidualModel, names: Sequence[str]) -> NDArray[np.bool_]:
    """Return a mask of the projector's unknowns by name, shape (layout.size,)."""
    mask = np.zeros(model.layout.size, dtype=np.bool_)
    start = model.layout.projector.start
    mask[[start + PARAMETERS.index(name) for name in names]] = True
    return mask


def plain_lens(model: ResidualModel, inherited: Inherited | None = None) -> NDArray[np.bool_]:
    """Return a mask of what is free of a plain projector, shape (layout.size,).

    Of a lens known from an earlier calibration the centring is free if it was so then.
    """
    free = projector_places(model, PROJECTOR_FREE)
    if inherited is not None:
        was_free = np.zeros_like(free)
        was_free[model.layout.map] = np.diag(np.array(inherited.covariance)) > 0
        free |= was_free & projector_places(model, DECENTRED)
    return free


def rests_on_bare_platen(model: ResidualModel, stated: Stated) -> bool:
    """Tell whether nothing above the platen was seen or measured."""
    raised = any(model.levels) or any(cross.height for cross in model.crosses)
    return not raised and stated.lens is None


def _half_side(plan: CardPlan) -> float:
    """Return half the side of a square card, mm."""
    return float(np.hypot(*np.subtract(plan.centre, plan.anchor)) / np.sqrt(2))
