"""Every way in which a calibration photo, or what is said of it, can be bad."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import PlatenFace
from calibration.targets.cards import layout
from calibration.targets.pattern import Pattern
from chalkbeam.simulator.rig import Lens, LitFrame, VirtualRig, lay_cards, light_frame, look_at
from chalkbeam.simulator.rig.optics import rotation_vector
from chalkbeam.simulator.rig.render import radiance
from chalkbeam.simulator.rig.sensor import develop

U8 = NDArray[np.uint8]
F32 = NDArray[np.float32]
JPEG = 92


@dataclass(frozen=True, eq=False)
class File:
    """One photo as it is handed in: a picture to be coded, or bytes as they are."""

    image: U8 | None = None
    raw: bytes = b""
    suffix: str = ".jpg"
    quality: int = JPEG
    named: bool = True
    """Whether the camera's name and lens are still in the file."""
    exif: dict[int, int] = field(default_factory=dict)


class Studio:
    """A virtual rig under whose cameras photos are taken well or badly."""

    def __init__(self, rig: VirtualRig, camera: str) -> None:
        self.rig, self.camera = rig, camera
        self._light: dict[int, F32] = {}

    @cached_property
    def lit(self) -> LitFrame:
        """The calibration pattern as light."""
        return self.rig.lit_pattern()

    @property
    def unit(self) -> float:
        """How many pixels of a photo are one of a photo 2000 px wide."""
        return max(self.rig.photos[0].view.size) / 2000

    def light(self, index: int) -> F32:
        """Return the light of a good photo; rendered once."""
        if index not in self._light:
            self._light[index] = self.shine(index)
        return self._light[index].copy()

    def shine(
        self,
        index: int,
        *,
        view: Lens | None = None,
        spacer: float | None = None,
        frame: U8 | None = None,
        rig: VirtualRig | None = None,
        **scene: Any,
    ) -> F32:
        """Return the light of a photo of which something is changed."""
        rig = rig or self.rig
        shot = rig.photos[index]
        there = replace(rig.scene(shot.spacer if spacer is None else spacer), **scene)
        lit = self.lit if frame is None else light_frame(frame, rig.projector.lamp)
        return radiance(there, view or shot.view, rig.projector, lit)

    def take(self, index: int, light: F32 | None = None, **sensor: Any) -> U8:
        """Return the picture that a camera makes of light, some traits of it changed."""
        eye = replace(self.rig.photos[index].sensor, **sensor)
        seed = np.random.default_rng([self.rig.seed, index])
        return develop(self.light(index) if light is None else light, eye, seed)

    def card(self, index: int, number: int, within: float = 0.5) -> tuple[NDArray[Any], float]:
        """Return where a card lies in a photo: a point of it and half its side, px."""
        card = layout(self.rig.face)[number]
        height = self.rig.photos[index].spacer
        outline = self.rig.camera_from_platen(index, card.outline(), height)
        middle = outline.mean(axis=0)
        return middle + (outline[0] - middle) * (1 - 2 * within), float(
            np.sqrt(cv2.contourArea(outline.astype(np.float32))) / 2
        )


Spoil = Callable[[Studio, int], File]


@dataclass(frozen=True)
class Kind:
    """A way to be bad.

    Attributes
    ----------
    name : str
    spoil : callable
        Makes the file of one photo.
    all : bool
        Whether it befalls every photo of a set, or the first alone.
    options : dict
        What is typed differently: "--size" and so on.
    rig : callable
        What is changed of the bench itself.
    which : int or None
        The photo that is spoiled in a set with a raised one: -1 is the raised one.
    sets : str
        "1", "3+1" or both.
    """

    name: str
    spoil: Spoil = lambda studio, index: File(studio.take(index))
    all: bool = False
    options: dict[str, str] = field(default_factory=dict)
    rig: Callable[[VirtualRig], VirtualRig] = lambda rig: rig
    which: int = 0
    sets: tuple[str, ...] = ("1", "3+1")


def sensor(**traits: Any) -> Spoil:
    """Spoil by the camera."""
    return lambda studio, index: File(studio.take(index, **traits))


def smear(x: float, y: float) -> Spoil:
    return lambda s, k: File(s.take(k, motion=(x * s.unit, y * s.unit)))


def defocus(pixels: float) -> Spoil:
    return lambda s, k: File(s.take(k, blur=pixels * s.unit))


def finish(change: Callable[[U8], U8], **file: Any) -> Spoil:
    """Spoil the finished picture."""
    return lambda s, k: File(np.ascontiguousarray(change(s.take(k))), **file)


