"""Is a solved calibration to be trusted? Each check refuses with what to do better.

The order matters, since one fault causes others: a card that lies wrong is told before the
noise that it causes, and noise before the bound that it widens.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from calibration.geometry import PlatenFace
from calibration.model.pinhole import Array, Pinhole
from calibration.model.uncertainty import Worst, place_in_words, worst
from calibration.refusal import Phrase, Refusal, Remedy, RemedyKind
from calibration.solve.advice import PRESS_FLAT, too_wide
from calibration.solve.fit import Solution, solve_plans
from calibration.solve.least_squares import minimise
from calibration.solve.model_error import estimate_without_prior
from calibration.solve.models import KEYSTONED
from calibration.solve.photo_corners import NOTHING
from calibration.solve.priors import PRINT_SCALE_ERROR, SPACER_HEIGHT_ERROR
from calibration.solve.residuals import ResidualModel
from calibration.solve.values import CardFit

CARD_SHIFT_LIMIT = 3.0
"""A card may lie off by this many times what the operator stated. Beyond that something is wrong,
which solving for the cards' places must not hide."""

SCALE_LIMIT = 0.0015
"""Print scale, less 1, beyond which (plus its standard error) the bar must be measured. A platen
stated 2 mm too large or small looks like a print scale of 0.0045, give or take what printers
differ by, and nothing else shows it."""

BAR_LIMIT = 0.003
"""How far the print scale may be from the measured bar: three times the bar's error."""

SPACER_LIMIT = 2.2
"""How many standard errors, of the statement and of the light together, a spacer's height may be
from the stated one. One true statement in 36 is farther off, and is measured once more. On many
benches the light tells the height to 0.2 to 0.6 mm, on some only to 2 mm: there an error of 2 mm
may pass, and the report says how well the height is told."""

TURN_LIMIT = math.radians(4.0)
"""A card may lie turned by this, radians: one that is flush with an edge cannot be."""

BLUR_LIMIT = 0.35
"""Largest corner noise, mm on the platen; a sharp 1080p photo has 0.05."""

CROSS_LIMIT = 4.0
"""A cross may be off by this many times what the operator stated."""

DISAGREEMENT = 2.5
"""How many times noisier a photo may be together with the others than alone."""


HELD_OUT_LIMIT = 1.6
"""How many times farther off held-out corners may be than fitted ones."""

HELD_OUT_LEAST = 0.05
"""Held-out corners nearer than this, mm, are near enough whatever the ratio. In a sharp photo
even and odd corners differ by a fiftieth of a pixel, since each kind has its own colours."""

HOW_HIGH = Remedy(RemedyKind.SPACER, "measure how high the cards' face is above the platen")


def examine(solution: Solution, face: PlatenFace) -> tuple[Worst, ...]:
    """Return the worst point at each height the operator asked for, or refuse the calibration.

    Parameters
    ----------
    solution : Solution
    face : PlatenFace

    Raises
    ------
    Refusal
        What is wrong first of all, and what to do.
    """
    _check_cards(solution)
    if any(photo.raised for photo in solution.photos):
        _check_keystone(solution)  # a spacer of another height would mislead the checks below
    _check_scale(solution)
    _check_crosses(solution, face)
    _check_photos(solution)
    _check_sensible(solution)
    _check_keystone(solution)
    _check_spacers(solution)
    if solution.photos:
        _check_held_out(solution)
    fit, stated = solution.fit, solution.stated
    found = worst(solution.map, fit.matrix, fit.freedom, face, stated.heights)
    over = max(found, key=lambda each: each.bound)
    if over.bound > stated.tolerance:
        raise too_wide(solution, face, stated.tolerance, over)
    return found


def _check_sensible(solution: Solution) -> None:
    """Refuse a lens where no projector stands: the fit has diverged."""
    lens = solution.map.pinhole.lens
    if not (np.all(np.isfinite(lens)) and 100 < lens[2] < 20_000):
        raise Refusal(
            "The photos do not fit any projector above the platen: check that the platen's size "
            "and the projector's resolution are the true ones, and ",
            Remedy(RemedyKind.ALL_AGAIN, "take the photos again"),
            ".",
        )


