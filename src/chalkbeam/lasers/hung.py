"""The line lasers of a press: how each hangs and what it may do, from the shop's own file.

The program lights none of them and knows nothing of their make. It takes what the shop states.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from calibration.refusal import Refusal
from chalkbeam.basics.toml_files import read_data
from chalkbeam.basics.units import parse_length

STEEPEST = 60.0
"""A light plane further from plumb than this, degrees, is none that anybody hangs over a press."""

MOST = 12
"""More line lasers than this hang over no press."""


class Way(Enum):
    """How a line runs over the platen."""

    AWAY = "away"
    """Away from the operator: it crosses the near and the far edge."""
    ACROSS = "across"
    """From the operator's left to right."""


class Move(Enum):
    """What a laser may do."""

    SHIFT = "shift"
    """Slide sideways, its tilt unchanged."""
    TURN = "turn"
    """Turn in its joint, so that its line may lie anywhere and at any angle."""


@dataclass(frozen=True)
class LineLaser:
    """One line laser over the press.

    Its light is a plane, and *tilt* is how far that plane leans from plumb. A laser that hangs at
    a known place and turns there leans as its line needs it; one that slides keeps its tilt.

    Attributes
    ----------
    letter : str
        What it is called on the sheet: A, B, ….
    name : str
        What the shop calls it; empty for no name.
    way : Way
        How its line runs as it hangs.
    moves : frozenset of Move
        Empty for one that stays on the platen's middle.
    place : (x, y, z) or None
        Where it hangs, platen frame, mm; None if that is not known or changes.
    tilt : float or None
        Radians; positive if its light comes from the right (a line that runs away) or from the
        back (a line that runs across). None if that is not known or follows from `place`.
    """

    letter: str
    name: str
    way: Way
    moves: frozenset[Move]
    place: tuple[float, float, float] | None = None
    tilt: float | None = None

    @property
    def tilt_known(self) -> bool:
        """Whether the height of the cloth can be allowed for."""
        return self.place is not None or self.tilt is not None

    @property
    def words(self) -> str:
        """Letter and name."""
        return f"{self.letter} ({self.name})" if self.name else self.letter


TWO_LINES = (
    LineLaser("A", "", Way.AWAY, frozenset(Move)),
    LineLaser("B", "", Way.ACROSS, frozenset(Move)),
)
"""Two lasers of which nothing is known but that they can be put anywhere."""


def _mm(value: object) -> float:
    if not isinstance(value, str):
        raise ValueError('write a length with its unit, such as "950 mm"')
    return parse_length(value)


_Length = Annotated[float, BeforeValidator(_mm)]
_SIDES = {"right": (Way.AWAY, 1.0), "left": (Way.AWAY, -1.0),
          "back": (Way.ACROSS, 1.0), "front": (Way.ACROSS, -1.0)}  # fmt: skip


class _Entry(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    line: Way
    name: Annotated[str, Field(max_length=24)] = ""
    moves: tuple[Move, ...] = ()
    place: Annotated[tuple[_Length, ...], Field(min_length=3, max_length=3)] | None = None
    tilt: Annotated[float, Field(ge=0, le=STEEPEST)] | None = None
    light_from: Literal["right", "left", "back", "front"] | None = None

    @model_validator(mode="after")
    def _makes_sense(self) -> _Entry:
        if self.place is not None and self.tilt is not None:
            raise ValueError("place and tilt say the same twice: give one")
        if self.place is not None and Move.SHIFT in self.moves:
            raise ValueError("a laser that shifts has no one place: give its tilt instead")
        if self.place is not None and not 100 <= self.place[2] <= 10_000:
            raise ValueError("place is right, back and up from the platen's middle: up is at least "
                             "100 mm")  # fmt: skip
        if (self.light_from is None) != (not self.tilt):
            raise ValueError("tilt and light_from belong together: how far it leans, and from "
                             "which side its light comes")  # fmt: skip
        if self.light_from is not None and _SIDES[self.light_from][0] is not self.line:
            sides = "right or left" if self.line is Way.AWAY else "back or front"
            raise ValueError(f"light on a line that runs {self.line.value} comes from {sides}")
        return self

    def laser(self, letter: str) -> LineLaser:
        tilt = None
        if self.tilt is not None:
            sign = _SIDES[self.light_from][1] if self.light_from else 1.0
            tilt = sign * math.radians(self.tilt)
        place = None if self.place is None else (self.place[0], self.place[1], self.place[2])
        return LineLaser(letter, self.name, self.line, frozenset(self.moves), place, tilt)


class _LasersFile(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    laser: Annotated[tuple[_Entry, ...], Field(min_length=1, max_length=MOST)]


def read_lasers(path: Path) -> tuple[LineLaser, ...]:
    """Return the lasers of a file, in its order.

    Raises
    ------
    Refusal
        If it cannot be used, with the line that is wrong.
    """
    entries = read_data(path, _LasersFile).laser
    return tuple(entry.laser(chr(ord("A") + index)) for index, entry in enumerate(entries))


def find_lasers(asked: str) -> tuple[LineLaser, ...]:
    """Return lasers by a file's name, or “two lines”.

    Raises
    ------
    Refusal
        If it is neither.
    """
    if asked.strip().casefold().replace("-", " ") == "two lines":
        return TWO_LINES
    path = Path(asked)
    if not path.is_file():
        raise Refusal(
            f"There is no file “{asked}” of lasers: name one, or write “two lines” for two lasers "
            "of which nothing is known."
        )
    return read_lasers(path)
