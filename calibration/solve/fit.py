"""From observations to the map that puts light where it is meant: joint least squares.

One fit explains every photo at once: each camera's lens, a camera pose per photo, the
projector as a pinhole with its lens, where each card truly was, the print's scale and
each spacer under raised cards. The place of a card is an unknown because cards are laid by
hand: their *size* is known far better than their place, so the map takes its shape from
the former and only its mean position from the latter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calibration.geometry import PlatenFace, Points, xy_tuple
from calibration.model.pinhole import Array, Pinhole
from calibration.model.projector import ProjectorMap
from calibration.observations import PhotoObservation
from calibration.refusal import Refusal
from calibration.solve.edges import edge_priors
from calibration.solve.findings import map_fit, observed_card_pose_error
from calibration.solve.initial import (
    first_projectors,
    first_vector,
    observed_landings,
    without_pattern,
)
from calibration.solve.least_squares import (
    NEARLY,
    SETTLED,
    FitProblem,
    Result,
    minimise,
    noise_left,
)
from calibration.solve.models import explain
from calibration.solve.priors import (
    bow_priors,
    bows,
    camera_priors,
    card_pose_error,
    card_priors,
    free_unknowns,
    plain_lens,
    projector_priors,
)
from calibration.solve.residuals import ResidualModel
from calibration.solve.values import (
    CardPlan,
    Cross,
    Inherited,
    LaidCard,
    MapFit,
    Stated,
)
from calibration.solve.zones import Zones, zones_by_level
from calibration.targets.pattern import Pattern

FIRST_NOISES = (8.0, 0.5)
"""Corner noise assumed before the residuals tell it, px. First a large one: cards are still
taken to lie where planned, and true corners must not count as false. Then a fair photo's."""

TRIAL_STEPS, TRIAL_RATIO = 10, 2.0
"""A start is let go if after so many steps it costs so many times as much as the best one. The
true start of 14 random benches had arrived by then; the other crawled along a valley, 3 to 900
times as dear (2.6 on the sample photos), and took two thirds of the whole solution's time."""


@dataclass(frozen=True, eq=False)
class Solution:
    """A solved calibration, with everything that led to it.

    Attributes
    ----------
    map : ProjectorMap
    fit : MapFit
    photos : tuple of PhotoObservation
    plans : tuple of CardPlan
    stated : Stated
    inherited : Inherited or None
    problem : FitProblem
    vector : ndarray
        The solved long vector (see `parameters.Layout`).
    zones : tuple of Zones
        How far zones of the light are off, at each level.
    """

    map: ProjectorMap
    fit: MapFit
    photos: tuple[PhotoObservation, ...]
    plans: tuple[CardPlan, ...]
    stated: Stated
    inherited: Inherited | None
    problem: FitProblem
    vector: Array
    zones: tuple[Zones, ...]

    def camera(self, photo: int) -> Pinhole:
        """Return the solved camera of a photo, in its pose."""
        return self.problem.model.camera(self.vector, photo)

    def residuals(self, photo: int) -> tuple[Points, Points]:
        """Return solved less seen of a photo's card and pattern corners, px, shapes (N, 2)."""
        groups = self.problem.model.groups
        every = self.problem.model.residuals(self.vector)
        cards, pattern = every[groups == 2 * photo], every[groups == 2 * photo + 1]
        return cards.reshape(-1, 2), pattern.reshape(-1, 2)


def solve(
    observations: Sequence[PhotoObservation],
    cards: Sequence[LaidCard],
    pattern: Pattern,
    face: PlatenFace,
    stated: Stated | None = None,
) -> Solution:
    """Return the projector map that explains the photos best, and how well it is known.

    Parameters
    ----------
    observations : sequence of PhotoObservation
        At least one with the cards on the bare platen (`raised` 0).
    cards : sequence of Card
        The cards, where they are meant to lie.
    pattern : Pattern
        What the projector showed.
    face : PlatenFace
        The platen.
    stated : Stated, optional
        What the operator measured.

    Raises
    ------
    Refusal
        If the photos do not fix the map. Whether the map is good enough is another
        question: see `acceptance.examine`.
    """
    plans = [CardPlan.of(card) for card in cards]
    pixels = pattern.pixels(np.arange(pattern.count))
    return solve_plans(observations, plans, pixels, pattern.size, stated or Stated())