def _check_cards(solution: Solution) -> None:
    bare = {fit.name for fit in solution.fit.cards if not fit.raised}
    missing = [plan.name for plan in solution.plans if plan.name not in bare]
    if solution.photos and len(bare) < 3:
        raise Refusal(
            f"Only {len(bare)} of {len(solution.plans)} cards are seen on the bare platen: bring "
            f"{_listed(missing)} into view and ",
            Remedy(RemedyKind.ONE_MORE, "take the photo again"),
            ".",
        )
    fit = _misplaced_card(solution)
    if fit is None:
        return
    _check_bar(solution)
    again = RemedyKind.SPACER_AGAIN if fit.raised else RemedyKind.ALL_AGAIN
    raise Refusal(
        f"{describe_card_pose(fit)}: lay it flush with the platen's edges, check that the "
        "platen's size is the true one, and ",
        Remedy(again, "take the photos again"),
        ".",
    )


def _misplaced_card(solution: Solution) -> CardFit | None:
    """Return the first card that lies too far from its place, if one does."""
    limit = CARD_SHIFT_LIMIT * solution.stated.laid
    for fit in solution.fit.cards:
        if math.hypot(*fit.shift) > limit or abs(fit.turn) > TURN_LIMIT:
            return fit
    return None


def _check_bar(solution: Solution) -> None:
    """Refuse a stated bar if every card lies in its place once the bar is left out.

    A bar that is wrong by a percent moves cards by centimetres. Only solving the same photos
    without it tells that from cards laid wrong.
    """
    bar = solution.stated.bar
    if bar is None:
        return
    without_bar = _solved_without_bar(solution)
    if (
        _misplaced_card(without_bar) is None
        and abs(without_bar.fit.print_scale - bar / 100) > BAR_LIMIT
    ):
        raise _bar_contradicted(bar, without_bar)


def _solved_without_bar(solution: Solution) -> Solution:
    """Return the same photos solved without the stated bar."""
    model = solution.problem.model
    return solve_plans(
        solution.photos,
        solution.plans,
        model.pattern,
        solution.map.size,
        replace(solution.stated, bar=None),
        model.crosses,
        solution.inherited,
    )


def _bar_contradicted(bar: float, without_bar: Solution) -> Refusal:
    seen = 100 * without_bar.fit.print_scale
    return Refusal(
        f"By their bar the cards are printed at {bar:.1f} %, by the photos at {seen:.1f} %: ",
        Remedy(RemedyKind.BAR, "measure the bar again"),
        ", and the platen.",
    )


def _check_scale(solution: Solution) -> None:
    """Refuse cards whose size contradicts their distances, or the stated bar."""
    if not solution.photos:
        return
    seen, bar = solution.fit.print_scale, solution.stated.bar
    place = solution.problem.model.layout.scale
    growth, error = estimate_without_prior(
        solution.problem, solution.vector, solution.zones, place, PRINT_SCALE_ERROR
    )
    if bar is None and abs(growth) > SCALE_LIMIT + error:
        larger, smaller = ("larger", "smaller") if growth > 0 else ("smaller", "larger")
        raise Refusal(
            f"The cards look {100 * abs(growth):.1f} % {larger} than drawn, or the platen is "
            f"{smaller} than stated: ",
            Remedy(RemedyKind.BAR, "measure the printed 100 mm bar"),
            " and the platen.",
        )
    if bar is not None and abs(seen - bar / 100) > BAR_LIMIT:
        raise _bar_contradicted(bar, _solved_without_bar(solution))


