"""How large names and numbers are set: as asked, else as usual there, all of a kind alike."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from chalkbeam.artwork import Artwork, LetterStyle, letter, tallest
from chalkbeam.basics.sentences import Sentence
from chalkbeam.garments import Garment
from chalkbeam.locations import Axis, Location
from chalkbeam.placement.values import CLOSE

SHEET_MARGIN = 6.0
"""Blank carrier around a name or number, mm."""


@dataclass(frozen=True)
class LetterLine:
    """A name or a number, and where it goes."""

    garment: Garment
    location: Location
    text: str


@dataclass(frozen=True)
class CommonHeight:
    """The one height of capitals of all names of a kind.

    Attributes
    ----------
    height : float
        mm.
    usual : float
        What is usual where they go, mm; more than `height` where a long one holds all back.
    held_by : str
        The name that leaves the least room.
    least : float
        The lowest height usual there, mm.
    """

    height: float
    usual: float
    held_by: str
    least: float


def widest_on(garment: Garment, location: Location) -> float | None:
    """Return how wide letters may be at a location of a garment, mm; None where nothing limits it.

    The usual widths there, and what its rules leave between the garment's side seams.
    """
    usual = location.preset.width.get(garment.age)
    limits = [] if usual is None else [usual.high]
    across = garment.face(location.face).across
    ends: dict[str, list[float]] = {"ink_left": [], "ink_right": []}
    for rule in location.rules:
        counts = garment.age in rule.ages and garment.fit in rule.fits and rule.line in across
        if counts and rule.axis is Axis.ACROSS and rule.bound == "at_least" and rule.art in ends:
            band = rule.band(garment.age, {})
            ends[rule.art].append(across[rule.line].value + rule.sign * band.usual)
    if ends["ink_left"] and ends["ink_right"] and location.turn == 0.0:
        limits.append(min(ends["ink_right"]) - max(ends["ink_left"]))
    return min(limits, default=None)


def common_height(
    lines: Iterable[LetterLine], style: LetterStyle, wanted: float | None = None
) -> CommonHeight:
    """Return the height of capitals at which all of some lines fit.

    They are set in the height that is usual where they go, unless one is too wide then
    however condensed: then all are as high as that one can be.

    Parameters
    ----------
    lines : iterable of LetterLine
        Of one location and one age, at least one.
    style : LetterStyle
    wanted : float, optional
        A height in place of the usual one, mm.

    Raises
    ------
    Refusal
        If a line cannot be set in the font.
    """
    room: dict[str, float] = {}
    usual = least = 0.0
    for line in lines:
        usual, least = line.location.letter_height(line.garment.age)
        usual = usual if wanted is None else wanted
        widest = widest_on(line.garment, line.location)
        if widest is not None:
            room[line.text] = min(widest, room.get(line.text, widest))
    heights = {text: tallest(text, style, widest) for text, widest in room.items()}
    held_by = min(heights, key=lambda text: heights[text], default="")
    height = min(usual, heights.get(held_by, usual))
    return CommonHeight(height, usual, held_by, least)


def set_letters(
    line: LetterLine,
    style: LetterStyle,
    *,
    width: float | None = None,
    height: float | None = None,
    sheet_margin: float = SHEET_MARGIN,
    mirrored: bool = False,
) -> Artwork:
    """Return a name or number as artwork: in the size asked for, else the usual one.

    Parameters
    ----------
    line : LetterLine
    style : LetterStyle
    width, height : float, optional
        Of its ink, or of its capitals, mm: kept as asked.
    sheet_margin, mirrored
        As in `chalkbeam.artwork.letter`.

    Raises
    ------
    TooLong
        If it is too wide at the height asked for, however condensed.
    Refusal
        As `chalkbeam.artwork.letter`.
    """
    common = common_height([line], style) if width is None and height is None else None
    artwork = letter(
        line.text,
        width=width,
        height=common.height if common is not None else height,
        widest=None if width is not None else widest_on(line.garment, line.location),
        font=style.font,
        arc=style.arc,
        narrowest=style.narrowest,
        sheet_margin=sheet_margin,
        mirrored=mirrored,
    )
    if common is None or common.height >= common.usual - CLOSE:
        return artwork
    words = "Capitals {0} high instead of the usual {1}, which would be too wide here."
    note = Sentence(words, (common.height, common.usual))
    return replace(artwork, notes=(note, *artwork.notes))