def solve_plans(
    observations: Sequence[PhotoObservation],
    plans: Sequence[CardPlan],
    pattern: Points,
    size: tuple[int, int],
    stated: Stated,
    crosses: Sequence[Cross] = (),
    inherited: Inherited | None = None,
) -> Solution:
    """Solve from what a rig file keeps; parameters as in `solve`.

    Parameters
    ----------
    pattern : ndarray, shape (K, 2)
        Projector px of the pattern's corners by index.
    size : tuple of int
        The projector's picture, px.
    crosses : sequence of Cross
        Crosses moved by hand, beside or instead of photos.
    inherited : Inherited, optional
        What is known of the projector from an earlier calibration.
    """
    photos = tuple(observations)
    if photos and all(photo.raised for photo in photos):
        raise Refusal(
            "Every photo is of raised cards: add at least one with the cards on the bare platen."
        )
    model = ResidualModel.of(photos, plans, pattern, size, crosses)
    error = card_pose_error(stated)
    base = [
        *camera_priors(model, photos),
        *projector_priors(model, size, stated, inherited),
        *bow_priors(model, inherited),
    ]
    free = free_unknowns(model)
    noises = [np.append(np.full(2 * len(photos), n), stated.nudge / 2) for n in FIRST_NOISES]

    vector = first_vector(model, photos)
    problem = FitProblem(model, [*base, *card_priors(model, stated, error)], free, noises[-1])
    # Cards alone say nothing of a face's bow: that is freed once the pattern joins.
    cards_only = replace(problem, model=without_pattern(model), free=free & ~bows(model))
    for noise in noises if photos else ():
        vector = minimise(replace(cards_only, noise=noise), vector, change=NEARLY).vector
    starts = _starts(model, vector, size, stated, inherited)
    edges = edge_priors(model, vector, photos, stated)
    base += edges
    free[model.layout.edges] = bool(edges)
    problem = replace(
        problem,
        priors=[*edges, *problem.priors],
        free=free | plain_lens(model, inherited),
    )
    result = _best(problem, starts)
    free = problem.free
    for change in (NEARLY, SETTLED):
        noise = noise_left(problem, result.vector)
        error, _ = observed_card_pose_error(problem, result.vector, stated)
        problem = FitProblem(model, [*base, *card_priors(model, stated, error)], free, noise)
        result = minimise(problem, result.vector, change=change)

    zones = zones_by_level(problem, result.vector)
    chosen = explain(problem, result.vector, zones, inherited is not None)
    if chosen.problem is not problem:
        zones = zones_by_level(chosen.problem, chosen.vector)
    problem, vector = chosen.problem, chosen.vector

    found = ProjectorMap(size, model.projector(vector), model.bow(vector, 0))
    return Solution(
        found,
        map_fit(problem, vector, zones, stated, inherited, chosen.model, found),
        photos,
        tuple(plans),
        stated,
        inherited,
        problem,
        vector,
        zones,
    )


def _starts(
    model: ResidualModel,
    vector: Array,
    size: tuple[int, int],
    stated: Stated,
    inherited: Inherited | None,
) -> list[Array]:
    """Return the vector with the projector set, in one likely way or two."""
    if inherited is not None:
        start = vector.copy()
        start[model.layout.map] = inherited.mean
        return [start]
    # Once the cameras are known, each observed landing is a cross on a known point.
    crosses = [*model.crosses]
    for height, points, pixels in observed_landings(model, vector):
        pairs = zip(xy_tuple(points), xy_tuple(pixels), strict=True)
        crosses.extend(Cross(point, pixel, height) for point, pixel in pairs)
    found = first_projectors(crosses, size, stated)
    starts = np.tile(vector, (len(found), 1))
    starts[:, model.layout.projector] = [pinhole.vector for pinhole in found]
    return list(starts)


def _best(problem: FitProblem, starts: Sequence[Array]) -> Result:
    """Return the cheapest minimum that the starts lead to."""
    tried = [minimise(problem, start, TRIAL_STEPS, NEARLY) for start in starts]
    least = min(each.cost for each in tried)
    near = [each for each in tried if each.cost <= TRIAL_RATIO * least]
    ended = (minimise(problem, each.vector, change=NEARLY) for each in near)
    return min(ended, key=lambda each: each.cost)