def scene(**changes: Any) -> Spoil:
    return lambda s, k: File(s.take(k, s.shine(k, **changes)))


def glare(reach: float, strength: float, within: float = 0.5, number: int = 3) -> Spoil:
    """Mirror a lamp on a card."""

    def spoil(s: Studio, k: int) -> File:
        (x, y), half = s.card(k, number, within)
        light = s.light(k)
        v, u = np.mgrid[: light.shape[0], : light.shape[1]].astype(np.float32)
        glow = np.exp(-((u - x) ** 2 + (v - y) ** 2) / np.float32(2 * (reach * half) ** 2))
        return File(s.take(k, light + (strength * glow[..., None]).astype(np.float32), white=1.6))

    return spoil


def ghost(strength: float) -> Spoil:
    """Mirror the pattern a second time, as a shiny platen does."""

    def spoil(s: Studio, k: int) -> File:
        light = s.light(k)
        shift = (round(40 * s.unit), round(25 * s.unit))
        return File(
            s.take(k, light + np.float32(strength) * np.roll(light[:, ::-1], shift, (0, 1)))
        )

    return spoil


def cut(share: float, number: int = 0) -> Spoil:
    """Crop the picture so that so much of a card is left outside."""

    def spoil(s: Studio, k: int) -> File:
        image = s.take(k)
        middle, half = s.card(k, number)
        width = image.shape[1]
        if middle[0] < width / 2:
            first = max(0, round(float(middle[0] + half * (2 * share - 1))))
            return File(np.ascontiguousarray(image[:, first:]))
        last = round(float(middle[0] - half * (2 * share - 1)))
        return File(np.ascontiguousarray(image[:, :last]))

    return spoil


def aside(share: float, number: int = 0) -> Spoil:
    """Turn the camera so that so much of a card is outside the picture."""

    def spoil(s: Studio, k: int) -> File:
        shot = s.rig.photos[k]
        middle, half = s.card(k, number)
        size = np.array(shot.view.size)
        # Along the picture's axis on which the card is nearer to an edge.
        gap = np.minimum(middle, size - middle)
        axis = int(np.argmin(gap))
        outwards = -1.0 if middle[axis] < size[axis] / 2 else 1.0
        move = np.zeros(2)
        move[axis] = outwards * (gap[axis] + half * (2 * share - 1))
        a = -move / shot.view.focal
        small = cv2.Rodrigues(np.array([a[1], -a[0], 0.0]))[0]
        turn = cv2.Rodrigues(small.T @ shot.view.rotation)[0].ravel()
        view = replace(shot.view, turn=tuple(float(v) for v in turn))
        return File(s.take(k, s.shine(k, view=view)))

    return spoil


def finger(wide: float, within: float, number: int = 1) -> Spoil:
    """Skin over a part of a card."""

    def spoil(s: Studio, k: int) -> File:
        image = s.take(k)
        start, half = s.card(k, number, within)
        end = start + (start - np.array(image.shape[1::-1]) / 2) * 4
        thick = max(1, round(wide * half))
        ends = [tuple(int(v) for v in p) for p in (start, end)]
        return File(cv2.line(image, *ends, (120, 150, 200), thick, cv2.LINE_AA))

    return spoil


def hand(s: Studio, k: int) -> File:
    """Hold a hand over a part of the pattern."""
    image = s.take(k)
    middle = np.array(image.shape[1::-1]) / 2
    reach = np.array([0.16, 0.12]) * min(middle) * 2
    return File(cv2.ellipse(image, (middle, reach * 2, 30.0), (120, 150, 200), -1))


def cards_of(other: PlatenFace) -> Spoil:
    """Cards of another platen, laid in the corners of this one."""

    def spoil(s: Studio, k: int) -> File:
        size = (s.rig.face.width, s.rig.face.depth)
        laid = tuple(
            replace(
                card,
                centre=(
                    math.copysign((size[0] - card.size) / 2, card.centre[0]),
                    math.copysign((size[1] - card.size) / 2, card.centre[1]),
                ),
            )
            for card in layout(other)
        )
        return File(s.take(k, s.shine(k, prints=lay_cards(laid, s.rig.layings))))

    return spoil


def cards_changed(change: Callable[[list[Any]], list[Any]], **error: float) -> Spoil:
    """Cards swapped, turned, or printed to another size."""

    def spoil(s: Studio, k: int) -> File:
        laid = change(list(layout(s.rig.face)))
        layings = s.rig.spacer_layings if s.rig.photos[k].spacer else s.rig.layings
        if "scale" in error:
            layings = tuple(replace(each, scale=error["scale"]) for each in layings)
        if "first_dx" in error:
            layings = (replace(layings[0], dx=layings[0].dx + error["first_dx"]), *layings[1:])
        return File(s.take(k, s.shine(k, prints=lay_cards(laid, layings))))

    return spoil


