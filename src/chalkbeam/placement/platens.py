"""Platens and pads: what the garment lies on, and where pressure falls.

The face itself is `calibration.geometry.PlatenFace`; here it gets a name and,
perhaps, a raised pad. Sizes are common practice, no source.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated

import platformdirs
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from calibration.files import read_whole, write_whole
from calibration.geometry import XY, PlatenFace, Points
from calibration.refusal import Refusal
from chalkbeam.basics.toml_files import read_data
from chalkbeam.basics.units import MM_PER_INCH, parse_length, parse_size

CORNER_RADIUS = 15.0
"""Of platens whose corners nobody measured, mm; from memory. Larger than most, so that no ink
is promised pressure it does not get."""


SAME_SIZE = 6.0
"""Platens are one if neither side differs by more than this, mm: they are called by whole inches
and measured in millimetres."""


@dataclass(frozen=True)
class Pad:
    """A raised pad on a platen: pressure falls on it alone, seams beside it are not pressed.

    Attributes
    ----------
    face : PlatenFace
        Its size, mm.
    height : float
        How far it rises above the platen's bare face, mm.
    centre : (x, y)
        Where its middle lies, platen frame, mm.
    free : bool
        Whether it may lie elsewhere: then its place is sought for each print.
    """

    face: PlatenFace
    height: float
    centre: XY = (0.0, 0.0)
    free: bool = False


@dataclass(frozen=True)
class Platen:
    """A press's lower plate by name, perhaps with a pad on it.

    A pad that does not lie on the platen is refused.

    Attributes
    ----------
    name : str
    face : PlatenFace
    pad : Pad or None
    """

    name: str
    face: PlatenFace
    pad: Pad | None = None

    def __post_init__(self) -> None:
        if self.pad is None:
            return
        (x, y), pad = self.pad.centre, self.pad.face
        over = max(
            abs(x) + (pad.width - self.face.width) / 2, abs(y) + (pad.depth - self.face.depth) / 2
        )
        if over > 0.5:
            raise Refusal(
                f"The pad ({pad.width:.0f} x {pad.depth:.0f} mm) reaches {over:.0f} mm beyond the "
                f"platen {self.name}: give a smaller pad, or where its middle lies."
            )

    @property
    def height(self) -> float:
        """Height of what the garment lies on above the platen's bare face, mm."""
        return 0.0 if self.pad is None else self.pad.height

    def pressed(self) -> Points:
        """Return the edge of the pressed area: the pad's if there is one, platen frame, mm."""
        if self.pad is None:
            return self.face.outline()
        return self.pad.face.outline() + self.pad.centre

    def with_pad(self, pad: Pad | None) -> Platen:
        """Return the platen with another pad, or with none."""
        return replace(self, pad=pad)


def _inches(name: str, width: float, depth: float) -> Platen:
    return Platen(name, PlatenFace(width * MM_PER_INCH, depth * MM_PER_INCH, CORNER_RADIUS))


COMMON: Mapping[str, Platen] = {
    platen.name: platen
    for platen in (
        _inches("16x20in", 16, 20),
        _inches("16x16in", 16, 16),
        _inches("15x15in", 15, 15),
        _inches("11x15in", 11, 15),
        _inches("youth-10x12in", 10, 12),
        _inches("youth-9x12in", 9, 12),
        _inches("sleeve-5x18in", 5, 18),
        _inches("sleeve-4x16in", 4, 16),
        _inches("pocket-6x6in", 6, 6),
        _inches("label-5x5in", 5, 5),
        _inches("cap-6.5x3.5in", 6.5, 3.5),
    )
}
"""Platens most shops meet, the largest first. Common practice, no source."""


def _mm(value: object) -> float:
    if not isinstance(value, str):
        raise ValueError('write a length with its unit, such as "16 in"')
    return parse_length(value)


