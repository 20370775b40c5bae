"""Where work can hurt: said by the commands at which the risk arises.

All common practice, no source; the instructions of the press and of the transfer,
local codes and licensed practice come first.
"""

LIGHT = (
    "The projector's light is strong: do not look into its lens, and lean over the platen only "
    "with the light off (key B)."
)
PRESS = (
    "The platen is hot and the press can pinch: keep hands clear when it closes, and air the room."
)
FIRST = "The press's and the transfer's own instructions and your local rules come first."

CALIBRATING = f"Take care. Heat off, platen cold, press open. {LIGHT} {FIRST}"
"""Before light is measured on the platen."""

OUTLINE = (
    "Before the first garment light the platen's outline (key C): if it does not run along the "
    "platen's edges, calibrate again."
)
"""A pattern that did not fill the projector's screen shows in no photo; a bump comes later."""

AT_THE_PRESS = f"Take care. {LIGHT} {PRESS} {FIRST}\n{OUTLINE}"
"""Before light is shown on a press."""

LASERS = (
    "Line lasers: only units whose maker states class 2 or below. Never look into the light, nor "
    "at its reflection off a bare platen, buttons, zips or jewellery; hang them so that none "
    "points at a face and none can fall on to the press."
)
WITH_TICKS = (
    f"Take care. {LASERS} {PRESS} Aim before the press is hot, or with its head locked "
    f"open and hands off the platen. {FIRST}"
)
"""Before a shift with line lasers."""

SCANNER = (
    "Take care. The unit's maker classifies it; this program does not make it safe. A scanner can "
    "stop, and then its whole beam stands on one spot: only units of class 2 or below at rest. "
    "Never look into it, nor at its reflection off a bare platen, buttons, zips or jewellery; "
    "mount it so that it cannot turn to a face or fall; use its interlock, and take its key out. "
    "Read IEC 60825-1 and your local rules; licensed practice comes first."
)
"""Before a frame for a scanner is written."""