def _check_spacers(solution: Solution) -> None:
    """Refuse a spacer whose stated height the light contradicts."""
    model = solution.problem.model
    for level, height in enumerate(model.levels):
        if not height:
            continue
        place = model.layout.height_error(level)
        off, error = estimate_without_prior(
            solution.problem, solution.vector, solution.zones, place, SPACER_HEIGHT_ERROR
        )
        if abs(off) > SPACER_LIMIT * math.hypot(error, SPACER_HEIGHT_ERROR):
            raise Refusal(
                f"The light on the board does not lie as it would {height:g} mm up: ",
                HOW_HIGH,
                ", and make sure that the projector's keystone correction is off.",
            )


def _check_keystone(solution: Solution) -> None:
    """Refuse a picture that is bent as by keystone: behind it, photos hide where the lens is."""
    if solution.fit.model != KEYSTONED or solution.stated.lens is not None:
        return
    if solution.zones[0].palpable:
        off = solution.zones[0].unevenness
        raise Refusal(
            f"The light lies up and down by {off:.2f} mm from one part of the platen to the next, "
            "as on an uneven face: ",
            *PRESS_FLAT,
            ".",
        )
    put_right: tuple[Phrase, ...] = (
        "the projector's keystone correction is off, and ",
        Remedy(RemedyKind.ALL_AGAIN, "take the photos again"),
        "; if it is off, or must stay on, ",
        Remedy(RemedyKind.LENS, "measure where the lens is"),
        ".",
    )
    raised = sorted({photo.raised for photo in solution.photos if photo.raised})
    if raised:
        high = " and ".join(f"{height:g}" for height in raised)
        raise Refusal(
            f"The light does not fit a plain lens and a board {high} mm high: ",
            HOW_HIGH,
            ", make sure that nothing moved and that ",
            *put_right,
        )
    raise Refusal(
        "The photos do not fit a plain projector lens: make sure that ",
        *put_right,
    )


def describe_card_pose(fit: CardFit) -> str:
    """Say where a card lies: "The front-left card lies 4.0 mm to the right of its place"."""
    x, y = fit.shift
    ways = [
        f"{abs(x):.1f} mm to the {'right' if x > 0 else 'left'}" if abs(x) >= 0.25 else "",
        f"{abs(y):.1f} mm to the {'back' if y > 0 else 'front'}" if abs(y) >= 0.25 else "",
    ]
    said = " and ".join(way for way in ways if way)
    said = f"lies {said} of its place" if said else "lies in its place"
    if abs(fit.turn) >= math.radians(0.25):
        said += f", turned {abs(math.degrees(fit.turn)):.1f}° "
        said += "counter-clockwise" if fit.turn > 0 else "clockwise"
    board = f" on the board at {fit.raised:g} mm" if fit.raised else ""
    return f"The {fit.name} card{board} {said}"


def _check_crosses(solution: Solution, face: PlatenFace) -> None:
    model = solution.problem.model
    rows = model.groups == 2 * len(model.photos)
    off = np.linalg.norm(model.residuals(solution.vector)[rows].reshape(-1, 2), axis=1)
    if len(off) and off.max() > CROSS_LIMIT * solution.stated.nudge:
        cross = model.crosses[int(np.argmax(off))]
        raise Refusal(
            f"The cross at {place_in_words(cross.point, face)} is {off.max():.1f} mm off from what "
            "the others say: set it on its mark again, or measure where the mark is."
        )


def pixel_on_platen(camera: Pinhole) -> float:
    """Return the size of a photo pixel on the middle of the platen, mm."""
    _, _, by_point = camera.jacobian([[0.0, 0.0, 0.0]])
    return float(abs(np.linalg.det(by_point[0, :, :2])) ** -0.5)