Length = Annotated[float, BeforeValidator(_mm)]
Positive = Annotated[float, BeforeValidator(_mm), Field(gt=0)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class _PadEntry(_Strict):
    width: Positive
    depth: Positive
    height: Positive
    corner_radius: Length = CORNER_RADIUS
    x: Length = 0.0
    y: Length = 0.0

    def pad(self) -> Pad:
        return Pad(PlatenFace(self.width, self.depth, self.corner_radius), self.height,
                   (self.x, self.y))  # fmt: skip


class _PlatenEntry(_Strict):
    width: Positive
    depth: Positive
    corner_radius: Length = CORNER_RADIUS
    pad: _PadEntry | None = None


class _PlatenFile(_Strict):
    platen: dict[str, _PlatenEntry]


def platens_file() -> Path:
    """Return the file of the user's platens (it need not exist)."""
    return platformdirs.user_data_path("chalkbeam", appauthor=False) / "platens.toml"


@functools.lru_cache(maxsize=8)
def _shop_platens(path: Path, changed: int) -> Mapping[str, Platen]:
    del changed  # its time of change makes an edited file be read again
    return {
        name: Platen(
            name,
            PlatenFace(entry.width, entry.depth, entry.corner_radius),
            entry.pad.pad() if entry.pad else None,
        )
        for name, entry in read_data(path, _PlatenFile).platen.items()
    }


def platens(path: Path | None = None) -> Mapping[str, Platen]:
    """Return every platen by name, the user's first.

    Raises
    ------
    Refusal
        If the user's file is unusable, with the line that is wrong.
    """
    path = path or platens_file()
    shops = _shop_platens(path, path.stat().st_mtime_ns) if path.is_file() else {}
    return {**shops, **{name: platen for name, platen in COMMON.items() if name not in shops}}


def name_of(face: PlatenFace, path: Path | None = None) -> str:
    """Return what a platen of this size is called on file; empty if there is none."""
    for name, each in platens(path).items():
        if alike(each.face, face):
            return name
    return ""


def alike(one: PlatenFace, other: PlatenFace) -> bool:
    """Whether two faces are of one size, but for `SAME_SIZE`."""
    sides = abs(one.width - other.width), abs(one.depth - other.depth)
    return max(sides) <= SAME_SIZE


def keep_platen(made: Platen, path: Path | None = None) -> None:
    """Put a platen on the shop's shelf, so that sheets and commands know its name.

    One of that name and size is left as it is.

    Raises
    ------
    Refusal
        If the name is none, or means a platen of another size already.
    """
    path = path or platens_file()
    if not re.fullmatch(r"[\w][\w .()/-]{0,40}", made.name):
        raise Refusal(f"“{made.name}” cannot name a platen: use letters, digits, dots and hyphens.")
    known = {name.casefold(): each for name, each in platens(path).items()}
    same = known.get(made.name.casefold())
    if same is not None:
        if alike(same.face, made.face):
            return
        raise Refusal(
            f"“{same.name}” is a platen of {same.face.width:.0f} x {same.face.depth:.0f} mm on "
            "file: choose another name."
        )
    text = read_whole(path).decode("utf-8").rstrip("\n") + "\n\n" if path.is_file() else ""
    face = made.face
    text += (
        f'[platen."{made.name}"]\nwidth = "{face.width:g} mm"\ndepth = "{face.depth:g} mm"\n'
        f'corner_radius = "{face.corner_radius:g} mm"\n'
    )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, text)
    except OSError as error:
        raise Refusal(f"{path} cannot be written ({error.strerror}): see to its rights.") from None


def platen(text: str, path: Path | None = None) -> Platen:
    """Return a platen by name, or one of a size such as ``16x20in`` or ``406mm x 508mm``.

    Raises
    ------
    Refusal
        If it is neither.
    """
    known = platens(path)
    wanted = text.strip().casefold().replace(" ", "")
    for name, found in known.items():
        if wanted == name.casefold().replace(" ", ""):
            return found
    try:
        width, depth = parse_size(text)
    except Refusal:
        if re.fullmatch(r"[\d.,/ ]+[x×][\d.,/ ]+", text.strip()):
            large = re.match(r"\d{3}", text.strip())
            with_unit = f"{text.strip()}{'mm' if large else 'in'}"
            raise Refusal(f"The platen “{text}” has no unit: write {with_unit}.") from None
        raise Refusal(
            f"There is no platen “{text}”: write its size, such as 16x20in, or one of "
            f"{', '.join(known)}."
        ) from None
    return Platen(text.strip(), PlatenFace(width, depth, CORNER_RADIUS))


def parse_pad(text: str) -> Pad:
    """Return a pad from ``width x depth x height``; its place is free.

    Raises
    ------
    Refusal
        If the text is no such thing, or the pad is higher than any.
    """
    if re.fullmatch(r"[\d.,/ ]+([x×][\d.,/ ]+){1,2}", text.strip()):
        raise Refusal(
            f"The pad “{text}” has no unit: write width x depth x height, such as 10x10x0.5in."
        )
    size, _, tall = text.replace("×", "x").rpartition("x")
    unit = tall.strip().lstrip("0123456789.,/ ")
    width, depth = parse_size(f"{size}{unit}" if size.rstrip()[-1:].isnumeric() else size)
    height = parse_length(tall)
    if not 0 < height <= 50:
        raise Refusal(f"A pad {height:.0f} mm high is none: write it as 10x10x0.5in.")
    return Pad(PlatenFace(width, depth, CORNER_RADIUS), height, free=True)


_WAYS: Mapping[str, XY] = {
    "right": (1.0, 0.0), "left": (-1.0, 0.0), "away": (0.0, 1.0), "towards": (0.0, -1.0),
}  # fmt: skip


def parse_pad_place(text: str) -> XY:
    """Return where a pad's middle lies from the platen's, mm, from “2 in right, 1 in away”.

    Raises
    ------
    Refusal
        If the text is no such place; an empty one is the platen's middle.
    """
    x = y = 0.0
    for part in filter(None, map(str.strip, re.split(r"[,;]\s+|[,;]$| and ", text.strip()))):
        length, _, way = part.rpartition(" ")
        if way.casefold() not in _WAYS:
            raise Refusal(
                f"“{text}” is no place for a pad: write how far its middle lies from the platen's, "
                "such as 2 in right, 1 in away."
            )
        along = _WAYS[way.casefold()]
        far = parse_length(length)
        x, y = x + far * along[0], y + far * along[1]
    return x, y


def padded(platen: Platen, pad: str, place: str = "") -> Platen:
    """Return a platen with a pad as written, in a place as written; without one its place is free.

    Raises
    ------
    Refusal
        If the pad or its place is none, or it does not lie on the platen.
    """
    if not pad:
        if place:
            raise Refusal("Say which pad lies there: width x depth x height, such as 6x6x0.5in.")
        return platen
    found = parse_pad(pad)
    if not place.strip():
        return platen.with_pad(found)
    return platen.with_pad(replace(found, centre=parse_pad_place(place), free=False))
