"""What passes between the operator and the run: questions, commands, what is asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from calibration.rig.file import Rig
from chalkbeam.basics.units import Unit
from chalkbeam.light.transfer_sign import TransferSign
from chalkbeam.orders.settings import Degrees, Setting
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Step
from chalkbeam.record.progress import Progress
from chalkbeam.station.modes import ORDER, Mode
from chalkbeam.station.ready_imprint import ReadyImprint
from overlay.window.inputs import Key

SCANNED = 0.05
"""Characters that follow each other faster than this, s, come from a scanner, not from fingers;
a lone character is held back that long to tell."""

WHY_SKIP = ("garment missing", "transfer missing", "later")
WHY_SPOILED = (
    "in the wrong place",
    "wrong transfer",
    "scorched",
    "did not stick",
    "garment flawed",
    "another reason",
    "only the transfer: the garment is good",
)
ONLY_TRANSFER = WHY_SPOILED[-1]
YES_NO = ("yes", "no")
IT_IS_SET = ("it is set",)
IT_IS_ON = ("it is on, and the light runs along its edges",)
RIGHT = ("size label and colour are right", "no: take another one")
FRESH = (
    "a fresh garment takes its place",
    "no garment left: leave it out",
    "no transfer left: leave it out",
)
MISSING = dict(zip(FRESH[1:], ("garment", "transfer"), strict=True))
"""What a spoiled piece is left out for want of."""


class Showing(Enum):
    """What is shown."""

    WORK = "work"
    CHECK = "check"
    HELP = "help"


class Asking(Enum):
    """What the operator is being asked."""

    SKIP = "Skip this imprint: why?"
    SPOIL = "Spoiled: why?"
    FRESH = "Spoiled: and now?"
    JUMP = "Go to piece"
    PLACE = "Put it at another location?"
    PRESSED = "Was it pressed?"
    GARMENT = "Is it the right garment?"


ANSWERS = {
    Asking.SKIP: WHY_SKIP,
    Asking.SPOIL: WHY_SPOILED,
    Asking.FRESH: FRESH,
    Asking.PLACE: YES_NO,
    Asking.PRESSED: YES_NO,
    Asking.GARMENT: RIGHT,
}


@dataclass(frozen=True)
class OperatorState:
    """Where the operator is beyond what is recorded: what is asked, moved, typed, shown.

    Attributes
    ----------
    showing : Showing
    dark : bool
        Whether the operator has switched the light off.
    leaving, over : bool
        Whether the next Escape ends; whether to end.
    asking : Asking or None
        The question that waits for an answer.
    reason : str
        The answer before, where one question follows another.
    typed : str
        What has been typed of a piece's number.
    question, elsewhere : str
        Whether the artwork goes to another location, or was pressed, in words; that location's
        name.
    then : (int, Step) or None
        Where to go once it is said whether the press was closed; None for to stay.
    moving : Shift or None
        Where the garment's lines have been moved to so far; None: they are not being moved.
    said : str
        A remark until the next key.
    trouble : str
        Something that stays wrong until it is put right.
    pressing_since : float or None
        When the press step began, s on the monotonic clock; None if unknown.
    sure : bool
        Whether the operator was told that the dwell is not over.
    stepped_at : float
        When a step was last asked for.
    eye : str
        What the press's camera has to say, until it has something else to say.
    sign : TransferSign or None
        How the laid transfer was seen to lie.
    held : tuple of Key
        Characters that may be the beginning of a scan.
    laid : str
        Id of the imprint that was laid before the current one, to be pressed with it.
    """

    showing: Showing = Showing.WORK
    dark: bool = False
    leaving: bool = False
    over: bool = False
    asking: Asking | None = None
    reason: str = ""
    typed: str = ""
    question: str = ""
    elsewhere: str = ""
    then: tuple[int, Step] | None = None
    moving: Shift | None = None
    said: str = ""
    trouble: str = ""
    pressing_since: float | None = None
    sure: bool = False
    stepped_at: float = float("-inf")
    eye: str = ""
    sign: TransferSign | None = None
    held: tuple[Key, ...] = ()
    laid: str = ""

    @property
    def due(self) -> float | None:
        """When to be woken, s on the monotonic clock."""
        return self.held[-1].at + SCANNED if self.held else None


class ConfirmedBy(Enum):
    """What said that a garment is the right one."""

    KEY = "key"
    SCAN = "scan"
    EYE = "eye"


class CommandKind(Enum):
    """What is to be done with the run."""

    STEP = "step"
    ASIDE = "aside"
    """Put the garment aside to cool, its carrier on; `text` is what was laid beside."""
    PRESS = "press"
    NUDGE = "nudge"
    NUDGE_BATCH = "nudge batch"
    COLLAR = "collar"
    COLLAR_BATCH = "collar batch"
    TRY = "try"
    """See whether the current imprint can be lit at another location; nothing is recorded."""
    PRESET = "preset"
    SKIP = "skip"
    SPOIL = "spoil"
    WASTE = "waste"
    """Record that the current imprint's transfer alone is spoiled."""
    UNDO = "undo"
    REDO = "redo"
    JUMP = "jump"
    PAUSE = "pause"
    SET_PRESS = "set press"
    """Record that the press is set to what the current imprint wants."""
    FIT_PLATEN = "fit platen"
    """Record that the platen is on that the current imprint wants."""
    CONFIRM = "confirm"
    """Record that the garment in hand is the right one; `text` is what said so, a `ConfirmedBy`."""


