"""Where the eye is with the work: what it knows of the garment, the transfer and the press."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

from chalkbeam.eye.closing import Closing
from chalkbeam.eye.sights import FlashKind, RunAt


class Lying(Enum):
    """What is known of the garment on the platen."""

    NONE = "none"
    UNREAD = "unread"
    READING = "reading"
    ASKEW = "askew"
    """Read, and to be moved."""
    UNSURE = "unsure"
    """Read, and proposed: it waits for a person's word."""
    KNOWN = "known"
    DONE = "done"
    """Pressed, or there since before anybody looked: it must go before the next one counts."""


class Transfer(Enum):
    """What is known of the transfer on the garment."""

    NONE = "none"
    READING = "reading"
    NOTHING = "nothing"
    """Looked for, and nothing lies there yet."""
    GOOD = "good"
    DOUBTFUL = "doubtful"
    """To be moved, or not to be seen."""


_NOWHERE = RunAt()


@dataclass(frozen=True)
class EyeState:
    """Where the eye is with the work.

    Attributes
    ----------
    run : RunAt
    lying : Lying
    transfer : Transfer
    stirred : bool
        Whether anything moved since the transfer was measured.
    closing : Closing or None
    flash : FlashKind or None
        Which one runs or is being read.
    asked : bool
        Whether the question about this press is out.
    checked : bool
        Whether the empty platen was looked at since it became empty.
    blind : str
        Why the camera cannot be gone by; empty if it can.
    still : float or None
        Since when nothing has moved, s.
    looked : bool
        Whether what lies so still was looked into by a flash.
    told : bool
        Whether it was said that something lies over the edge.
    doubt : str
        Why the imprint may have been pressed before its press step; empty if nothing says so.
    """

    run: RunAt = _NOWHERE
    lying: Lying = Lying.DONE
    transfer: Transfer = Transfer.NONE
    stirred: bool = False
    closing: Closing | None = None
    flash: FlashKind | None = None
    asked: bool = False
    checked: bool = False
    blind: str = ""
    still: float | None = None
    looked: bool = False
    told: bool = False
    doubt: str = ""

    @property
    def unread(self) -> EyeState:
        """The state with whatever was being read to be read again."""
        lying, transfer = self.lying, self.transfer
        return replace(
            self,
            flash=None,
            lying=Lying.UNREAD if lying is Lying.READING else lying,
            transfer=Transfer.NONE if transfer is Transfer.READING else transfer,
        )
