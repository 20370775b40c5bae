"""Cautions where the hand meets what they are about, from the order and what was done so far."""

from __future__ import annotations

import re

from chalkbeam.record.progress import At, Outcome, Progress
from chalkbeam.station.words import place_words

HOT_PEEL = "Hot peel: the carrier is as hot as the platen; peel it away from you."
PAD = "Only a pad made for heat presses: others can melt, or give off fumes."
BUTTONS = "Buttons and zips off the pressed area, or sunk beside a pad: under the head they break."

_HARD = re.compile(r"placket|zip|polo|button|snap", re.IGNORECASE)
"""Styles that have buttons or zips, by their names."""


def cautions(progress: Progress, at: At) -> tuple[str, ...]:
    """Return what to take care of at a stop, a sentence each.

    Common practice, no source: that hot carriers burn, that foam not made for it melts, that
    buttons crack, and that a print heated again may stick to what lies on it, or shift.
    """
    if at.index is None:
        return ()
    stop = progress.stops[at.index]
    said = []
    if heated := heated_again(progress, at.index):
        places = " and ".join(place_words(each) for each in heated)
        said.append(
            f"This heats the finished print again ({places}): keep it off the platen, or cover it "
            "as its supplier's sheet says."
        )
    if "hot" in stop.imprint.press.peel.casefold():
        said.append(HOT_PEEL)
    if stop.fit.pad:
        said.append(PAD)
    if _HARD.search(stop.piece.style):
        said.append(BUTTONS)
    return tuple(said)


def heated_again(progress: Progress, index: int) -> tuple[str, ...]:
    """Return the locations of prints on the piece that lie under the head once more at a stop.

    Those of the same loading: a garment threaded another way has them below, beside or off the
    platen. A number right under its name is pressed next to it all the same.
    """
    stop = progress.stops[index]
    return tuple(
        progress.location(each)
        for each, other in enumerate(progress.stops)
        if other.piece.id == stop.piece.id
        and each != index
        and other.fit.loading == stop.fit.loading
        and progress.outcomes.get(other.imprint.id) is Outcome.PRESSED
    )