@dataclass(frozen=True)
class Command:
    """What is to be done, with its particulars; which of them count depends on its kind.

    `text` of a step to the peel, of an imprint put aside and of a press is the id of what was laid
    before and pressed with it.
    """

    kind: CommandKind
    step: Step = Step.LOAD
    shift: Shift = Shift()  # noqa: RUF009 - a frozen value
    text: str = ""
    index: int = 0
    replaced: bool = False
    missing: str = ""


@dataclass(frozen=True)
class RunView:
    """The run as it stands, for whoever looks at it: the loop, the light, a display.

    Attributes
    ----------
    progress : Progress
        Read only.
    locations : tuple of str
        What the number keys choose from.
    rig : Rig
        Which rig lights the current imprint; the first one where none can be lit.
    mode : Mode
    title : str
        Of the run.
    ready : ReadyImprint or None
        The current imprint, ready to be lit; None if there is none, or something stands in its
        way.
    refused : str
        What stands in its way; empty if nothing does.
    sheet_note : str
        What has become of the run sheet since the run began.
    note_in_light : bool
        Whether the light says so too, in the load step of the current piece.
    unit : Unit
        Unit of the lengths in the lettering.
    aiming : tuple of str
        What to do with line lasers before the current stop; empty where there are none.
    degrees : Degrees
        What temperatures are shown in.
    offers : tuple of str
        What is offered at the end of the order, a sentence each.
    with_next : int or None
        The stop whose transfer is laid beside the current one's, to be pressed once: a number
        under its name.
    confirms : bool
        Whether the shop wants size label and colour confirmed at load.
    queue_note : str
        As of `StationController`.
    """

    progress: Progress
    locations: tuple[str, ...]
    rig: Rig
    mode: Mode = ORDER
    title: str = ""
    ready: ReadyImprint | None = None
    refused: str = ""
    sheet_note: str = ""
    note_in_light: bool = False
    unit: Unit = Unit.MM
    aiming: tuple[str, ...] = ()
    degrees: Degrees = Degrees.AS_WRITTEN
    with_next: int | None = None
    offers: tuple[str, ...] = ()
    confirms: bool = False
    queue_note: str = ""

    @property
    def to_confirm(self) -> bool:
        """Whether the garment in hand is to be looked at before it is gone on with."""
        counted = self.confirms and self.mode.counted
        return counted and self.progress.to_confirm(self.progress.at)

    @property
    def to_set(self) -> Setting | None:
        """What the press is to be set to before the current imprint; None if to nothing."""
        return self.progress.to_set(self.progress.at)

    @property
    def to_fit(self) -> str | None:
        """The platen to be put on before the current imprint; None if none is."""
        return self.progress.to_fit(self.progress.at)

    @property
    def to_see_to(self) -> bool:
        """Whether the platen or the press is to be seen to before the current imprint."""
        return self.to_fit is not None or self.to_set is not None

    @property
    def can_light(self) -> bool:
        """Whether nothing stands in the way of the current imprint."""
        return not self.refused


def run_locations(names: Sequence[str]) -> tuple[str, ...]:
    """Return the locations that an order uses, as often used first, as many as number keys."""
    counts = {name: sum(each == name for each in names) for name in dict.fromkeys(names)}
    return tuple(sorted(counts, key=lambda name: -counts[name]))[:9]
