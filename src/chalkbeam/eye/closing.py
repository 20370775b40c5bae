"""A closing of the press as it was seen, and whether it was a press."""

from __future__ import annotations

from dataclasses import dataclass, replace

from chalkbeam.eye.sights import RunAt

LEAST_CLOSED = 3.0
"""Without a dwell on the sheet the platen must be covered so long for a press to have closed, s:
a sheet that is smoothed down or somebody leaning over covers it for less. Common practice, no
source."""

EARLY = 1.0
"""A closing may seem so much shorter than its dwell, s: the head is seen to rest only once it has
been still for a while."""

SHORT = "the press was seen closed for {0:.0f} s of {1:.0f}"
UNCHECKED = "its transfer was not seen to lie right"
NOT_WATCHED = "the camera did not see all of it"
NOT_CLOSED = "the press was not seen to close"


@dataclass(frozen=True)
class Closing:
    """The platen is or was covered.

    Attributes
    ----------
    first : float
        When first, s.
    since : float or None
        Since when without a break; None while something moves.
    longest : float
        Longest stretch without a break that is over, s.
    whole : bool
        Whether the camera could be gone by all the while.
    """

    first: float
    since: float | None
    longest: float = 0.0
    whole: bool = True

    def stirred(self, at: float) -> Closing:
        """Return it with its stretch ended."""
        if self.since is None:
            return self
        return replace(self, since=None, longest=max(self.longest, at - self.since))

    def resting(self, at: float) -> Closing:
        """Return it with a stretch that runs."""
        return self if self.since is not None else replace(self, since=at)

    def unseen(self) -> Closing:
        """Return it as one that the camera did not see all of."""
        return replace(self, since=None, whole=False)

    def may_be_press(self, run: RunAt, at: float) -> bool:
        """Tell whether it may have been a press: long enough, seen or not."""
        return (self.longest if self.whole else at - self.first) >= enough(run)

    def short_words(self, run: RunAt) -> str:
        """Say how much too short it was."""
        return SHORT.format(self.longest, run.dwell if run.dwell is not None else LEAST_CLOSED)


def enough(run: RunAt) -> float:
    """Return how long the platen must be covered for a press to count, s."""
    if run.dwell is None:
        return LEAST_CLOSED
    return max(run.dwell - EARLY, min(run.dwell, LEAST_CLOSED))
