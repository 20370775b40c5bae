"""The form of a location file.

One TOML file is one location; its stem is the location's name. A file holds
facts, no code. Lengths are strings with a unit. A distance is one length, or
``[lowest, usual, highest]`` of common practice, or one of these for each age.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Annotated, Literal, get_args

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    model_validator,
)

from chalkbeam.basics.units import parse_length
from chalkbeam.garments.model import AGES, FITS, Age, Fit


class Axis(Enum):
    """Along which axis of the garment a rule places."""

    ACROSS = 0
    """x: left and right."""
    ALONG = 1
    """y: down the garment."""


Bound = Literal["target", "at_least", "at_most"]
Feature = Literal[
    "ink_top",
    "ink_bottom",
    "ink_left",
    "ink_right",
    "baseline",
    "optical_centre",
    "ink_middle",
    "sheet_top",
    "sheet_bottom",
    "sheet_left",
    "sheet_right",
]
Direction = Literal["along", "below", "above", "across", "right_of", "left_of"]

_UPRIGHT: Mapping[str, Axis] = {
    **dict.fromkeys(("ink_top", "ink_bottom", "baseline", "sheet_top", "sheet_bottom"), Axis.ALONG),
    **dict.fromkeys(("ink_left", "ink_right", "sheet_left", "sheet_right"), Axis.ACROSS),
}
_AXIS_OF: Mapping[str, Axis] = {
    **dict.fromkeys(("along", "below", "above"), Axis.ALONG),
    **dict.fromkeys(("across", "right_of", "left_of"), Axis.ACROSS),
}
_DIRECTIONS: tuple[Direction, ...] = get_args(Direction)

METHODS: Mapping[str, str] = {"pits": "armpits", "collar": "collar", "shoulder": "shoulder"}
"""Ways to place, and what people call the line they go by."""

USUAL_WIDTH_SHARE: Mapping[Age, float] = {
    "adult": 1.0,
    "youth": 0.8,
    "toddler": 0.55,
    "infant": 0.4,
}
"""How art shrinks with age where a file gives one size for all; common practice, no source."""


@dataclass(frozen=True)
class Band:
    """A distance of common practice, mm.

    Attributes
    ----------
    low, usual, high : float
        ``low <= usual <= high``.
    """

    low: float
    usual: float
    high: float

    def scaled(self, factor: float) -> Band:
        """Return the band with each length multiplied by a positive factor."""
        return Band(factor * self.low, factor * self.usual, factor * self.high)

    def shifted(self, by: float) -> Band:
        """Return the band moved by so many mm."""
        return Band(self.low + by, self.usual + by, self.high + by)


def _band(value: object) -> Band:
    if isinstance(value, Band):
        return value
    items = value if isinstance(value, list) else [value]
    lengths = [item for item in items if isinstance(item, str)]
    if len(items) not in (1, 3) or len(lengths) != len(items):
        raise ValueError(
            'write a length with its unit, such as "3 in", or three: lowest, usual, highest'
        )
    numbers = [parse_length(length) for length in lengths]
    band = Band(numbers[0], numbers[len(numbers) // 2], numbers[-1])
    if not band.low <= band.usual <= band.high:
        raise ValueError("the three lengths must rise: lowest, usual, highest")
    return band


def _spread(value: object) -> object:
    """Return one distance for all ages as a distance for each."""
    if not isinstance(value, dict):
        return dict.fromkeys(AGES, value)
    unknown = set(value) - set(AGES)
    if unknown:
        raise ValueError(f"“{min(unknown)}” is no age: write {', '.join(AGES)}")
    return value


def _adult(value: object) -> object:
    """Return one size of art for all as that for adults."""
    return value if isinstance(value, dict) else {"adult": value}


def _shrunk(given: dict[Age, Band]) -> dict[Age, Band]:
    """Return sizes of art for every age; those not given shrink from the adult's."""
    if given and "adult" not in given:
        raise ValueError("give at least the size for adults")
    return {
        age: given[age] if age in given else given["adult"].scaled(USUAL_WIDTH_SHARE[age])
        for age in AGES
        if given
    }


