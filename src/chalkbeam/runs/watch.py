"""What may change under a run while it is worked: the sheet and the artwork files.

The run goes on with the order as it was when it began; these say, in one sentence, that
the files are no longer what they were.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from calibration.refusal import Refusal
from chalkbeam.runs.pieces import Art, Piece
from chalkbeam.runs.store import Run
from chalkbeam.runs.table import digest_of


def sheet_trouble(run: Run) -> str | None:
    """Return what has become of the run's sheet; None if it is unchanged."""
    try:
        if digest_of(Path(run.sheet)) == run.digest:
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
    """Return how two readings of a sheet differ, a sentence for each row that does."""
    rows: dict[int, list[list[Piece]]] = {}
    for side, pieces in enumerate((before, now)):
        for piece in pieces:
            rows.setdefault(piece.row, [[], []])[side].append(piece)
    said = []
    for row, (old, new) in sorted(rows.items()):
        if old == new:
            continue
        if not old:
            said.append(f"Row {row} is new: {len(new)} × {new[0].pile}.")
        elif not new:
            said.append(f"Row {row} is gone: it was {len(old)} × {old[0].pile}.")
        elif len(old) != len(new):
            said.append(f"Row {row} now has {len(new)} pieces instead of {len(old)}.")
        else:
            said.append(f"Row {row} reads differently: it was {old[0].pile}.")
    return tuple(said)