def swapped(cards: list[Any]) -> list[Any]:
    one, two, *rest = cards
    return [replace(one, centre=two.centre), replace(two, centre=one.centre), *rest]


def turned(cards: list[Any]) -> list[Any]:
    return [replace(cards[0], angle=math.pi), *cards[1:]]


def same(cards: list[Any]) -> list[Any]:
    return cards


def shown(change: Callable[[U8], U8], size: tuple[int, int] | None = None) -> Spoil:
    """Another picture on the projector."""

    def spoil(s: Studio, k: int) -> File:
        own = s.rig.projector.view.size
        frame = change(Pattern(size or own).draw())
        return File(s.take(k, s.shine(k, frame=np.ascontiguousarray(frame))))

    return spoil


def fill(frame: U8) -> U8:
    return np.asarray(cv2.resize(frame, (1920, 1080), interpolation=cv2.INTER_AREA), np.uint8)


def left_dark(frame: U8) -> U8:
    frame = frame.copy()
    frame[:, : frame.shape[1] * 6 // 10] = 0
    return frame


def letterbox(image: U8) -> U8:
    """Return a telephone's screenshot of the photo: black above and below."""
    height, width = image.shape[:2]
    if width > height:
        image = np.asarray(cv2.rotate(image, cv2.ROTATE_90_CLOCKWISE), np.uint8)
        height, width = image.shape[:2]
    small = cv2.resize(image, (1170, round(1170 * height / width)), interpolation=cv2.INTER_AREA)
    page = np.zeros((2532, 1170, 3), np.uint8)
    top = (2532 - small.shape[0]) // 2
    page[top : top + small.shape[0]] = small
    return page


def bumped(s: Studio, k: int) -> File:
    """Taken after somebody knocked against the projector."""
    view = s.rig.projector.view
    turn = cv2.Rodrigues(cv2.Rodrigues(np.array([0.0, 0.002, 0.001]))[0] @ view.rotation)[0]
    moved = replace(view, turn=tuple(float(v) for v in turn.ravel()))
    rig = replace(s.rig, projector=replace(s.rig.projector, view=moved))
    return File(s.take(k, s.shine(k, rig=rig)))


def slanting(degrees: float) -> Spoil:
    def spoil(s: Studio, k: int) -> File:
        old = s.rig.photos[k].view
        a = math.radians(degrees)
        far = float(np.linalg.norm(old.position)) * 1.25
        position = (0.0, -far * math.sin(a), far * math.cos(a))
        view = replace(old, position=position, turn=look_at(position, (0.0, 0.0, 0.0)))
        return File(s.take(k, s.shine(k, view=view)))

    return spoil


def distant(times: float) -> Spoil:
    def spoil(s: Studio, k: int) -> File:
        old = s.rig.photos[k].view
        x, y, z = (times * v for v in old.position)
        return File(s.take(k, s.shine(k, view=replace(old, position=(x, y, z)))))

    return spoil


def upside_down(rig: VirtualRig) -> VirtualRig:
    """Hang the projector upside down where it is, its picture on the same place."""
    view = rig.projector.view
    turned = np.diag([-1.0, -1.0, 1.0]) @ view.rotation
    x, y = view.size[0] - 1 - view.centre[0], view.size[1] - 1 - view.centre[1]
    view = replace(view, turn=rotation_vector(turned), centre=(x, y))
    return replace(rig, projector=replace(rig.projector, view=view))


def in_window(scale: float, right: float, down: float) -> Callable[[U8], U8]:
    """Show the pattern in a window: smaller, off the middle, light grey around it."""

    def change(frame: U8) -> U8:
        height, width = frame.shape[:2]
        matrix = np.array([[scale, 0, right * width], [0, scale, down * height]])
        grey = (190, 190, 190)
        shown = cv2.warpAffine(
            frame, matrix, (width, height), flags=cv2.INTER_AREA, borderValue=grey
        )
        return np.asarray(shown, np.uint8)

    return change


def zoomed_light(times: float) -> Callable[[VirtualRig], VirtualRig]:
    """Make the projector's picture so much smaller, with the same lens elsewhere."""

    def change(rig: VirtualRig) -> VirtualRig:
        view = rig.projector.view
        return replace(
            rig, projector=replace(rig.projector, view=replace(view, focal=view.focal * times))
        )

    return change
