"""The one kind of error that an operator sees, and what would mend it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class RemedyKind(Enum):
    """What an operator can do. How it is done, a host knows: an option typed, a button pressed."""

    ONE_MORE = "one more photo, from the side that is the value if one is told"
    """The photos so far stay."""

    ON_SPACER = "one more photo, the cards on a board"
    """The photos so far stay; photos of one plane say little of height, however many."""

    AGAIN = "the photo whose file name is the value, again"
    """The others stay."""

    SINCE_MOVED = "all photos again, something having moved"
    """The newest shows what now is, and stays."""

    ALL_AGAIN = "cards or projector put right, then all photos again"

    SPACER_AGAIN = "cards on the board put right, then its photos again"
    """Those of the bare platen stay."""

    CROSSES = "as many crosses as the value"
    BAR = "the printed bar measured"
    SPACER = "the height of the board under the cards measured"
    LENS = "the place of the projector's lens by tape"
    THROW = "the throw ratio of the projector's data sheet"
    UP_TO = "no cloth that is higher than the value, mm"
    PART_LIT = "a picture on a part of the platen alone"

    NEW_RIG = "a calibration"
    NEW_RIG_FILE = "a calibration, kept in the file that is the value"
    RIG_FILE = "the rig kept in a file of its own"
    RIG = "a rig named"
    DEFAULT_RIG = "a rig for all that name none"
    DISPLAY = "the projector's display named"
    SAME_MARKS = "platen, picture and marks as they were when the crosses were set"
    SET_AGAIN = "all crosses set again"

    WIDTH = "the width of the ink"
    SHEET_WIDTH = "the width of the whole sheet"
    WHOLE = "the background taken for ink"
    PAGE = "another page"
    CLOTH_PARTS = "the parts of a photo that show cloth and white paper"
    CHART = "a chart of sizes read in"
    REPLACE = "the chart of that name replaced"

    AS_RECORDED = "the run gone on with as it was recorded"
    NEW_RUN = "the unfinished run left aside, and a new one begun"
    TAKE_CHANGES = "what is pressed kept, and the order gone on with as it reads now"
    ONLY_SPOILED = "only what was spoiled or skipped pressed"
    RUNS = "a look at the runs that there are"
    RESCUE = "what can be read of the record, the file that is the value, written to a new one"
    SAMPLES = "the folder of the sample photos named"


@dataclass(frozen=True)
class Remedy:
    """Something that would mend what is told, named in the words of a sentence about it.

    Attributes
    ----------
    kind : RemedyKind
    words : str
        What to do, as it reads in the sentence.
    value : str or float
        What goes with it, as the kind says; "" where nothing does.
    """

    kind: RemedyKind
    words: str
    value: str | float = ""

    def __str__(self) -> str:
        return self.words


Phrase = str | Remedy
"""A part of a sentence."""


class Refusal(ValueError):
    """The input cannot be used; the message is one sentence an operator can act on.

    The sentence says what is wrong, where, and what to do. The command line
    prints it and exits with code 2. Programming errors are never refusals.

    Parameters
    ----------
    *said : str or Remedy
        The sentence, in parts where remedies stand in it. As a message it reads the same
        everywhere; a host may add to each remedy how it is done there.
    """

    def __init__(self, *said: Phrase) -> None:
        super().__init__("".join(map(str, said)))
        self.said = said

    @property
    def remedies(self) -> tuple[Remedy, ...]:
        """What would mend it, in the order of the sentence."""
        return tuple(each for each in self.said if isinstance(each, Remedy))
