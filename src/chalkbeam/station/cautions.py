"""Cautions where the hand meets what they are about, from the order and what was done so far."""

from __future__ import annotations

import re

from chalkbeam.orders.second_heat import Heated
from chalkbeam.record.events import Step
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
    said += _heated(progress, at.index)
    if "hot" in stop.imprint.press.peel.casefold():
        said.append(HOT_PEEL)
    if stop.fit.pad:
        said.append(PAD)
    if _HARD.search(stop.piece.style):
        said.append(BUTTONS)
    return tuple(said)


def cover_lines(progress: Progress, at: At) -> tuple[str, ...]:
    """Return which finished prints to cover before the head closes, in one line; none without."""
    if at.index is None:
        return ()
    closes = at.step is Step.LAY or (at.step is Step.LOAD and progress.prepress(at.index))
    places = [place_words(where) for where, _ in heated_again(progress, at.index)] if closes else []
    return (f"cover the finished {' and '.join(places)}",) if places else ()


def _heated(progress: Progress, index: int) -> list[str]:
    """Return what is said of finished prints that come under the head once more."""
    found = heated_again(progress, index)
    if not found:
        return []
    places = " and ".join(place_words(where) for where, _ in found)
    sparing = "" if progress.stops[index].covers is not None else "keep it off the platen, or "
    said = f"This heats the finished print again ({places}): {sparing}cover it as "
    hotter = [place_words(where) for where, heated in found if heated.hotter]
    more = f" It is hotter than {' and '.join(hotter)} was pressed at." if hotter else ""
    second = [heated.print_.press.second for _, heated in found if heated.stands_it]
    if second and len(second) == len(found):
        return [f"{said}for its own second press ({'; '.join(dict.fromkeys(second))}).{more}"]
    return [f"{said}its supplier's sheet says.{more}"]


def heated_again(progress: Progress, index: int) -> tuple[tuple[str, Heated], ...]:
    """Return the finished prints on a piece that are under the head once more, and where they are.

    As the order of work found out; where it did not, or one of them went to another location,
    those of the same loading: a garment threaded another way has them below, beside or off the
    platen. A number right under its name is pressed next to it all the same.
    """
    stop = progress.stops[index]
    found = []
    for each in progress.places_of(stop.piece.id):
        other = progress.stops[each]
        if each == index or progress.outcomes.get(other.imprint.id) is not Outcome.PRESSED:
            continue
        here = ((each, other), (index, stop))
        moved = any(progress.location(place) != at.imprint.location for place, at in here)
        if stop.covers is None or moved:
            under = other.fit.loading == stop.fit.loading
        else:
            under = other.imprint.id in stop.covers
        if under:
            found.append((progress.location(each), Heated(other.imprint, stop.imprint)))
    return tuple(found)
