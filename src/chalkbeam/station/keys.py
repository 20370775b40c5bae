"""Which key does what: one pure table, the same at the press and in every window.

A pedal, a presenter or a scanner counts as a keyboard: pedals and presenters send
page down, page up, space or B; a scanner types what it reads.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum, auto

from overlay.window.inputs import Key

COARSE, FINE = 1.0, 0.1
"""Steps of the arrow keys, mm: alone and with Shift."""

TURN, FINE_TURN = math.radians(0.5), math.radians(0.1)
"""Steps of the turning keys, radians: alone and with Shift. Over 100 mm 0.1° is 0.17 mm."""


class Act(Enum):
    """What the operator wants."""

    ON = auto()
    """The next step."""
    BACK = auto()
    """The step before."""
    NUDGE = auto()
    """Move the lines: `x`, `y`, mm, to the operator's right and away from the operator."""
    TURN = auto()
    """Turn the lines: `angle`, radians, counter-clockwise as seen from above."""
    AS_PLANNED = auto()
    """Take all nudges back."""
    PRESET = auto()
    """Show the location with this `number`, from 1."""
    DARK = auto()
    """All light off, or on again."""
    CHECK = auto()
    """The view to hold a ruler to, or back from it."""
    HELP = auto()
    """The list of keys, or away with it."""
    GARMENT = auto()
    """Move the garment's lines on to the real collar, or stop doing so."""
    KEEP = auto()
    """Take what was moved or typed."""
    KEEP_FOR_BATCH = auto()
    """Take what was moved, for the rest of the batch."""
    SKIP = auto()
    SPOIL = auto()
    UNDO = auto()
    REDO = auto()
    JUMP = auto()
    """Go to another piece by its number."""
    PAUSE = auto()
    LEAVE = auto()
    """End; asked for once more before it is done."""
    LEAVE_NOW = auto()
    """End at once."""


@dataclass(frozen=True)
class Action:
    """What a key asks for; see `Act` for which values count."""

    act: Act
    x: float = 0.0
    y: float = 0.0
    angle: float = 0.0
    number: int = 0


_ARROWS = {"left": (-1, 0), "right": (1, 0), "up": (0, 1), "down": (0, -1)}

_KEYS = {
    "space": Act.ON,
    "page down": Act.ON,
    "page up": Act.BACK,
    "backspace": Act.BACK,
    "0": Act.AS_PLANNED,
    "b": Act.DARK,
    ".": Act.DARK,
    "c": Act.CHECK,
    "h": Act.HELP,
    "f1": Act.HELP,
    "g": Act.GARMENT,
    "return": Act.KEEP,
    "s": Act.SKIP,
    "x": Act.SPOIL,
    "u": Act.UNDO,
    "j": Act.JUMP,
    "p": Act.PAUSE,
    "escape": Act.LEAVE,
}
_SHIFTED = {"u": Act.REDO, "return": Act.KEEP_FOR_BATCH}
_CONTROLLED = {"z": Act.UNDO, "y": Act.REDO, "q": Act.LEAVE_NOW}


def action_for(key: Key) -> Action | None:
    """Return what a key asks for; None if nothing.

    A key held down repeats only where that is harmless: moving and turning. A foot
    resting on the pedal must not run through the order.
    """
    if key.control:
        act = _CONTROLLED.get(key.name)
        return Action(act) if act and not key.repeated else None
    if key.name in _ARROWS:
        step = FINE if key.shift else COARSE
        x, y = _ARROWS[key.name]
        return Action(Act.NUDGE, x=x * step, y=y * step)
    if key.name in ("l", "r"):
        turn = FINE_TURN if key.shift else TURN
        return Action(Act.TURN, angle=turn if key.name == "l" else -turn)
    if key.repeated:
        return None
    if len(key.name) == 1 and key.name in "123456789":
        return Action(Act.PRESET, number=int(key.name))
    act = (_SHIFTED.get(key.name) if key.shift else None) or _KEYS.get(key.name)
    return Action(act) if act else None


def likely_keys(last: Key | None) -> tuple[Key, ...]:
    """Return what may be pressed next, the likeliest first, of the keys that change the light.

    `last` is what moved lines last: they are moved on by it, or else by as large a step. What
    goes on, or takes a step back, is not among them.
    """
    shift = last is not None and last.shift
    moves = dict.fromkeys((*(() if last is None else (last.name,)), *_ARROWS, "l", "r"))
    return (*(Key(name, shift=shift) for name in moves), *map(Key, _PAGES))


_PAGES = ("0", "g", "h", "c", "x", "s", "escape", "j")


def keys_for(act: Act) -> tuple[str, ...]:
    """Return the names of the keys that ask for something, as written on them."""
    if act is Act.NUDGE:
        return ("arrows",)
    if act is Act.TURN:
        return ("L", "R")
    if act is Act.PRESET:
        return ("1–9",)
    plain = [name for name, does in _KEYS.items() if does is act]
    shifted = [f"Shift {name}" for name, does in _SHIFTED.items() if does is act]
    held = [f"Ctrl {name}" for name, does in _CONTROLLED.items() if does is act]
    return tuple(name.title() if len(name) > 1 else name.upper() for name in plain + shifted + held)
