"""The columns of a supplier's chart: which measure each is, whatever the supplier calls it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from chalkbeam.basics.cells import Row
from chalkbeam.garments.model import Age, Fit

ALSO_CALLED: Mapping[str, tuple[str, ...]] = {
    "size": ("sz", "sizes", "garment size"),
    "age": ("age group", "group", "range"),
    "fit": ("cut", "gender"),
    "half_chest": (
        "chest", "chest width", "body width", "width", "chest flat", "pit to pit",
        "armpit to armpit", "chest half", "1 2 chest", "flat chest", "bust",
    ),
    "chest_girth": ("chest circumference", "full chest", "girth", "chest around"),
    "body_length": ("length", "body", "total length", "length from hps", "back length",
                    "full body length", "length from high point of shoulder",
                    "hps length", "body length from hps", "length from high point shoulder"),
    "sleeve_length": ("sleeve", "sleeve from shoulder seam", "sleeve from shoulder"),
    "centre_back_sleeve": (
        "center back sleeve", "sleeve from centre back", "sleeve from center back",
        "sleeve length from centre back", "sleeve length from center back", "cb sleeve",
        "sleeve cb", "sleeve centre back", "sleeve center back", "sleeve length cb",
        "sleeve length center back", "centre back sleeve length", "center back sleeve length",
    ),
    "neck_width": ("neck", "neck opening", "collar width"),
    "front_neck_drop": ("neck drop", "front drop", "front neck"),
    "back_neck_drop": ("back drop", "back neck"),
    "shoulder_width": ("shoulder", "shoulders", "across shoulder", "shoulder to shoulder"),
    "pit_depth": ("armhole depth", "hps to armpit", "shoulder to pit"),
    "armhole": ("armhole straight", "arm hole", "armhole width"),
    "hem_width": ("hem", "bottom width", "sweep"),
    "hip_width": ("hip", "hips"),
    "inseam": ("inside leg", "inner leg"),
    "panel_width": ("bag width",),
    "panel_height": ("bag height", "height"),
}  # fmt: skip
"""Our names for columns, and what else shops write; a measure's own name always counts too."""

AGE_WORDS: Mapping[str, Age] = {
    "infant": "infant", "baby": "infant", "infants": "infant", "toddler": "toddler",
    "toddlers": "toddler", "youth": "youth", "kids": "youth", "kid": "youth", "child": "youth",
    "children": "youth", "junior": "youth", "adult": "adult", "adults": "adult", "men": "adult",
    "mens": "adult", "women": "adult", "womens": "adult", "unisex": "adult",
}  # fmt: skip
FIT_WORDS: Mapping[str, Fit] = {
    "": "regular", "regular": "regular", "men": "regular", "mens": "regular",
    "unisex": "regular", "standard": "regular", "womens": "womens", "women": "womens",
    "woman": "womens", "ladies": "womens", "lady": "womens", "f": "womens", "m": "regular",
}  # fmt: skip
_HOW = re.compile(
    r"^[a-h] |\b(garment|laid|flat|measured|measurements?)\b"
    r"|\b1 (in |inch )?(below|under) (the )?(arm ?hole|arm ?pit|under ?arm|pit)\b"
)
"""What suppliers add to a measure's name that makes no other measure of it: the letter in the
drawing beside, that it is taken flat, an inch below the armhole."""
_UNITS = {"in": "in", "inch": "in", "inches": "in", "mm": "mm", "cm": "cm"}


@dataclass(frozen=True)
class ChartColumn:
    """A column that is understood: which measure, and the unit of its bare numbers."""

    index: int
    name: str
    unit: str


def _words(text: str) -> str:
    return " ".join(re.sub(r"[\W_]+", " ", text.lower()).split())


def column_of(index: int, title: str, names: Sequence[str], unit: str | None) -> ChartColumn | None:
    """Return what a header means, and the unit of its bare numbers; None if it is no measure."""
    words = _words(re.sub(r"[\"”″]", " in ", title)).split()
    found = unit or ""
    if len(words) > 1 and words[-1] in _UNITS:
        found = _UNITS[words.pop()]
    text = " ".join(words)
    plain = " ".join(_HOW.sub(" ", text).split())
    for name in names:
        if {text, plain} & {_words(name), *ALSO_CALLED.get(name, ())}:
            return ChartColumn(index, name, found)
    return None


def header_of(
    rows: Sequence[Row], names: Sequence[str], unit: str | None
) -> tuple[int, list[ChartColumn], list[str]] | None:
    """Return the row, of the first twenty, with the most known columns, "size" among them."""
    best: tuple[int, list[ChartColumn], list[str]] | None = None
    for index, row in enumerate(rows[:20]):
        cells = [(place, cell) for place, cell in enumerate(row) if isinstance(cell, str) and cell]
        read = [(cell, column_of(place, cell, names, unit)) for place, cell in cells]
        known = [column for _, column in read if column]
        if any(column.name == "size" for column in known) and len(known) > len(
            best[1] if best else [0]
        ):
            best = index, known, [cell for cell, column in read if column is None]
    return best


_STATED = re.compile(
    r"\b(inches|inch|centimet(?:re|er)s|cm|millimet(?:re|er)s|mm)\b", re.IGNORECASE
)


def unit_above(rows: Sequence[Row]) -> str | None:
    """Return the one unit that a chart names for all its lengths, above them; None if it is open.

    Such as “All measurements in inches”, or “Measurement (cm)” over the names of measures.
    """
    said = {
        _SPELLED[word.lower()[:4]]
        for row in rows
        for cell in row
        if isinstance(cell, str)
        for word in _STATED.findall(cell)
    }
    return said.pop() if len(said) == 1 else None


_SPELLED = {"inch": "in", "cent": "cm", "cm": "cm", "mill": "mm", "mm": "mm"}
