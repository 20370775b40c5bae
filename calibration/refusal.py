"""The one kind of error that an operator sees, and what would mend it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class RemedyKind(Enum):
    """What would mend a refused calibration."""

    ONE_MORE = "one more photo"
    """The photos so far stay."""

    HEIGHT = "a photo on a board, or the lens's place by tape, or thinner cloth"
    """The photos so far stay; photos of one plane say little of height, however many."""

    AGAIN = "one photo again"
    """The others stay."""

    SINCE_MOVED = "all photos again, something having moved"
    """The newest shows what now is, and stays."""

    ALL_AGAIN = "cards or projector put right, then all photos again"

    SPACER_AGAIN = "cards on the board put right, then its photos again"
    """Those of the bare platen stay."""

    MEASURE = "something measured again"
    """No photo helps."""

    CROSSES = "more or surer crosses"


@dataclass(frozen=True)
class Remedy:
    """What would mend what was refused, for a program that goes on by itself.

    Attributes
    ----------
    kind : RemedyKind
    photo : str
        File name of the photo that is to be taken again; "" where none is.
    side : str
        Side of the platen, "left", "right" or "front", from which one more photo would tell
        most; "" where any will do.
    """

    kind: RemedyKind
    photo: str = ""
    side: str = ""


class Refusal(ValueError):
    """The input cannot be used; the message is one sentence an operator can act on.

    The sentence says what is wrong, where, and what to do. The command line
    prints it and exits with code 2. Programming errors are never refusals.

    Parameters
    ----------
    said : str
        The sentence; or its beginning, what is wrong and where, if `advice` is given.
    advice : str
        What to do, without a full stop: the sentence is then "said: advice.".
    remedy : Remedy, optional
        The same advice as a value, where a program can follow it.
    """

    def __init__(self, said: str, advice: str = "", *, remedy: Remedy | None = None) -> None:
        super().__init__(f"{said}: {advice}." if advice else said)
        self.advice = advice
        self.remedy = remedy
        self._said = said

    def advising(self, advice: str) -> Refusal:
        """Return the same refusal with other advice."""
        return Refusal(self._said, advice, remedy=self.remedy)
