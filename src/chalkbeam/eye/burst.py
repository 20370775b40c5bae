"""A burst: the photos of a camera that stood still, one of each picture of light that was shown."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.files import read_whole
from calibration.model.projector import ProjectorMap
from calibration.picture_files import LARGEST_FILE
from calibration.refusal import Refusal
from calibration.rig.eye import check_light
from chalkbeam.eye.flashes import KIND, PLAIN, VERSION, Family, Lines, lines_of

U8 = NDArray[np.uint8]
F32 = NDArray[np.float32]
Part = tuple[slice, slice]
WHOLE: Part = (slice(None), slice(None))

ROOM_CHANGE = 0.12
"""Surroundings that change by more than this share did so by the camera's exposure: a room's
light seldom does within a second. Common practice, no source."""

_ENOUGH_UNLIT = 0.02  # of the picture
_MOST_UNLIT = 1.6  # how much brighter under white a spot may be that its light does not reach
_FEWEST_UNLIT = 500  # pixels that tell the room's light
_SMALLER = 4  # surroundings are looked for in a picture so much smaller


@dataclass(frozen=True, eq=False)
class Burst:
    """Photos of one burst, all from one camera standing still.

    Attributes
    ----------
    where : str
        The folder, for messages.
    pictures : mapping of str to ndarray, shape (height, width, 3), uint8, BGR
    """

    where: str
    pictures: Mapping[str, U8]

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the camera's picture, px."""
        first = next(iter(self.pictures.values()))
        return int(first.shape[1]), int(first.shape[0])

    def has(self, *names: str) -> bool:
        """Tell whether pictures are there."""
        return all(name in self.pictures for name in names)

    def picture(self, name: str) -> U8:
        """Return one photo, BGR.

        Raises
        ------
        Refusal
            If it is missing.
        """
        if name not in self.pictures:
            raise Refusal(f"{self.where} holds no picture “{name}”: take the whole burst again.")
        return self.pictures[name]

    def linear(self, name: str, part: Part = WHOLE) -> F32:
        """Return one photo with the tone curve of sRGB undone, BGR, 0 to 1, float32.

        IEC 61966-2-1, 5.2: the curve that cameras write by default, more or less.
        """
        return _undone(self.picture(name)[part])

    def light(self, name: str, part: Part = WHOLE) -> F32:
        """Return what the projector's light adds to the dark picture, linear, BGR, float32.

        Where the picture shows surroundings out of the beam, they tell what changed since the
        dark picture: a little is the room's light, much is the camera's own exposure.
        """
        if part == WHOLE and name == "white":
            return _white_of(self)
        return self._light(name, part)

    def _light(self, name: str, part: Part) -> F32:
        gain, shown, dark = self._gain(name), self.linear(name, part), self.linear("dark", part)
        if abs(gain - 1) <= ROOM_CHANGE:
            return np.asarray(cv2.scaleAdd(dark, -gain, shown), np.float32)
        return np.asarray(cv2.addWeighted(shown, 1 / gain, dark, -1.0, 0.0), np.float32)

    def _gain(self, name: str) -> float:
        if name not in self._gains:
            places, dark = self._unlit
            if len(places) == 0:
                return 1.0
            now = _undone(self.picture(name)[..., 1].reshape(-1)[places])
            self._gains[name] = float(now.mean()) / dark
        return self._gains[name]

    def dark_over(self, other: Burst) -> float:
        """Return how much brighter this burst's surroundings are than another's, without light."""
        places = np.intersect1d(self._unlit[0], other._unlit[0], assume_unique=True)
        if len(places) < _FEWEST_UNLIT:
            return 1.0
        now, then = (
            _undone(each.picture("dark")[..., 1].reshape(-1)[places]).mean()
            for each in (self, other)
        )
        return float(now) / float(then)

    def exposure_over(self, other: Burst) -> float:
        """Return by how much to multiply this burst's light so that it is as another's."""
        gain = self.dark_over(other)
        return 1.0 if abs(gain - 1) <= ROOM_CHANGE else 1.0 / gain

    @cached_property
    def _gains(self) -> dict[str, float]:
        """What `_gain` has told so far."""
        return {}

    @cached_property
    def _unlit(self) -> tuple[NDArray[np.intp], float]:
        """Pixels where the room is seen and neither projector nor saturation, and their mean.

        As indices into a picture laid out row by row, a share of all of them; none where too few
        are seen.
        """
        # Smoothed: picked by what noise makes of single pixels, they would look too dark.
        dark, white = (
            cv2.GaussianBlur(
                cv2.resize(
                    _undone(np.ascontiguousarray(self.picture(name)[..., 1])),
                    None,
                    fx=1 / _SMALLER,
                    fy=1 / _SMALLER,
                    interpolation=cv2.INTER_AREA,
                ),
                (0, 0),
                5.0 / _SMALLER,
            )
            for name in ("dark", "white")
        )
        none = np.zeros(0, np.intp), 1.0
        usable = (dark > 0.01) & (dark < 0.7) & (white < 0.9)
        if not usable.any():
            return none
        ratio = white / np.maximum(dark, 1e-4)
        least = float(np.percentile(ratio[usable], 2))
        # An exposure of its own shortens under white: what gains much is lit, all of it here.
        unlit = usable & (ratio < 1.08 * least) & (least < _MOST_UNLIT)
        if unlit.mean() < _ENOUGH_UNLIT:
            return none
        width, height = self.size
        row, column = (
            np.minimum(_SMALLER * at + _SMALLER // 2, most - 1)
            for at, most in zip(np.nonzero(unlit), (height, width), strict=True)
        )
        places = np.asarray(row * width + column, np.intp)
        dark_here = _undone(self.picture("dark")[..., 1].reshape(-1)[places])
        return places, float(dark_here.mean())

    def lines(self, projector: ProjectorMap, family: Family) -> Lines | None:
        """Return the family of lines if all its pictures are there."""
        lines = lines_of(projector, family)
        return lines if self.has(*lines.names) else None


@lru_cache(maxsize=2)
def _white_of(burst: Burst) -> F32:
    """Return a burst's white light, which is asked for again and again."""
    light = burst._light("white", WHOLE)
    light.setflags(write=False)
    return light


def _curve() -> F32:
    value = np.arange(256) / 255
    low, high = value / 12.92, ((value + 0.055) / 1.055) ** 2.4
    return np.where(value <= 0.04045, low, high).astype(np.float32)


_CURVE = _curve()


def _undone(picture: U8) -> F32:
    return np.asarray(cv2.LUT(np.ascontiguousarray(picture), _CURVE), np.float32).reshape(
        picture.shape
    )


def grey(light: F32) -> F32:
    """Return the mean of a picture's three colours, shape (height, width)."""
    return np.asarray(cv2.transform(light, np.full((1, 3), 1 / 3, np.float32)), np.float32)


def brightest(picture: NDArray[Any]) -> NDArray[Any]:
    """Return the brightest of a picture's three colours, shape (height, width)."""
    # Numpy's own max along a short last axis takes eight times as long.
    largest = np.maximum(np.maximum(picture[..., 0], picture[..., 1]), picture[..., 2])
    return np.asarray(largest)


_PICTURE = re.compile(r"(?i)\.(png|jpe?g)$")
_NAME = re.compile(rf"{'|'.join(PLAIN)}|(across|down)-(lines|\d+)")
_SIGNATURES = (b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff")  # PNG 3rd ed. 5.2; ITU-T T.81 B.1.1.3
_WASHED = 0.5  # of a picture


def read_burst(folder: Path | str) -> Burst:
    """Read the camera's photos of a burst from a folder.

    They are looked for under the names of burst.json if it lies beside them, as PNG or JPEG
    whatever ending is named there; without it every photo with a burst's name counts.

    Raises
    ------
    Refusal
        If the folder or a picture is missing or cannot be read, or sizes differ.
    """
    place = Path(folder)
    if not place.is_dir():
        raise Refusal(f"There is no folder {place}: name the one with the camera's pictures.")
    files = {path.stem.lower(): path for path in sorted(place.iterdir()) if _is_picture(path)}
    named = _named(place / "burst.json") or {stem: stem for stem in files if _NAME.fullmatch(stem)}
    if not files or not named:
        raise Refusal(f"{place} holds no pictures: name the folder with the camera's pictures.")
    found = {}
    for name, stem in named.items():
        if stem not in files:
            raise Refusal(
                f"{place} lacks the picture “{name}” that its burst.json names: take the whole "
                "burst again."
            )
        found[name] = _read(files[stem])
    sizes = {name: (image.shape[1], image.shape[0]) for name, image in found.items()}
    first = next(iter(sizes))
    for name, size in sizes.items():
        if size != sizes[first]:
            raise Refusal(
                f"In {place} “{name}” has {size[0]} x {size[1]} pixels and “{first}” has "
                f"{sizes[first][0]} x {sizes[first][1]}: take the whole burst again, one camera."
            )
    burst = Burst(str(place), found)
    burst.picture("dark"), burst.picture("white")
    return burst


def _is_picture(path: Path) -> bool:
    return path.is_file() and bool(_PICTURE.search(path.name))


def _named(path: Path) -> dict[str, str]:
    """Return the stem of each picture's file by its name, as burst.json says; nothing without."""
    if not path.is_file():
        return {}
    try:
        content = json.loads(read_whole(path))
        if content["kind"] != KIND:
            raise ValueError(content["kind"])
        newer = content["version"] > VERSION
        named = {str(each["name"]): Path(each["file"]).stem.lower() for each in content["pictures"]}
    except (OSError, ValueError, LookupError, TypeError, RecursionError):
        raise Refusal(
            f"{path} does not name the pictures of a burst: make it again beside the patterns."
        ) from None
    if newer:
        raise Refusal(f"{path} was made by a newer Chalkbeam: update Chalkbeam.")
    return named


def _read(path: Path) -> U8:
    image = None
    content = read_whole(path, LARGEST_FILE)
    if content.startswith(_SIGNATURES):
        image = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_COLOR)
    if image is None:
        raise Refusal(
            f"{path} is damaged or no picture of PNG or JPEG: take the whole burst again."
        )
    return np.asarray(image, np.uint8)


def check_exposure(burst: Burst) -> None:
    """Refuse a burst in which the projector's light cannot be told from none, or is all bleached.

    Raises
    ------
    Refusal
    """
    white = burst.picture("white")
    check_light(burst.where, burst.picture("dark"), white)
    dimmest = burst.picture("dim") if burst.has("dim") else white
    if np.mean(dimmest[::2, ::2].min(axis=2) >= 250) > _WASHED:
        raise Refusal(f"{burst.where} is washed out under white light: expose for less time.")
