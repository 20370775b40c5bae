"""The form of the data files: charts, grading rules and styles.

Lengths in a file are plain numbers in the file's own ``unit`` and become
millimetres when they are read. Every table and rule names its ``basis``: where
its numbers come from.
"""

from __future__ import annotations

import itertools
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from chalkbeam.basics.units import MM_PER_INCH
from chalkbeam.garments.model import AGES, FITS, Age, Fit

UnitName = Literal["in", "mm", "cm"]
MM_PER = {"in": MM_PER_INCH, "mm": 1.0, "cm": 10.0}

Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
Basis = Annotated[str, Field(min_length=5)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Finite = Annotated[float, Field(allow_inf_nan=False)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class SizeTable(_Strict):
    """Measurements of several sizes of one fit and age: a row of numbers for each size."""

    age: Age
    fit: Fit = "regular"
    columns: tuple[Name, ...] = Field(min_length=1)
    sizes: dict[str, tuple[Positive, ...]] = Field(min_length=1)
    tolerance: Positive | None = None
    basis: Basis | None = None

    @model_validator(mode="after")
    def _rows_fit(self) -> SizeTable:
        for size, row in self.sizes.items():
            if len(row) != len(self.columns):
                raise ValueError(
                    f"size {size} has {len(row)} numbers for {len(self.columns)} columns"
                )
        if len(set(self.columns)) != len(self.columns):
            raise ValueError("a column is named twice")
        return self


class Chart(_Strict):
    """Size tables that styles share.

    Attributes
    ----------
    tolerance : float
        How far pieces of one box differ from one another, ± in the file's unit.
    """

    title: str
    unit: UnitName
    basis: Basis
    tolerance: Positive
    table: tuple[SizeTable, ...] = Field(min_length=1)


class GradingRule(_Strict):
    """A grading rule: one measure as a broken line over another.

    ``points`` are (of, measure) pairs with rising first numbers; between them the
    rule runs straight, beyond them it goes on as steeply as at its end. A single
    point is a constant.
    """

    measure: Name
    of: Name = "half_chest"
    points: tuple[tuple[Finite, Finite], ...] = Field(min_length=1)
    tolerance: Positive
    ages: tuple[Age, ...] = AGES
    fits: tuple[Fit, ...] = FITS
    basis: Basis

    @model_validator(mode="after")
    def _rising(self) -> GradingRule:
        given = [point[0] for point in self.points]
        if any(b <= a for a, b in itertools.pairwise(given)):
            raise ValueError("the first numbers of the points must rise")
        return self

    def value(self, of: float) -> float:
        """Return the measure for `of`, both in the file's unit."""
        points = self.points
        if len(points) == 1:
            return points[0][1]
        index = 1
        while index < len(points) - 1 and of > points[index][0]:
            index += 1
        (x0, y0), (x1, y1) = points[index - 1], points[index]
        return y0 + (y1 - y0) * (of - x0) / (x1 - x0)


class RuleBook(_Strict):
    """Grading rules, in the order in which they are asked."""

    unit: UnitName
    rule: tuple[GradingRule, ...] = Field(min_length=1)


class Style(_Strict):
    """What a garment is made of, and which chart and rules size it.

    Attributes
    ----------
    also : tuple of str
        Other names a run sheet may use.
    cut : str
        Which draft draws it: a top, one leg of trousers, a bag, a bag that is drawn shut by
        cords, an apron's bib, or the front of a cap.
    yoke : bool
        Whether the back has a seam across, below the shoulders.
    chart : str
        The chart file that holds its sizes.
    rules : tuple of str
        Books of grading rules that go before the cut's own, first one first.
    thickness : float
        One layer of cloth, in the file's unit.
    remark : str
        What to look at whenever it is pressed; empty for nothing.
    """

    label: str
    also: tuple[str, ...] = ()
    cut: Literal["top", "trousers", "bag", "cinch", "apron", "cap"]
    chart: Name
    rules: tuple[Name, ...] = ()
    ages: tuple[Age, ...] = AGES
    fits: tuple[Fit, ...] = ("regular",)
    neckline: Literal["crew", "v", "scoop", "stand", "band", "hood"] = "crew"
    sleeve: Literal["short", "three_quarter", "long", "none"] = "short"
    armhole: Literal["set_in", "raglan"] = "set_in"
    opening: Literal["none", "placket", "buttons", "zip", "quarter_zip"] = "none"
    buttons: int = Field(default=0, ge=0, le=12)
    pocket: Literal["none", "pouch", "split", "slash", "chest"] = "none"
    ends: Literal["turned", "rib", "snaps"] = "turned"
    yoke: bool = False
    unit: UnitName
    thickness: Positive
    remark: str = ""
    basis: Basis

    @model_validator(mode="after")
    def _whole(self) -> Style:
        if (self.opening in ("placket", "buttons")) != (self.buttons > 0):
            raise ValueError("a placket or a buttoned front has buttons, and only they do")
        if self.pocket == "split" and self.opening != "zip":
            raise ValueError("a split pocket needs a zip between its halves")
        return self


class ShopChart(_Strict):
    """The shop's sizes of a style, as imported; the file's name is the style's.

    Attributes
    ----------
    label : str
        What people call the style.
    like : str
        The built-in style that it is cut like.
    maker, number : str
        Who makes it and the maker's style number; empty where the shop does not say.
    """

    label: str = Field(min_length=1)
    like: Name
    maker: str = ""
    number: str = ""
    unit: UnitName
    basis: Basis
    tolerance: Positive
    table: tuple[SizeTable, ...] = Field(min_length=1)
