"""Rigs drawn at random, the same for the same seed, with the truth known."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.geometry import PlatenFace, Points, as_points
from chalkbeam.simulator.rig.arrays import U8
from chalkbeam.simulator.rig.optics import Lens, look_at, rotation_vector
from chalkbeam.simulator.rig.render import Projector, radiance
from chalkbeam.simulator.rig.scene import Laying, PressScene, RoomLight, lay_cards
from chalkbeam.simulator.rig.sensor import Sensor, develop
from chalkbeam.simulator.rig.texture import Lamp, LitFrame, light_frame

CameraKind = Literal["phone", "webcam"]

DEFAULT_FACE = PlatenFace(406.4, 508.0, 12.0)
"""The 16 x 20 in platen."""


@dataclass(frozen=True)
class PlannedPhoto:
    """One photo to be taken: from where, with what camera, on what spacer under the cards.

    Attributes
    ----------
    view : Lens
    sensor : Sensor
    spacer : float
        Stated height of the spacer under the cards, mm; 0 for none.
    """

    view: Lens
    sensor: Sensor
    spacer: float = 0.0


@dataclass(frozen=True, eq=False)
class VirtualRig:
    """A press with its projector, the photos somebody takes of it, and the truth.

    Attributes
    ----------
    seed : int
    face : PlatenFace
    projector : Projector
    photos : tuple of PlannedPhoto
        Flat ones first, then those on the spacer.
    layings : tuple of Laying
        Error of each card on the bare platen, in the order of `calibration.targets.cards.layout`.
    spacer_layings : tuple of Laying
        The same once they are laid again on the spacer.
    room : RoomLight
    paper : float
        Height of the cards' and the cover sheet's face above what they lie on, mm.
    spacer_error : float
        How much higher the spacer truly is than its stated height, mm.
    """

    seed: int
    face: PlatenFace
    projector: Projector
    photos: tuple[PlannedPhoto, ...]
    layings: tuple[Laying, ...]
    spacer_layings: tuple[Laying, ...]
    room: RoomLight
    paper: float
    spacer_error: float = 0.0

    def projector_from_platen(self, points: ArrayLike, height: ArrayLike = 0.0) -> Points:
        """Map platen points, shape (N, 2), mm, at `height` mm to projector px: the truth."""
        flat = as_points(points)
        heights = np.broadcast_to(np.asarray(height, np.float64), len(flat))
        return self.projector.view.pixels(np.column_stack([flat, heights]))

    def platen_from_projector(self, pixels: ArrayLike, height: ArrayLike = 0.0) -> Points:
        """Map projector px, shape (N, 2), to where their light falls at `height`, mm: the truth."""
        return self.projector.view.hit(pixels, height)

    def camera_from_platen(self, index: int, points: ArrayLike, height: ArrayLike = 0.0) -> Points:
        """Map platen points, shape (N, 2), mm, at `height` mm to px of one photo: the truth."""
        flat = as_points(points)
        heights = np.broadcast_to(np.asarray(height, np.float64), len(flat))
        return self.photos[index].view.pixels(np.column_stack([flat, heights]))

    def scene(self, spacer: float = 0.0) -> PressScene:
        """Return the platen with cover sheet and cards, ready to calibrate.

        `spacer` is the stated height of the spacer under the cards, mm; 0 for none.
        """
        from calibration.targets.cards import layout

        return PressScene(
            face=self.face,
            prints=lay_cards(layout(self.face), self.spacer_layings if spacer else self.layings),
            spacer=spacer + self.spacer_error if spacer else 0.0,
            paper=self.paper,
            room=self.room,
        )

    def photo(self, index: int, frame: U8 | LitFrame | None = None) -> U8:
        """Take one calibration photo, uint8 BGR, while the projector shows `frame`.

        Without a frame it shows the calibration pattern.
        """
        if frame is None:
            frame = self.lit_pattern()
        taken = self.photos[index]
        return render_photo(
            self.scene(taken.spacer),
            taken.view,
            taken.sensor,
            self.projector,
            frame,
            seed=1000 * self.seed + index,
        )

    def lit_pattern(self) -> LitFrame:
        """Return the calibration pattern as light, to be used for several photos."""
        from calibration.targets.pattern import Pattern

        return light_frame(Pattern(self.projector.view.size).draw(), self.projector.lamp)


def render_photo(
    scene: PressScene,
    view: Lens,
    sensor: Sensor,
    projector: Projector | None = None,
    frame: NDArray[np.uint8] | LitFrame | None = None,
    seed: int | None = 0,
) -> U8:
    """Take a photo of a scene.

    Parameters
    ----------
    scene : PressScene
    view, sensor : Lens, Sensor
        The camera.
    projector : Projector, optional
        None leaves the room's light alone.
    frame : uint8 array (H, W, 3) BGR or LitFrame, optional
        What the projector shows; None is black, which still gives its black level.
    seed : int or None
        Seed of the noise; None for none.

    Returns
    -------
    uint8 array, shape (H, W, 3), BGR
    """
    if projector is not None and frame is None:
        width, height = projector.view.size
        frame = np.zeros((height, width, 3), np.uint8)
    if projector is not None and isinstance(frame, np.ndarray):
        frame = light_frame(frame, projector.lamp)
    lit = frame if isinstance(frame, LitFrame) else None
    light = radiance(scene, view, projector, lit)
    return develop(light, sensor, None if seed is None else np.random.default_rng(seed))


def random_rig(
    seed: int,
    camera: CameraKind = "phone",
    photos: int = 3,
    raised: int = 0,
    *,
    face: PlatenFace = DEFAULT_FACE,
    projector_size: tuple[int, int] = (1920, 1080),
    scale: float = 1.0,
    laying: float = 0.0,
    paper: float = 0.0,
    spacer: float = 10.0,
) -> VirtualRig:
    """Draw a rig at random.

    Ranges: projector 20–45° off the platen's normal, from any side but the operator's
    own, 0.8–1.4 m away, rolled by up to 8°, mounted either way up, lens shift up to half
    the frame's height, k1 within ±0.015, black level 0.1–0.6 %, 0.5–1.6 times the room's
    light. Phone: 4032 x 3024, f 2900–3150 px, k1 within ±0.03, blur 0.7–1.2 px; webcam:
    1920 x 1080, f 1350–1550 px, k1 -0.22 to -0.10, blur 0.6–0.9 px, more noise and
    cross-talk. Photos from up to 30° off the normal, held any way round, the platen
    filling 70–95 % of the picture; autofocus changes the focal length by up to 0.05 % and
    the principal point by up to 1 px between photos.

    Parameters
    ----------
    seed : int
    camera : "phone" or "webcam"
    photos, raised : int
        Number of photos with the cards on the bare platen, and on the spacer.
    face : PlatenFace
    projector_size : (int, int)
        The projector's own pixels.
    scale : float
        Size of the photos against the true camera's: a small proxy for quick tests.
    laying : float
        Standard deviation of each card's laying error along x and y, mm; cards are
        also turned (0.3° for each mm) and printed to a wrong scale (0.1 % for each mm),
        and the spacer is not as high as stated (0.2 mm for each mm).
    paper : float
        Height of the cards' face above the platen or spacer, mm.
    spacer : float
        Height of the spacer in the raised photos, mm.
    """
    rng = np.random.default_rng([seed, 20])
    projector = Projector(_random_projector(rng, face, projector_size), _random_lamp(rng))
    intrinsics, sensor = _random_camera(rng, camera)
    planned = tuple(
        _random_photo(rng, face, intrinsics.scaled(scale), sensor, 0.0 if n < photos else spacer)
        for n in range(photos + raised)
    )
    print_scale = 1 + 0.001 * laying * rng.standard_normal()
    layings = _random_layings(rng, laying, print_scale)
    room = RoomLight(
        tint=(rng.uniform(0.75, 1.0), 1.0, rng.uniform(1.0, 1.15)),
        gradient=(rng.uniform(-0.5, 0.5), rng.uniform(-0.5, 0.5)),
    )
    spacer_layings = _random_layings(rng, laying, print_scale)
    spacer_error = 0.2 * laying * rng.standard_normal()
    return VirtualRig(
        seed, face, projector, planned, layings, spacer_layings, room, paper, spacer_error
    )


def _random_layings(rng: np.random.Generator, error: float, scale: float) -> tuple[Laying, ...]:
    return tuple(
        Laying(
            dx=error * rng.standard_normal(),
            dy=error * rng.standard_normal(),
            turn=math.radians(0.3) * error * rng.standard_normal(),
            scale=scale,
        )
        for _ in range(4)
    )


def _direction(tilt: float, azimuth: float) -> NDArray[np.float64]:
    return np.array(
        [math.sin(tilt) * math.cos(azimuth), math.sin(tilt) * math.sin(azimuth), math.cos(tilt)]
    )


def _random_projector(rng: np.random.Generator, face: PlatenFace, size: tuple[int, int]) -> Lens:
    tilt = math.radians(rng.uniform(20, 45))
    azimuth = math.radians(rng.uniform(-20, 200))
    position = rng.uniform(800, 1400) * _direction(tilt, azimuth)
    upside = rng.choice([-1.0, 1.0])
    roll = math.radians(rng.uniform(-8, 8))
    shift = rng.uniform(-0.5, 0.5)
    width, height = size
    view = Lens(
        size=size,
        focal=1.6 * width,
        centre=(
            width / 2 - 0.5 + width * rng.uniform(-0.01, 0.01),
            height * (0.5 + shift) - 0.5,
        ),
        turn=look_at(
            _xyz(position),
            (0.0, 0.0, 0.0),
            (-upside * math.cos(azimuth), -upside * math.sin(azimuth), 0.0),
            roll,
        ),
        position=_xyz(position),
        k1=rng.uniform(-0.015, 0.015),
        k2=rng.uniform(-0.004, 0.004),
    )
    margin = rng.uniform(0.02, 0.06)
    return _aimed(view, face.outline(), margin)


def _aimed(view: Lens, outline: Points, margin: float) -> Lens:
    """Turn and zoom a projector until `outline` fills its frame but for `margin` a side."""
    points = np.column_stack([outline, np.zeros(len(outline))])
    middle = (np.array(view.size) - 1) / 2
    for _ in range(60):
        pixels = view.pixels(points)
        low, high = pixels.min(axis=0), pixels.max(axis=0)
        offset = ((low + high) / 2 - middle) / view.focal
        zoom = float(np.min(np.array(view.size) * (1 - 2 * margin) / (high - low)))
        small = np.asarray(cv2.Rodrigues(np.array([-offset[1], offset[0], 0.0]) * 0.7)[0])
        # the frame must move towards the outline: turn the lens by the offset
        rotation = np.asarray(small.T @ view.rotation, np.float64)
        view = replace(view, turn=rotation_vector(rotation), focal=view.focal * zoom**0.7)
    return view


def _random_lamp(rng: np.random.Generator) -> Lamp:
    leak = rng.uniform(0.02, 0.10, (3, 3))
    np.fill_diagonal(leak, 0.0)
    primaries = leak + np.diag(1 - leak.sum(axis=1))
    return Lamp(
        brightness=rng.uniform(0.5, 1.6),
        black=rng.uniform(0.001, 0.006),
        primaries=tuple(tuple(float(v) for v in row) for row in primaries),
        blur=rng.uniform(0.35, 0.55),
        vignette=rng.uniform(0.05, 0.25),
    )


def _random_camera(rng: np.random.Generator, kind: CameraKind) -> tuple[Lens, Sensor]:
    phone = kind == "phone"
    size = (4032, 3024) if phone else (1920, 1080)
    middle = np.array(size) / 2 - 0.5 + rng.uniform(-0.008, 0.008, 2) * size[0]
    view = Lens(
        size=size,
        focal=rng.uniform(2900, 3150) if phone else rng.uniform(1350, 1550),
        centre=(float(middle[0]), float(middle[1])),
        turn=(0.0, 0.0, 0.0),
        position=(0.0, 0.0, 0.0),
        k1=rng.uniform(-0.03, 0.03) if phone else rng.uniform(-0.22, -0.10),
        k2=rng.uniform(-0.01, 0.01) if phone else rng.uniform(0.01, 0.04),
    )
    strength = rng.uniform(0.03, 0.08) if phone else rng.uniform(0.06, 0.14)
    mix = strength * np.array([[0, 1, 0.2], [0.8, 0, 0.8], [0.2, 1, 0]])
    mix += np.diag(1 - mix.sum(axis=1))
    sensor = Sensor(
        blur=rng.uniform(0.7, 1.2) if phone else rng.uniform(0.6, 0.9),
        vignette=rng.uniform(0.1, 0.35),
        cross_talk=tuple(tuple(float(v) for v in row) for row in mix),
        white_balance=(rng.uniform(0.92, 1.05), 1.0, rng.uniform(0.95, 1.06)),
        full_well=rng.uniform(4000, 8000) if phone else rng.uniform(2000, 4000),
        read_noise=rng.uniform(3, 8) if phone else rng.uniform(6, 15),
        sharpen=rng.uniform(0.0, 0.3),
    )
    return view, sensor


def _random_photo(
    rng: np.random.Generator, face: PlatenFace, lens: Lens, sensor: Sensor, spacer: float
) -> PlannedPhoto:
    tilt = math.radians(rng.uniform(3, 30))
    azimuth = math.radians(rng.uniform(-200, 20))
    quarter = rng.choice([0, 1, 3]) if lens.size[0] < 2 * lens.size[1] else 0
    roll = quarter * math.pi / 2 + math.radians(rng.uniform(-10, 10))
    fill = rng.uniform(0.70, 0.95)
    focus = 1 + rng.uniform(-5e-4, 5e-4)
    unit = lens.size[0] / 4000
    lens = replace(
        lens,
        focal=lens.focal * focus,
        centre=(
            lens.centre[0] + unit * rng.uniform(-1, 1),
            lens.centre[1] + unit * rng.uniform(-1, 1),
        ),
    )
    target = (rng.uniform(-10, 10), rng.uniform(-10, 10), spacer)
    outline = np.column_stack([face.outline(), np.full(len(face.outline()), spacer)])
    distance = 700.0
    for _ in range(30):
        position = np.array(target) + distance * _direction(tilt, azimuth)
        view = replace(
            lens, position=_xyz(position), turn=look_at(_xyz(position), target, roll=roll)
        )
        spread = np.abs(view.pixels(outline) - (np.array(view.size) - 1) / 2)
        used = float(np.max(spread / (np.array(view.size) / 2)))
        distance *= (used / fill) ** 0.8
    return PlannedPhoto(view, sensor, spacer)


def _xyz(values: Sequence[float] | NDArray[np.float64]) -> tuple[float, float, float]:
    x, y, z = (float(value) for value in values)
    return x, y, z
