"""What a solution says of itself: how cards lay, on what heights rest, how sure the map is."""

from __future__ import annotations

import numpy as np

from calibration.model.pinhole import Array
from calibration.model.projector import ProjectorMap
from calibration.solve.edges import axes_seen
from calibration.solve.least_squares import FitProblem, weights
from calibration.solve.model_error import (
    estimate_without_prior,
    map_covariance,
    with_keystone_prior,
)
from calibration.solve.priors import (
    SPACER_HEIGHT_ERROR,
    card_pose_error,
    rests_on_bare_platen,
)
from calibration.solve.values import CardFit, Inherited, MapFit, Stated, frozen_matrix
from calibration.solve.zones import Zones

CARD_POSE_FREEDOM = 2.0
"""How many coordinates the stated laying error counts for, against five observed of four cards.
Simulated, cards laid up to three times worse than stated then lead to an accepted rig that is
over the tolerance in at most 2.5 % of all calibrations; cards laid well are hardly punished."""


def observed_card_pose_error(
    problem: FitProblem, vector: Array, stated: Stated
) -> tuple[float, float]:
    """Return the standard error of where a card lies, and the degrees of freedom behind it.

    The stated error is combined with the observed ones. Where cards lie relative to each
    other is observed precisely; by how much they are off together is not, unless the platen's
    edges are seen, but cards that lie well to each other were laid with care. The stated error
    counts as `CARD_POSE_FREEDOM` more coordinates (a scaled inverse chi-squared prior: Gelman
    et al., Bayesian Data Analysis, 3rd ed., section 2.6).
    """
    model = problem.model
    error, layout = card_pose_error(stated), model.layout
    bare = [k for k, height in enumerate(model.levels) if not height]
    cards = sorted({int(c) for seen in model.photos if seen.level in bare for c in seen.card})
    shifts = np.array([vector[layout.card_pose(level, k)][:2] for level in bare for k in cards])
    if len(shifts) < 2:
        return error, CARD_POSE_FREEDOM + 3 + 2 * len(model.crosses)
    squares = float(np.sum(shifts**2))
    # The cards' common shift and turn are not seen but against the edges.
    freedom = shifts.size - (0 if axes_seen(problem.priors) == 2 else 3)
    both = CARD_POSE_FREEDOM + freedom
    return float(np.sqrt((CARD_POSE_FREEDOM * error**2 + squares) / both)), both


def map_fit(
    problem: FitProblem,
    vector: Array,
    zones: tuple[Zones, ...],
    stated: Stated,
    inherited: Inherited | None,
    chosen: str,
    found: ProjectorMap,
) -> MapFit:
    """Gather what the solution says of itself."""
    model = problem.model
    layout = model.layout
    spread = map_covariance(problem, vector, zones, stated, inherited)
    raised = [height for height in model.levels if height]
    if raised:
        origin = f"photos of cards raised by {' and '.join(f'{h:g} mm' for h in raised)}"
    elif stated.lens is not None:
        origin = "the measured lens position"
    elif inherited is not None:
        origin = "the projector's lens as it was calibrated before"
    else:
        origin = "the projector's solved pose"
    notes = []
    if rests_on_bare_platen(model, stated) and inherited is None:
        notes.append(
            "How light moves with height is told by the bare platen alone: that takes the "
            "projector's keystone correction to be off. A photo of the cards on a board would show."
        )
    if raised and inherited is None:
        slope = found.shift_per_height([plan.anchor for plan in model.plans])
        notes.append(
            f"{_heights_seen(problem, vector, zones)} "
            "For each mm that the board is truly higher or lower, "
            f"light lands up to {np.hypot(*slope.T).max():.1f} mm off on cloth as high, beyond the "
            "bound. Measure the board with callipers."
        )
    if axes_seen(problem.priors) == 2:
        notes.append(
            "The photos show the platen's own edges: a shift or turn that all cards share is "
            "taken out, and no touch-up is needed for it."
        )
    elif model.photos:
        notes.append(
            "The photos do not show the platen's own edges clearly, so that a shift or turn that "
            "all cards share is not seen. Leave the edges between the cards free of paper."
        )
    if model.photos and stated.bar is None:
        notes.append(
            "The printed bar was not measured: a platen 1 mm larger or smaller than stated puts "
            "light up to 1 mm off, beyond the bound. Measure the bar and the platen."
        )
    groups = model.groups
    photo_groups = groups < 2 * len(model.photos)
    freedom = observed_card_pose_error(problem, vector, stated)[1]
    return MapFit(
        model=chosen,
        height_from=origin,
        covariance=frozen_matrix(spread),
        noise=float(np.median(problem.noise[groups[photo_groups]]))
        if photo_groups.any()
        else float(problem.noise[-1]),
        freedom=int(freedom),
        print_scale=1.0 + float(vector[layout.scale]),
        cards=_card_fits(problem, vector),
        notes=tuple(notes),
    )


def _heights_seen(problem: FitProblem, vector: Array, zones: tuple[Zones, ...]) -> str:
    """Say how high the light itself sees the spacers on which heights rest."""
    model, said = problem.model, []
    for level, height in enumerate(model.levels):
        if not height:
            continue
        place = model.layout.height_error(level)
        (off, error), (_, keystone_error) = (
            estimate_without_prior(each, vector, zones, place, SPACER_HEIGHT_ERROR)
            for each in (problem, with_keystone_prior(problem, vector))
        )
        board = f"the board of {height:g} mm"
        if error >= height:
            said.append(f"{board}, whose height the light itself does not tell")
            continue
        doubt = f"± {2 * keystone_error:.1f} mm" if keystone_error < height else "not at all"
        said.append(
            f"{board}, which the light itself sees at {height + off:.1f} ± {2 * error:.1f} mm "
            f"({doubt} were some keystone correction left on)"
        )
    return f"Heights rest on {' and on '.join(said)}."


def _card_fits(problem: FitProblem, vector: Array) -> tuple[CardFit, ...]:
    """Return where each card was at each level."""
    model = problem.model
    weight = weights(problem, vector)[: len(model.groups)].reshape(-1, 2).min(axis=1)
    residuals = model.residuals(vector).reshape(-1, 2)
    owner = np.full((len(residuals), 2), -1)  # level and card of each corner
    millimetres = np.zeros(len(residuals))
    row = 0
    for k, seen in enumerate(model.photos):
        rows = slice(row, row + len(seen.card))
        owner[rows, 0], owner[rows, 1] = seen.level, seen.card
        height = model.height(vector, seen.level)
        camera = model.camera(vector, k)
        points = camera.unproject(seen.card_pixels, height)
        solved = camera.unproject(seen.card_pixels + residuals[rows], height)
        millimetres[rows] = np.linalg.norm(solved - points, axis=1)
        row += len(seen.card) + len(seen.pattern)
    fits = []
    for level, height in enumerate(model.levels):
        for index, plan in enumerate(model.plans):
            mine = (owner[:, 0] == level) & (owner[:, 1] == index)
            if not mine.any():
                continue
            x, y, turn = (float(v) for v in vector[model.layout.card_pose(level, index)])
            root_mean_square = float(np.sqrt(np.mean(millimetres[mine] ** 2)))
            used = int(np.sum(weight[mine] > 0.5))
            fits.append(CardFit(plan.name, height, (x, y), turn, root_mean_square, used))
    return tuple(fits)
