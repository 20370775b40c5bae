"""A row of a supplier's chart judged as a tape's lengths are, and brought to our own measures.

Suppliers measure some lengths otherwise than the drafts want them: the chest all round, the
sleeve from the centre of the back, the armhole straight along its seam.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from calibration.refusal import Refusal
from chalkbeam.garments.grading import measures_of
from chalkbeam.garments.library import Size, find_size, plain_size
from chalkbeam.garments.model import Fit, Measure
from chalkbeam.garments.schema import Style
from chalkbeam.garments.tape import believable, length_said, slip_of

OTHERWISE: Mapping[str, tuple[str, str]] = {
    "chest_girth": ("half_chest", "chest all round"),
    "centre_back_sleeve": ("sleeve_length", "sleeve from the centre of the back"),
    "armhole": ("pit_depth", "armhole straight along its seam"),
}
"""Measures as suppliers take them: ours that they tell, and their words."""

_FIRST = ("half_chest", "body_length", "shoulder_width")
"""Measures that others are judged by, so that a large cut is not taken for a slip."""


@dataclass
class Judged:
    """A row's lengths in our own measures, mm.

    Attributes
    ----------
    given : dict of measure name to mm
    faults : list of (str, str)
        What is not believed: the column's measure, and a sentence.
    notes : list of str
        How lengths were understood.
    """

    given: dict[str, float] = field(default_factory=dict)
    faults: list[tuple[str, str]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


class Judge:
    """Judges the rows of a chart of garments cut like a style.

    Parameters
    ----------
    style : Style
    sizes : mapping
        Every size of its own chart, by fit and name.
    sure : bool
        Whether lengths are believed however far they are from the usual.
    """

    def __init__(
        self, style: Style, sizes: Mapping[tuple[Fit, str], Size], sure: bool = False
    ) -> None:
        self._style, self._sizes, self._sure = style, sizes, sure

    def row(self, size: Size, lengths: Mapping[str, float]) -> Judged:
        """Return a size's lengths, by measure or `OTHERWISE`, as our own measures.

        Parameters
        ----------
        size : Size
            Its name, age and fit count alone.
        lengths : mapping of name to mm
        """
        judged = Judged()
        ours, run, place = self._ours(size)
        usual = self._usual(size, ours, {})
        order = sorted(lengths, key=lambda name: OTHERWISE.get(name, (name,))[0] not in _FIRST)
        for column in order:
            measure = OTHERWISE.get(column, (column,))[0]
            length = self._meant(column, lengths[column], usual)
            if column == "sleeve_length" and "shoulder_width" in usual:
                length = self._from_shoulder(size, length, usual, run, place, judged)
            if (fault := self._fault(size, measure, length, usual, run, place)) is not None:
                if column == "armhole" and length > usual[measure].value:
                    fault = (
                        f"An armhole of {length_said(lengths[column])} is too long for a "
                        f"{size.name}: was it measured all the way round? Give half of it."
                    )
                judged.faults.append((column, fault))
                continue
            judged.given[measure] = length
            if measure in _FIRST:
                usual = self._usual(size, ours, judged.given)
        return judged

    def _ours(self, size: Size) -> tuple[Size | None, list[dict[str, float]], int]:
        """Return the built-in size that a size is nearest to, all of its fit, and its place."""
        run = [each for (fit, _), each in self._sizes.items() if fit == size.fit]
        try:
            ours = find_size(plain_size(size.name), size.fit, self._style.label, self._sizes)
        except Refusal:
            ours = None
        alike = [each for each in run if each.age == size.age]
        nearest = ours or (alike[0] if alike and size.age == "infant" else None)
        nearest = nearest or (alike or run or [size])[-1]
        rows = [{name: each.value for name, each in one.given.items()} for one in run]
        return ours, rows, run.index(nearest) if nearest in run else 0

    def _usual(
        self, size: Size, ours: Size | None, given: Mapping[str, float]
    ) -> dict[str, Measure]:
        """Return what is usual for a size, as far as its own lengths tell."""
        known = dict(ours.given) if ours else {}
        known |= {
            name: Measure(length, size.tolerance, source="the shop's chart")
            for name, length in given.items()
        }
        return measures_of(self._style, replace(size, given=known), {}) if known else {}

    @staticmethod
    def _meant(column: str, length: float, usual: Mapping[str, Measure]) -> float:
        """Return a length as our measure of it."""
        if column == "chest_girth":
            return length / 2
        if column == "centre_back_sleeve" and "shoulder_width" in usual:
            return length - _to_the_tip(usual)
        if column == "armhole" and "shoulder_drop" in usual:
            inward = (usual["half_chest"].value - usual["shoulder_width"].value) / 2
            return usual["shoulder_drop"].value + math.sqrt(max(length**2 - inward**2, 0.0))
        return length

    def _from_shoulder(
        self,
        size: Size,
        length: float,
        usual: Mapping[str, Measure],
        run: list[dict[str, float]],
        place: int,
        judged: Judged,
    ) -> float:
        """Return a sleeve's length from the shoulder seam, however the supplier takes it."""
        shorter = length - _to_the_tip(usual)
        near = usual.get("sleeve_length")
        if near is None or shorter <= 0:
            return length
        fits = self._fault(size, "sleeve_length", shorter, usual, run, place) is None
        if not fits or abs(length - near.value) <= abs(shorter - near.value):
            return length
        judged.notes.append(
            f"The sleeve of {size.name}, {length_said(length)}, is taken as measured from the "
            f"centre of the back: {length_said(shorter)} from the shoulder seam."
        )
        return shorter

    def _fault(
        self,
        size: Size,
        measure: str,
        length: float,
        usual: Mapping[str, Measure],
        run: list[dict[str, float]],
        place: int,
    ) -> str | None:
        """Return a sentence where a length is not believed."""
        words = measure.replace("_", " ")
        if length <= 0:
            return f"The {words} would be nothing: check the length and its unit."
        if self._sure or measure not in usual:
            return None
        if measure in run[place]:
            low, high = believable(measure, replace_value(usual, run[place], measure), run, place)
        else:
            low, high = believable(measure, usual[measure], run, place)
        if low <= length <= high:
            return None
        chart = run[place].get(measure, usual[measure].value)
        said = slip_of(measure, length / chart) or "check the length and its unit."
        piece = f"{self._style.label[0].lower()}{self._style.label[1:]} {size.name}"
        return (
            f"The {words} of {length_said(length)} is far from the {length_said(chart)} that is "
            f"usual for a {piece}: {said}"
        )


def replace_value(usual: Mapping[str, Measure], row: Mapping[str, float], measure: str) -> Measure:
    """Return a measure with the value that the built-in chart gives it."""
    return replace(usual[measure], value=row[measure])


def _to_the_tip(usual: Mapping[str, Measure]) -> float:
    """Return how far the shoulder's tip is from the centre of the back neck seam, mm."""
    rise = usual["shoulder_drop"].value - usual["back_neck_drop"].value
    return math.hypot(usual["shoulder_width"].value / 2, rise)