def _check_photos(solution: Solution) -> None:
    """Refuse a blurred photo, and photos that are each good but disagree."""
    model = solution.problem.model
    together = _scatter(model, solution.vector)
    alone = together.copy()
    for index, _ in enumerate(solution.photos if len(solution.photos) > 1 else ()):
        problem = replace(solution.problem, model=_only_photo(model, index))
        vector = minimise(problem, solution.vector, 12).vector
        mine = slice(2 * index, 2 * index + 2)
        alone[mine] = _scatter(problem.model, vector)[mine]
    pixels = [pixel_on_platen(solution.camera(k)) for k in range(len(solution.photos))]
    scale = np.repeat(pixels, 2)
    if np.max(alone * scale, initial=0.0) > BLUR_LIMIT:
        k = int(np.argmax(alone * scale))
        raise Refusal(
            f"Corners in {solution.photos[k // 2].name} scatter by {(alone * scale)[k]:.2f} mm: it "
            "is blurred, or a card is not flat; hold the camera still, press the cards flat, ",
            Remedy(RemedyKind.AGAIN, "take it again", solution.photos[k // 2].name),
            ".",
        )
    ratio = np.where(together * scale > 0.1, together / np.maximum(alone, 1e-3), 0.0)
    if np.max(ratio, initial=0.0) > DISAGREEMENT:
        photo = solution.photos[int(np.argmax(ratio)) // 2]
        if photo.raised:
            other, how_high = f"its board is not {photo.raised:g} mm high", "measure the board"
        else:
            other, how_high = "a photo shows the cards on a board", "say how high that is"
        raise Refusal(
            f"{photo.name} does not agree with the other photos: the projector, the platen or a "
            f"card has moved between them, or {other}; ",
            Remedy(RemedyKind.SPACER, how_high),
            ", or ",
            Remedy(RemedyKind.SINCE_MOVED, "take all photos again without touching anything"),
            ".",
        )


def _scatter(model: ResidualModel, vector: Array) -> Array:
    """Return how far corners scatter in each photo's groups, px, shape (groups less 1,).

    From the median, as a standard deviation of one coordinate: a few false corners, to
    which the fit gives no weight, are no reason to refuse a photo.
    """
    residuals = np.abs(model.residuals(vector))
    groups = range(2 * len(model.photos))
    return np.array([_median(residuals[model.groups == group]) * 1.4826 for group in groups])


def _median(values: Array) -> float:
    return float(np.median(values)) if len(values) else 0.0


def _only_photo(model: ResidualModel, photo: int) -> ResidualModel:
    """Return the problem of one photo, in the same layout."""
    photos = tuple(
        seen if k == photo else seen.part(NOTHING, NOTHING) for k, seen in enumerate(model.photos)
    )
    return replace(model, photos=photos, crosses=())


def _check_held_out(solution: Solution) -> float:
    """Return how far off the odd corners are when only the even ones were fitted, photo px.

    Raises
    ------
    Refusal
        If that is much farther than corners that took part in the fit.
    """
    model = solution.problem.model
    even, odd = (_half(model, remainder) for remainder in (0, 1))
    vector = minimise(replace(solution.problem, model=even), solution.vector, 15).vector
    unseen = float(np.median(np.abs(odd.residuals(vector))))
    fitted = float(np.median(np.abs(odd.residuals(solution.vector))))
    pixel = max(pixel_on_platen(solution.camera(k)) for k in range(len(solution.photos)))
    if unseen > HELD_OUT_LIMIT * fitted and unseen * pixel > HELD_OUT_LEAST:
        raise Refusal(
            "Half of the points do not foretell the other half: the photos show too few corners; ",
            Remedy(RemedyKind.ONE_MORE, "take one more photo"),
            ", nearer and with the whole platen in it.",
        )
    return unseen


def _half(model: ResidualModel, remainder: int) -> ResidualModel:
    """Return the problem of the corners with even or odd numbers."""
    photos = tuple(
        seen.part(seen.corner % 2 == remainder, seen.pattern % 2 == remainder)
        for seen in model.photos
    )
    return replace(model, photos=photos)


def _listed(names: Sequence[str]) -> str:
    return (
        names[0]
        if len(names) == 1
        else ", ".join(names[:-1]) + " and " + names[-1]
        if names
        else ""
    )
