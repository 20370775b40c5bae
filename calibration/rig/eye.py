"""The fixed camera of a rig, from pictures of the bare platen under the projector's light."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.detect.known_light import EDGE, dots, on_face, pattern_on_face
from calibration.geometry import Points
from calibration.model.eye import Eye
from calibration.refusal import Refusal
from calibration.rig.file import Rig
from calibration.solve.eye import (
    FocalPrior,
    Sighting,
    best_axis,
    solve_eye,
    surface_bound,
    with_sentences,
)
from calibration.targets.pattern import Pattern

ENOUGH_CORNERS = 24
"""Fewer corners leave lens and place too open."""

ENOUGH_CROSSINGS = 150
"""Fewer crossings of lines are a strip of the platen, or are miscounted."""

MOST_BENT = 12.0
"""How far a webcam's lens may bend a plane's picture, px: what is farther off was miscounted."""

NOISIEST = 1.5
"""Scatter beyond which the pattern was not seen on one flat face, px."""

MOST_MOVED = 0.8
"""How far dots may lie from where the pattern has them before the camera was moved, px."""

_ENOUGH_BESIDE = 40
_FACE_SHARE = 0.7  # of the crossings that should lie on the face

HEIGHTS = (0.0, 20.0)
"""Heights above the platen for which the bound is stated, mm."""


@dataclass(frozen=True, eq=False)
class EyeView:
    """One burst's pictures of the bare platen that fix the camera.

    Attributes
    ----------
    name : str
        For messages.
    pattern : ndarray, shape (height, width, 3), uint8
        BGR, under the pattern.
    dark, white : ndarray, shape (height, width, 3), uint8
        BGR, without light and under white.
    dotted : ndarray, shape (height, width), float32, or None
        What the dots' light added, linear.
    raised : float
        Height of the lit face above the bare platen, mm.
    spots : (ndarray, ndarray), each of shape (N, 2), or None
        Where lines of light cross: px of the projector, and px of the picture.
    """

    name: str
    pattern: NDArray[np.uint8]
    dark: NDArray[np.uint8]
    white: NDArray[np.uint8]
    dotted: NDArray[np.float32] | None = None
    raised: float = 0.0
    spots: tuple[Points, Points] | None = None

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the pictures, px."""
        return int(self.pattern.shape[1]), int(self.pattern.shape[0])


def fit_eye(
    rig: Rig,
    views: Sequence[EyeView],
    dot_places: Points,
    prior: FocalPrior | None = None,
) -> Eye:
    """Return where a fixed camera stands and what lens it has.

    Parameters
    ----------
    rig : Rig
    views : sequence of EyeView
        At least one of the bare platen.
    dot_places : ndarray, shape (N, 2)
        Middles of the dots in the projector's picture, px.
    prior : FocalPrior, optional

    Raises
    ------
    Refusal
        If the pictures cannot tell: dark, washed out, too little of the pattern, of several
        sizes, or from a camera that moved.
    """
    size = views[0].size
    for view in views[1:]:
        if view.size != size:
            raise Refusal(
                f"The pictures in {view.name} have {view.size[0]} x {view.size[1]} pixels and "
                f"those in {views[0].name} {size[0]} x {size[1]}: take all with one setting of "
                "the camera."
            )
    if all(view.raised for view in views):
        raise Refusal("No pictures show the bare platen: take a burst without the board, too.")
    sightings = [_crossings(rig, view) or _corners(rig, view) for view in views]
    beside = [found for view in views if (found := _beside(rig, view)) is not None]
    try:
        eye, off = solve_eye(rig.projector, [*sightings, *beside], size, prior)
    except ArithmeticError:
        raise Refusal(
            f"What {views[0].name} shows fits no camera: take the burst again with nothing on "
            "the platen."
        ) from None
    if eye.noise > NOISIEST:
        raise Refusal(
            f"The pattern's corners lie {eye.noise:.1f} px from any flat face: clear the platen, "
            "see that the rig is the right one, and take the burst again."
        )
    first = 0
    for view, seen in zip(views, sightings, strict=True):
        part = off[first : first + len(seen.pixels)]
        first += len(seen.pixels)
        stray = float(np.median(np.linalg.norm(part, axis=1)))
        if stray > max(4 * eye.noise, MOST_MOVED):
            raise Refusal(
                f"{view.name} does not fit the other pictures, by {stray:.1f} px: the camera was "
                "moved between them, or the board has another height: take all again."
            )
    more = [found for view in views if (found := _dots(rig, eye, view, dot_places)) is not None]
    if more:
        eye, _ = solve_eye(rig.projector, [*sightings, *more, *beside], size, prior)
    return with_sentences(eye, *_fixed_by(views, prior, bool(beside)))


def bounds(rig: Rig, eye: Eye) -> tuple[tuple[float, float], ...]:
    """Return (height, 95 % bound of a surface point at the worst place), mm, for `HEIGHTS`."""
    return tuple(
        (height, surface_bound(rig.projector, rig.fit.matrix, eye, rig.face, height))
        for height in HEIGHTS
    )


def with_eye(rig: Rig, eye: Eye) -> Rig:
    """Return the rig with its eye."""
    return replace(rig, eye=eye)


