"""What the queue has to say to a press at work."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from chalkbeam.presses.claims import Claim
from chalkbeam.record.elsewhere import Elsewhere


@dataclass(frozen=True)
class FromQueue:
    """News for the press, from the thread that asks the queue.

    Attributes
    ----------
    claimed : tuple of Claim
        What the press may work from now on.
    lost : mapping of str to str
        Pieces that another press has taken over, and that press's name.
    elsewhere : Elsewhere or None
        What the other presses have said by now; None where that is as before.
    away : str
        Why the queue does not answer; empty while it does.
    waiting : str
        Why nothing more comes though something is left; empty where there is no such reason.
    said : tuple of str
        What a person is to look into.
    """

    claimed: tuple[Claim, ...] = ()
    lost: Mapping[str, str] = field(default_factory=dict)
    elsewhere: Elsewhere | None = None
    away: str = ""
    waiting: str = ""
    said: tuple[str, ...] = ()


def lost_words(lost: Mapping[str, str]) -> list[str]:
    """Return what is told of pieces that this press has no more, by who has them now."""
    of_holder: dict[str, list[str]] = {}
    for piece in sorted(lost):
        of_holder.setdefault(lost[piece], []).append(piece)
    return [
        f"Piece {pieces[0]} is {holder}'s by now: put it aside, and ask there."
        if len(pieces) == 1
        else f"Pieces {', '.join(pieces)} are {holder}'s by now: put them aside, and ask there."
        for holder, pieces in of_holder.items()
    ]
