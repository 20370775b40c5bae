"""What the eye sees of the work, and what it wishes to be done: the words of `steps`."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from chalkbeam.eye.values import TransferVerdict


class Sight(Enum):
    """What the camera sees."""

    MOVING = "moving"
    EMPTY = "empty"
    """The platen as it was remembered bare, even if something moves beside it."""
    CLOTH = "cloth"
    """Still, and something else lies on the platen than was remembered."""
    LOADED = "loaded"
    """Still, and the garment lies as it was remembered."""
    SHIFTED = "shifted"
    """Still, and the garment looks otherwise than remembered, though nothing lies at the target."""
    SHEET = "sheet"
    """Still, and something lies on the remembered garment, near the target and apart from
    whatever comes in from the edge."""
    REACHING = "reaching"
    """Still, and something comes in over the remembered garment from the edge."""
    COVERED = "covered"
    """Still, and the whole platen is hidden though its surroundings are not."""


class FlashKind(Enum):
    """What a flash is to tell."""

    EMPTY = "empty"
    GARMENT = "garment"
    TRANSFER = "transfer"
    PRINT = "print"
    """How the print lies that was just pressed."""
    LOOK = "look"
    """Whether the garment is hidden indeed, or looks so in a shadow."""


# -- what happens ------------------------------------------------------------------------------


@dataclass(frozen=True)
class Seen:
    """The camera sees something; may be told again and again.

    Attributes
    ----------
    still : bool
        Whether nothing moves; all but `Sight.EMPTY` and `Sight.MOVING` imply it.
    """

    sight: Sight
    at: float
    still: bool = True

    @property
    def moves(self) -> bool:
        """Whether something moves."""
        return self.sight is Sight.MOVING or not self.still


@dataclass(frozen=True)
class RunAt:
    """The run stands here.

    Attributes
    ----------
    imprint : str
        The current imprint's id; empty when the order is finished.
    step : str
        "load", "lay" or "press".
    dwell : float or None
        Seconds that its sheet asks for.
    idle : bool
        Whether the run waits for a person (paused, a question, nothing to light): nothing is
        wished then.
    """

    imprint: str = ""
    step: str = "load"
    dwell: float | None = None
    idle: bool = False


@dataclass(frozen=True)
class Moved:
    """The run has gone to another place.

    Attributes
    ----------
    run : RunAt
    by_eye : bool
        Whether a wish of this machine took it there; else a person did.
    """

    run: RunAt
    by_eye: bool
    at: float


@dataclass(frozen=True)
class GarmentRead:
    """A flash told where the garment lies.

    Attributes
    ----------
    fits : bool
        Whether it is surely there and may be pressed so.
    proposed : bool
        Else whether a place was proposed, which a person may confirm.
    """

    fits: bool
    at: float
    proposed: bool = False


@dataclass(frozen=True)
class Confirmed:
    """A person has said where the garment lies."""

    at: float


@dataclass(frozen=True)
class TransferRead:
    """A flash told how the transfer lies."""

    verdict: TransferVerdict
    at: float


@dataclass(frozen=True)
class PrintRead:
    """A flash of the pressed print was read."""

    at: float


@dataclass(frozen=True)
class NothingLies:
    """A flash told that what it was for, garment or transfer, does not lie there."""

    at: float


@dataclass(frozen=True)
class Hidden:
    """A flash for a transfer told that the garment is hidden indeed: the press is closed."""

    at: float


@dataclass(frozen=True)
class NotHidden:
    """A flash told that the garment is not hidden: what looked so was a shadow."""

    at: float


@dataclass(frozen=True)
class EmptyRead:
    """A flash of what may be the empty platen was looked at.

    Attributes
    ----------
    other : bool
        Whether another garment lies there than the one that was measured last.
    """

    at: float
    other: bool = False


@dataclass(frozen=True)
class Blinded:
    """The camera cannot be gone by; `why` is the sentence for the operator."""

    why: str
    at: float


@dataclass(frozen=True)
class SeesAgain:
    """The camera can be gone by again."""

    at: float


EyeEvent = (
    Seen | Moved | GarmentRead | Confirmed | TransferRead | PrintRead | NothingLies | Hidden
    | NotHidden | EmptyRead | Blinded | SeesAgain
)  # fmt: skip


# -- what is wished ----------------------------------------------------------------------------


@dataclass(frozen=True)
class Flash:
    """Show a burst and read it."""

    kind: FlashKind


@dataclass(frozen=True)
class StopFlash:
    """Stop the burst that runs, and forget what it was to tell."""


@dataclass(frozen=True)
class TakeStep:
    """Go on to a step of the imprint that the run was told to be at.

    `since` is when the head was seen to close, for the step "press".
    """

    step: str
    since: float | None = None


@dataclass(frozen=True)
class CountPress:
    """Count the current imprint as pressed: its whole closing was seen."""

    seconds: float


@dataclass(frozen=True)
class AskPressed:
    """Ask whether the current imprint was pressed; `why` it is not known."""

    why: str


@dataclass(frozen=True)
class Remember:
    """Remember what lies there as the loaded garment."""


@dataclass(frozen=True)
class Say:
    """Tell the operator a sentence; empty takes the last one back."""

    words: str


Wish = Flash | StopFlash | TakeStep | CountPress | AskPressed | Remember | Say
Wishes = tuple[Wish, ...]