def eye_of(rig: Rig) -> Eye:
    """Return the rig's eye.

    Raises
    ------
    Refusal
        If none was fitted.
    """
    if rig.eye is None:
        raise Refusal(f"The rig “{rig.name}” knows of no camera: fit its eye first.")
    return rig.eye


def axis_of_lines(rig: Rig) -> int | None:
    """Return which lines tell the rig's eye most of height: 0 of constant x, 1 of constant y."""
    if rig.eye is None:
        return None
    return best_axis(rig.projector, rig.eye.camera, rig.face)


def _crossings(rig: Rig, view: EyeView) -> Sighting | None:
    """Return the crossings on the face, where there are enough: they are finer than corners."""
    check_light(view.name, view.dark, view.white)
    if view.spots is None or len(view.spots[0]) == 0:
        return None
    light, pixels = view.spots
    landed = rig.projector.platen_from_projector(light, view.raised)
    on = on_face(landed, rig.face, EDGE)
    if on.sum() < ENOUGH_CROSSINGS:
        return None
    _, kept = cv2.findHomography(landed[on], pixels[on], cv2.RANSAC, MOST_BENT)
    near = kept.ravel().astype(bool)
    if near.mean() < _FACE_SHARE:
        return None
    return Sighting(view.name, light[on][near], pixels[on][near], view.raised)


def _beside(rig: Rig, view: EyeView) -> Sighting | None:
    """Return the crossings beside the platen, at whatever height: they tell of the lens."""
    if view.spots is None or view.raised or len(view.spots[0]) == 0:
        return None
    light, pixels = view.spots
    landed = rig.projector.platen_from_projector(light)
    off = ~on_face(landed, rig.face, -2 * EDGE)
    if off.sum() < _ENOUGH_BESIDE:
        return None
    return Sighting(view.name, light[off], pixels[off], None)


def _corners(rig: Rig, view: EyeView) -> Sighting:
    indices, pixels = pattern_on_face(view.pattern, rig.projector, rig.face, view.raised)
    if len(indices) < ENOUGH_CORNERS:
        seen = f"only {len(indices)} corners" if len(indices) else "nothing"
        raise Refusal(
            f"{view.name} shows {seen} of the pattern on the platen, at least {ENOUGH_CORNERS} "
            "are needed: clear the platen, see that the rig is the right one and the camera "
            "sharp, and bring it nearer."
        )
    light = Pattern(rig.projector.size).pixels(indices)
    return Sighting(view.name, light, pixels, view.raised)


def check_light(name: str, dark: NDArray[np.uint8], white: NDArray[np.uint8]) -> None:
    """Refuse pictures in which light cannot be told from none.

    Parameters
    ----------
    name : str
        Of the burst, for the message.
    dark, white : ndarray, shape (height, width, 3), uint8
        Without light and under white.
    """
    dark, white = dark[::2, ::2], white[::2, ::2]
    if np.percentile(white.astype(np.int16) - dark, 98) < 12:
        raise Refusal(
            f"{name} shows hardly any light of the projector: uncover the lens, longer "
            "exposure, or less light in the room."
        )
    if np.mean(dark.min(axis=2) >= 250) > 0.3:
        raise Refusal(f"{name} is washed out even in the dark picture: expose for less time.")


def _dots(rig: Rig, eye: Eye, view: EyeView, places: Points) -> Sighting | None:
    """Return the dots on the face; refuse if they show that the camera moved within a burst."""
    if view.dotted is None:
        return None
    landed = rig.projector.platen_from_projector(places, view.raised)
    inside = on_face(landed, rig.face, 2 * EDGE)
    expected = eye.camera.project(rig.projector.bow.at(landed[inside], view.raised))
    pixels, found = dots(view.dotted, expected, dot_radius(expected))
    if found.sum() < 6:
        return None
    off = pixels[found] - expected[found]
    common = np.median(off, axis=0)
    if np.hypot(*common) > MOST_MOVED:
        raise Refusal(
            f"In {view.name} the dots lie {np.hypot(*common):.1f} px beside the pattern: the "
            "camera was moved within the burst: fix it and take the burst again."
        )
    near = np.linalg.norm(off - common, axis=1) < max(4 * eye.noise, 0.3)
    return Sighting(view.name, places[inside][found][near], pixels[found][near], view.raised)


def dot_radius(expected: Points) -> float:
    """Return how far around a dot its light may be looked for, px: a third of their distance."""
    apart = np.linalg.norm(expected[:, None] - expected[None], axis=2)
    np.fill_diagonal(apart, np.inf)
    return float(np.clip(0.33 * np.median(apart.min(axis=1)), 4, 40))


def _fixed_by(views: Sequence[EyeView], prior: FocalPrior | None, beside: bool) -> list[str]:
    raised = sorted({view.raised for view in views if view.raised})
    said = ["The place comes from light on the bare platen, known in mm by the rig."]
    if raised:
        boards = ", ".join(f"{height:g}" for height in raised)
        said.append(f"A board {boards} mm high fixes the focal length.")
    elif beside:
        said.append("Light on what lies below, beside the platen, fixes the focal length.")
    elif prior is not None:
        said.append("The focal length was stated, and light on the platen seen aslant refines it.")
    else:
        said.append("The focal length comes from the platen seen aslant alone.")
    return said
