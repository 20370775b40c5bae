"""What may change under a run while it is worked: the sheet and the artwork files.

The run goes on with the order as it was when it began; these say, in one sentence, that
the files are no longer what they were.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from difflib import SequenceMatcher
from itertools import groupby, zip_longest
from pathlib import Path

from calibration.refusal import Refusal
from chalkbeam.runs.pieces import Art, Piece
from chalkbeam.runs.store import Run
from chalkbeam.runs.table import digest_of


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
        "on with the order as it was; to take the changes in, leave it and begin with --anew."
    )


def artwork_trouble(art: Art) -> str | None:
    """Return what has become of an artwork's file; None if it is there."""
    if art.path is None or art.path.is_file():
        return None
    return (
        f"The artwork file {art.path} is missing: put it back, or skip this imprint and come back "
        "to it."
    )


def differences(before: Sequence[Piece], now: Sequence[Piece]) -> tuple[str, ...]:
    """Return how two readings of a sheet differ, a sentence for each row that does.

    Pieces in the sheet's own order. A row that has only moved, as below a blank line put
    in, does not differ.
    """
    old, new = _rows(before), _rows(now)
    before_alike, now_alike = ([tuple(map(_content, row)) for row in side] for side in (old, new))
    said = []
    for tag, a, b, c, d in SequenceMatcher(
        None, before_alike, now_alike, autojunk=False
    ).get_opcodes():
        if tag != "equal":
            said += [_difference(*pair) for pair in zip_longest(old[a:b], new[c:d], fillvalue=())]
    return tuple(said)


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
    if not old:
        return f"Row {new[0].row} is new: {len(new)} × {new[0].pile}."
    if not new:
        return f"Row {old[0].row} is gone: it was {len(old)} × {old[0].pile}."
    if len(old) != len(new):
        count = "1 piece" if len(new) == 1 else f"{len(new)} pieces"
        return f"Row {new[0].row} now has {count} instead of {len(old)}."
    return f"Row {new[0].row} reads differently: it was {old[0].pile}."
