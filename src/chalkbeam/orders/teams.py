"""The names and numbers of an order as one team's: of one height, the numbers at one depth.

What goes to one location, in one face and on garments of one age, has capitals of one height;
where the sheet states none, the longest name decides. Numbers stand under names of that height
whether a piece has a name or not.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple, cast

from calibration.refusal import Refusal
from chalkbeam.artwork import LetterStyle
from chalkbeam.artwork.faces import USUAL, find_face, usual_face
from chalkbeam.artwork.letters import narrower_words, percent
from chalkbeam.artwork.setting import least_share, share_within
from chalkbeam.basics.units import Unit, format_length
from chalkbeam.garments import Fit, garment
from chalkbeam.locations import location as find_location
from chalkbeam.orders.pieces import ArtKind, Imprint, NameLine, Piece
from chalkbeam.orders.place_imprint import NAMES
from chalkbeam.placement.lettering import CommonHeight, LetterLine, common_height, widest_on
from chalkbeam.placement.values import CLOSE

MOST_NAMED = 6
"""More condensed names than this are only counted."""


@dataclass(frozen=True)
class LetterKind:
    """What lettering of one height has in common; `height` where the sheet states it, mm."""

    location: str
    what: ArtKind
    age: str
    face: str
    arc: float | None
    height: float | None
    narrowest: float | None = None

    @property
    def words(self) -> str:
        """What is meant, for people."""
        what = "names" if self.what is ArtKind.NAME else "numbers"
        return f"{what} ({find_location(self.location).title}, {self.age} sizes)"


class Place(NamedTuple):
    """Where a problem is: row, and which of the piece's imprints, from 1."""

    row: int
    imprint: int


@dataclass
class _Group:
    """The lettering of a kind: each line once a width that it may have, and where it stands."""

    lines: dict[tuple[str, float], LetterLine] = field(default_factory=dict)
    places: dict[tuple[str, float], list[Place]] = field(default_factory=dict)


@dataclass(frozen=True)
class Team:
    """An order's lettering worked out together.

    Attributes
    ----------
    pieces : tuple of Piece
        With `Imprint.common` and `Imprint.under` filled in.
    notes : tuple of str
        What the shop should know: heights that a long name holds back, names condensed.
    problems : tuple of (Place, str)
        Names too long for the height that the sheet states, and the height that fits all.
    """

    pieces: tuple[Piece, ...]
    notes: tuple[str, ...]
    problems: tuple[tuple[Place, str], ...]


def as_team(pieces: Sequence[Piece]) -> Team:
    """Return an order's lettering worked out together."""
    pieces = _in_one_face(pieces)
    kinds: dict[str, LetterKind] = {}
    groups: dict[LetterKind, _Group] = {}
    narrowest: dict[tuple[ArtKind, str], float] = {}  # what one row allows holds for its team
    for _, _, imprint in _lettered(pieces):
        if imprint.narrowest is not None:
            team = _team_of(imprint)
            narrowest[team] = min(imprint.narrowest, narrowest.get(team, 1.0))
    for piece, number, imprint in _lettered(pieces):
        try:
            worn = garment(piece.style, piece.size, fit=cast(Fit, piece.fit or "regular"))
            where = find_location(imprint.location)
            room = widest_on(worn, where) or float("inf")
        except Refusal:  # told where the imprint is placed
            continue
        art = imprint.art
        kind = LetterKind(where.name, art.kind, worn.age, imprint.face, imprint.arc, imprint.height)
        kind = replace(kind, narrowest=narrowest.get(_team_of(imprint)))
        kinds[imprint.id] = kind
        if imprint.width is None or imprint.height is not None:
            group, key = groups.setdefault(kind, _Group()), (art.text, room)
            group.lines.setdefault(key, LetterLine(worn, where, art.text))
            group.places.setdefault(key, []).append(Place(piece.row, number))
    found: dict[LetterKind, CommonHeight] = {}
    for kind, group in groups.items():
        try:
            found[kind] = common_height(group.lines.values(), _style(kind), kind.height)
        except Refusal:  # told where the imprint is read
            continue
    names = _names_over(found)
    return Team(
        tuple(
            replace(
                piece,
                imprints=tuple(
                    _set_together(each, kinds.get(each.id), found, names) for each in piece.imprints
                ),
            )
            if any(each.id in kinds for each in piece.imprints)
            else piece
            for piece in pieces
        ),
        tuple(note for kind in found for note in _notes(kind, found[kind], groups[kind])),
        tuple(each for kind in found for each in _problems(kind, found[kind], groups[kind])),
    )


