"""What the page at the press shows, as plain values that any program could read."""

from __future__ import annotations

from typing import Any

from chalkbeam.station.display import Display, GettingReady
from chalkbeam.station.words import ENDS
from chalkbeam.web.press.picture import picture_of

Values = dict[str, Any]
"""JSON's own kinds alone."""


def values_of(display: Display | GettingReady, number: str, at: float, art: str = "") -> Values:
    """Return what the page shows.

    Parameters
    ----------
    display : Display or GettingReady
    number : str
        Of the state, for taps.
    at : float
        The time now on the monotonic clock, s.
    art : str
        Address of the artwork's picture.
    """
    if isinstance(display, GettingReady):
        return {
            "ready": False, "number": "", "title": display.title,
            "done": display.done, "pieces": display.pieces,
        }  # fmt: skip
    ends = display.dwell_ends
    return {
        "ready": True,
        "number": number,
        "title": display.title,
        "heading": display.heading,
        "piece": display.piece,
        "whose": display.whose,
        "step": display.step.value if display.step is not None else "",
        "where": display.where,
        "art": display.art,
        "locations": [list(each) for each in display.locations],
        "fitting": display.fitting,
        "lie": display.lie,
        "settings": display.settings,
        "prepress": display.prepress,
        "steps": [each.value for each in display.steps],
        "meanwhile": display.meanwhile,
        "afterwards": display.afterwards,
        "cooling": [
            [what, None if until is None else max(0.0, until - at)]
            for what, until in display.cooling
        ],
        "dwell": display.dwell,
        "left": None if ends is None else max(0.0, ends - at),
        "asked": list(display.asked),
        "to_set": display.to_set,
        "typing": display.typing,
        "moving": display.moving,
        "moved": display.moved,
        "remark": display.remark,
        "trouble": display.trouble,
        "warnings": [
            [severity.name.lower(), said] for severity, said in display.warnings if said != ENDS
        ],
        "coming": [list(each) for each in display.coming],
        "results": [list(each) for each in display.results],
        "pressed": display.pressed,
        "skipped": display.skipped,
        "spoiled": display.spoiled,
        "total": display.total,
        "time": display.left,
        "paused": display.paused,
        "dark": display.dark,
        "picture": picture_of(display, art),
    }