def _length(value: object) -> float:
    if not isinstance(value, str):
        raise ValueError('write a length with its unit, such as "3 in"')
    return parse_length(value)


Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
Words = Annotated[str, Field(min_length=5)]
ByAge = dict[Age, Annotated[Band, BeforeValidator(_band)]]
Distance = Annotated[ByAge, BeforeValidator(_spread)]
ArtSize = Annotated[ByAge, BeforeValidator(_adult), AfterValidator(_shrunk)]
Length = Annotated[float, BeforeValidator(_length)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


class Growth(_Strict):
    """A distance that grows with the garment: `by` mm for each mm of `measure` beyond `start`."""

    measure: Name
    start: Length
    by: Annotated[float, Field(allow_inf_nan=False)]


class Rule(_Strict):
    """One constraint: a feature of the art against a line of the garment.

    Attributes
    ----------
    says : str
        The rule in the words of the shop.
    art : Feature
        Which feature of the artwork, as turned.
    along, below, above, across, right_of, left_of : str
        Exactly one: the garment's line, and on which side of it the feature lies.
        Left and right are those of one who looks at the face.
    by : Distance
        How far from the line.
    bound : Bound
        Whether the distance is aimed at, or is the least or the most allowed.
    weight : float
        How heavily a miss counts against the other soft rules (squared millimetres).
    hard : bool
        Never broken: where hard rules contradict one another nothing is placed.
    check : bool
        Moves nothing; tells how far the result agrees with a second, independent rule.
    method : str, optional
        Which of a location's ways to place this is: "collar", "pits", …; a shop may choose
        another for an order (`Location.by`), and this then only checks, or the other way round.
    missed : {"note", "caution"}, optional
        How serious a miss is; a missed target is a note, a broken limit a caution.
    when, unless : tuple of str
        Lines that the garment must have, or must not have, for the rule to count.
    ages : tuple of Age
        Ages for which the rule counts.
    fits : tuple of Fit
        Fits for which the rule counts.
    grows : Growth, optional
        How the distance grows with the garment within an age.
    """

    says: Words
    art: Feature
    along: Name | None = None
    below: Name | None = None
    above: Name | None = None
    across: Name | None = None
    right_of: Name | None = None
    left_of: Name | None = None
    by: Distance = Field(default_factory=lambda: dict.fromkeys(AGES, Band(0.0, 0.0, 0.0)))
    bound: Bound = "target"
    weight: Annotated[float, Field(gt=0, allow_inf_nan=False)] = 1.0
    hard: bool = False
    check: bool = False
    method: Name | None = None
    missed: Literal["note", "caution"] | None = None
    when: tuple[Name, ...] = ()
    unless: tuple[Name, ...] = ()
    ages: tuple[Age, ...] = AGES
    fits: tuple[Fit, ...] = FITS
    grows: Growth | None = None

    @model_validator(mode="after")
    def _makes_sense(self) -> Rule:
        named = [name for name in _DIRECTIONS if getattr(self, name) is not None]
        if len(named) != 1:
            raise ValueError(f"name one line of the garment with one of {', '.join(_DIRECTIONS)}")
        axis = _UPRIGHT.get(self.art)
        if axis not in (None, self.axis):
            raise ValueError(f"{self.art} cannot lie {named[0]} a line")
        on_line = named[0] in ("along", "across")
        if on_line and ("by" in self.model_fields_set or self.bound != "target"):
            raise ValueError(f"“{named[0]}” means on the line: a distance needs below, above …")
        if self.hard and (self.bound == "target" or self.check):
            raise ValueError("a hard rule must be at_least or at_most, and not a check")
        if self.check and self.bound != "target":
            raise ValueError("a check compares with a target")
        if self.method and self.bound != "target":
            raise ValueError("a method is a way to place: its bound is target")
        missing = set(self.ages) - set(self.by)
        if missing:
            raise ValueError(f"by gives no distance for {min(missing)}: give it, or name the ages")
        return self

    @functools.cached_property
    def direction(self) -> Direction:
        """On which side of the line the feature lies."""
        return next(name for name in _DIRECTIONS if getattr(self, name) is not None)

    @functools.cached_property
    def axis(self) -> Axis:
        """Along which axis the rule places."""
        return _AXIS_OF[self.direction]

    @functools.cached_property
    def line(self) -> str:
        """The garment's line that the rule measures from."""
        return str(getattr(self, self.direction))

    @functools.cached_property
    def sign(self) -> float:
        """+1 if the distance counts towards +x or +y (down), -1 if the other way."""
        return -1.0 if self.direction in ("above", "left_of") else 1.0

    def band(self, age: Age, measures: Mapping[str, float]) -> Band:
        """Return the distance for a garment of an age, mm; `measures` by name, mm."""
        band = self.by[age]
        if self.grows is None or self.grows.measure not in measures:
            return band
        return band.shifted(self.grows.by * (measures[self.grows.measure] - self.grows.start))


class TasteMove(_Strict):
    """The shop's taste: art goes so far beside the location's plain place on one style.

    Attributes
    ----------
    location : str
        Of a file with a twin: which of the two is meant.
    style : str
        The garments' style, as its name is.
    ages : tuple of Age
    up, down, left, right : Length
        As one looks at the face.
    settled : bool
        Whether the shop has decided, so that nothing else is offered.
    """

    location: str
    style: str
    ages: tuple[Age, ...] = AGES
    up: Annotated[Length, Field(ge=0, le=300)] = 0.0
    down: Annotated[Length, Field(ge=0, le=300)] = 0.0
    left: Annotated[Length, Field(ge=0, le=300)] = 0.0
    right: Annotated[Length, Field(ge=0, le=300)] = 0.0
    settled: bool = False

    @property
    def by(self) -> tuple[float, float]:
        """How far, to the right and down, mm."""
        return self.right - self.left, self.down - self.up


class Preset(_Strict):
    """What a location file holds.

    Attributes
    ----------
    title, face, basis : str
        What people call it; the garment's face; where the rules come from.
    also : tuple of str
        Other names a run sheet may use.
    twin : str or None
        Name of its mirror image on the wearer's other side.
    twin_also : tuple of str
        Other names of the twin.
    inside : bool
        Whether it is printed on the cloth's inner side, which no hood covers.
    turn : float
        Degrees the art is turned about its optical centre, counter-clockwise as one
        looks at the face: positive rises to the right. A twin reads the same way.
    width, height : ArtSize
        Usual size of the ink. Where both are given art is made to the usual height
        (letters, figures), unless it came out wider than the widest.
    rule : tuple of Rule
    moved : tuple of TasteMove
    """

    title: Words
    face: Name
    basis: Words
    also: tuple[str, ...] = ()
    twin: str | None = None
    twin_also: tuple[str, ...] = ()
    inside: bool = False
    turn: Annotated[float, Field(ge=-180, le=180)] = 0.0
    width: ArtSize = Field(default_factory=dict)
    height: ArtSize = Field(default_factory=dict)
    rule: tuple[Rule, ...] = Field(min_length=1)
    moved: tuple[TasteMove, ...] = ()

    @model_validator(mode="after")
    def _places_both_ways(self) -> Preset:
        for axis, way in ((Axis.ACROSS, "left and right"), (Axis.ALONG, "up and down")):
            aims = (r for r in self.rule if r.axis is axis and r.bound == "target" and not r.check)
            if not any(aims):
                raise ValueError(f"no rule aims at a place {way}: add one whose bound is target")
        return self
