"""What may change under a run while it is worked: the sheet and the artwork files.

The run goes on with the order as it was when it began; these say, in one sentence, that
the files are no longer what they were.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from difflib import SequenceMatcher
from itertools import groupby, zip_longest
from pathlib import Path

from calibration.refusal import Refusal
from chalkbeam.basics.spreadsheets import digest_of
from chalkbeam.orders.garment_words import pile_words
from chalkbeam.orders.pieces import Imprint, Piece
from chalkbeam.orders.problems import row_words
from chalkbeam.record.runs import Run


def sheet_trouble(run: Run, known: str = "") -> str | None:
    """Return what has become of the run's sheet; None if it is unchanged.

    `known` is the digest of an edited sheet that the operator goes on with.
    """
    try:
        if digest_of(Path(run.sheet)) in (run.digest, known):
            return None
    except Refusal:
        return (
            f"The run sheet {Path(run.sheet).name} is gone or cannot be read: the run goes on "
            "with the order as it was recorded."
        )
    return (
        f"The run sheet {Path(run.sheet).name} has been edited since this run began: the run goes "
        "on with the order as it was; to take the changes in, leave it and begin a new run."
    )


def differences(before: Sequence[Piece], now: Sequence[Piece]) -> tuple[str, ...]:
    """Return how two readings of a sheet differ, a sentence for rows that differ alike.

    Pieces come in the order of the sheet's rows. A row that has only moved, as
    below a blank line put in, does not differ.
    """
    old, new = _rows(before), _rows(now)
    known: dict[tuple[Piece, ...], int] = {}  # numbers are compared faster than rows
    alike = [
        [known.setdefault(tuple(map(_content, row)), len(known)) for row in side]
        for side in (old, new)
    ]
    told: dict[str, list[int]] = {}
    for a, b, c, d in _unlike(*alike):
        for was, reads in zip_longest(old[a:b], new[c:d], fillvalue=()):
            told.setdefault(_difference(was, reads), []).append((reads or was)[0].row)
    return tuple(f"{row_words(rows).capitalize()}: {words}" for words, rows in told.items())


def _unlike(old: Sequence[int], new: Sequence[int]) -> Iterator[tuple[int, int, int, int]]:
    """Yield the spans old[a:b] and new[c:d] that differ, as (a, b, c, d)."""
    if len(old) == len(new):
        # Row by row first: the longest match may pair any of several equal rows. `edited` is the
        # least number of edits; where far more rows differ by place, rows have moved.
        edited = (Counter(old) - Counter(new)).total()
        places = [at for at, (one, other) in enumerate(zip(old, new, strict=True)) if one != other]
        if len(places) <= 2 * edited:
            yield from ((at, at + 1, at, at + 1) for at in places)
            return
    for tag, a, b, c, d in SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if tag != "equal":
            yield a, b, c, d


_Row = tuple[Piece, ...]


def _rows(pieces: Sequence[Piece]) -> list[_Row]:
    return [tuple(row) for _, row in groupby(pieces, key=lambda piece: piece.row)]


def _content(piece: Piece) -> Piece:
    """Return a piece without what its row's place in the sheet and its folder have given it."""
    imprints = tuple(
        replace(
            imprint,
            id=imprint.id.rpartition("/")[2],
            follows=imprint.follows and imprint.follows.rpartition("/")[2],
            art=replace(imprint.art, path=None),
        )
        for imprint in piece.imprints
    )
    return replace(piece, id="", row=0, imprints=imprints)


def _difference(old: _Row, new: _Row) -> str:
    """Return what has become of a row."""
    if not old:
        return f"new, {len(new)} × {pile_words(new[0].pile)}."
    if not new:
        return f"gone, it was {len(old)} × {pile_words(old[0].pile)}."
    if len(old) != len(new):
        count = "1 piece" if len(new) == 1 else f"{len(new)} pieces"
        return f"{count} instead of {len(old)}."
    pairs = zip(old, new, strict=True)  # pieces of a row may differ: sizes may stand across
    was, reads = next(pair for pair in pairs if len(set(map(_content, pair))) > 1)
    if was.pile != reads.pile:
        return f"{pile_words(reads.pile)} instead of {pile_words(was.pile)}."
    if len(was.imprints) != len(reads.imprints):
        return f"{len(reads.imprints)} imprints instead of {len(was.imprints)}."
    prints = [(_said(a), _said(b)) for a, b in zip(was.imprints, reads.imprints, strict=True)]
    changed = [
        word
        for one, other in [(_said(was), _said(reads)), *prints]
        for word in one
        if one[word] != other[word]
    ]
    return f"another {' and '.join(dict.fromkeys(changed)) or 'wording'}."


def _said(thing: Piece | Imprint) -> dict[str, object]:
    """Return what a sheet's columns say of a piece, or of an imprint, by their names."""
    if isinstance(thing, Piece):
        names = ("name", "number", "note", "order", "recipient", "customer", "order_number")
        return {name.replace("_", " "): getattr(thing, name) for name in names}
    return {
        "location": thing.location,
        "artwork": thing.art.stack,  # a name or number differs in its own column
        "width": thing.width,
        "height": thing.height,
        "platen": thing.platen,
        "pad": thing.padding,
        "collar place": thing.overhang,
        "turn": thing.turn,
        "cut": thing.art.cut,
        "press setting": thing.press,
    }