def _lettered(pieces: Iterable[Piece]) -> Iterator[tuple[Piece, int, Imprint]]:
    for piece in pieces:
        for number, imprint in enumerate(piece.imprints, start=1):
            if imprint.art.kind is not ArtKind.FILE:
                yield piece, number, imprint


def _in_one_face(pieces: Sequence[Piece]) -> Sequence[Piece]:
    """Return pieces whose lettering bears its face where the usual one lacks letters of it."""
    usual = usual_face({i.art.text for _, _, i in _lettered(pieces) if not i.face})
    if usual == USUAL:
        return pieces

    def faced(imprint: Imprint) -> Imprint:
        bare = imprint.art.kind is not ArtKind.FILE and not imprint.face
        return replace(imprint, face=usual) if bare else imprint

    return [replace(piece, imprints=tuple(map(faced, piece.imprints))) for piece in pieces]


def _team_of(imprint: Imprint) -> tuple[ArtKind, str]:
    return imprint.art.kind, imprint.face


def _style(kind: LetterKind) -> LetterStyle:
    return LetterStyle(find_face(kind.face or USUAL), kind.arc, kind.narrowest)


def _set_together(
    imprint: Imprint,
    kind: LetterKind | None,
    found: Mapping[LetterKind, CommonHeight],
    names: Mapping[str, NameLine],
) -> Imprint:
    if kind is None:
        return imprint
    sized = imprint.width is not None or imprint.height is not None
    common = None if sized or kind not in found else found[kind].height
    stands = any(rule.line == "name_foot" for rule in find_location(kind.location).rules)
    under = names.get(kind.age) if kind.what is ArtKind.NUMBER and stands else None
    return replace(imprint, common=common, under=under, narrowest=kind.narrowest)


def _names_over(found: Mapping[LetterKind, CommonHeight]) -> dict[str, NameLine]:
    """Return the names that numbers stand under, by age; none where they are of several kinds."""
    lines: dict[str, set[NameLine]] = {}
    for kind, common in found.items():
        if kind.what is ArtKind.NAME and kind.location == NAMES:
            height = common.height if kind.height is None else kind.height
            lines.setdefault(kind.age, set()).add(NameLine(height, kind.arc))
    return {age: known.pop() for age, known in lines.items() if len(known) == 1}


def _both(length: float) -> str:
    return f"{format_length(length, Unit.MM)} ({format_length(length, Unit.INCH)})"


def _notes(kind: LetterKind, common: CommonHeight, group: _Group) -> Iterator[str]:
    height = common.height if kind.height is None else kind.height
    if kind.height is None and common.height < common.usual - CLOSE:
        words = (
            f"All {kind.words} are {_both(height)} high, not the usual {_both(common.usual)}: "
            f"“{common.held_by}” is too wide for more."
        )
        if common.height < common.least - CLOSE:
            advice = narrower_words(list(group.lines), common.usual, _style(kind))
            words += f" That is small: {advice}."
        yield words
    shares: dict[str, float] = {}
    for (text, room), line in group.lines.items():
        share = share_within(line.text, _style(kind), height, room)
        shares[text] = min(share, shares.get(text, 1.0))
    narrow = {text: share for text, share in shares.items() if share < 0.995}
    if narrow:
        told = [
            f"{text} to {percent(share)}"
            for text, share in sorted(narrow.items(), key=lambda each: each[1])
        ]
        more = f" and {len(told) - MOST_NAMED} more" if len(told) > MOST_NAMED else ""
        listed = ", ".join(told[:MOST_NAMED])
        yield f"Condensed to fit at {_both(height)}, {kind.words}: {listed}{more}."


def _problems(kind: LetterKind, common: CommonHeight, group: _Group) -> Iterator[tuple[Place, str]]:
    if kind.height is None or common.height >= kind.height - 1e-6:
        return
    style = _style(kind)
    advice = narrower_words(list(group.lines), kind.height, style)
    for (text, room), line in group.lines.items():
        share = share_within(line.text, style, kind.height, room)
        least = least_share(line.text, style)
        if share >= least - 1e-6:
            continue
        words = (
            f"“{text}” {_both(kind.height)} high is wider than {_both(room)}, even condensed to "
            f"{percent(least)}: {_both(common.height)} high all {kind.words} fit; or {advice}"
        )
        for place in group.places[text, room]:
            yield place, words
