"""The buttons of the page at the press, each with the keys that it stands for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from chalkbeam.station.keys import Act, keys_for
from overlay.window.inputs import Key

LONGEST = 40
"""Letters of a piece's number."""


@dataclass(frozen=True)
class Button:
    """A button.

    Attributes
    ----------
    key : Key
    act : Act
        What it asks for.
    """

    key: Key
    act: Act

    @property
    def cap(self) -> str:
        """What is written on its key."""
        return keys_for(self.act)[0]


BUTTONS: dict[str, Button] = {
    "on": Button(Key("space"), Act.ON),
    "back": Button(Key("page up"), Act.BACK),
    "undo": Button(Key("u"), Act.UNDO),
    "redo": Button(Key("u", shift=True), Act.REDO),
    "skip": Button(Key("s"), Act.SKIP),
    "spoil": Button(Key("x"), Act.SPOIL),
    "collar": Button(Key("g"), Act.GARMENT),
    "keep": Button(Key("return"), Act.KEEP),
    "keep_batch": Button(Key("return", shift=True), Act.KEEP_FOR_BATCH),
    "planned": Button(Key("0"), Act.AS_PLANNED),
    "dark": Button(Key("b"), Act.DARK),
    "squares": Button(Key("c"), Act.CHECK),
    "keys": Button(Key("h"), Act.HELP),
    "pause": Button(Key("p"), Act.PAUSE),
    "leave": Button(Key("escape"), Act.LEAVE),
    "end": Button(Key("q", control=True), Act.LEAVE_NOW),
    "left": Button(Key("left"), Act.NUDGE),
    "right": Button(Key("right"), Act.NUDGE),
    "up": Button(Key("up"), Act.NUDGE),
    "down": Button(Key("down"), Act.NUDGE),
    "turn_left": Button(Key("l"), Act.TURN),
    "turn_right": Button(Key("r"), Act.TURN),
    "fine_left": Button(Key("left", shift=True), Act.NUDGE),
    "fine_right": Button(Key("right", shift=True), Act.NUDGE),
    "fine_up": Button(Key("up", shift=True), Act.NUDGE),
    "fine_down": Button(Key("down", shift=True), Act.NUDGE),
    "fine_turn_left": Button(Key("l", shift=True), Act.TURN),
    "fine_turn_right": Button(Key("r", shift=True), Act.TURN),
    **{f"choose_{digit}": Button(Key(f"{digit}"), Act.PRESET) for digit in range(1, 10)},
}
"""By name. The digits choose a location, or answer a question."""


def caps() -> dict[str, str]:
    """Return what is written on each button's key, where it has one of its own."""
    plain = {name: each.cap for name, each in BUTTONS.items() if each.act not in _MANY}
    return plain | {"piece": keys_for(Act.JUMP)[0]}


_MANY = (Act.NUDGE, Act.TURN, Act.PRESET)


def keys_of(sent: Mapping[str, object]) -> tuple[Key, ...] | None:
    """Return the keys that a tap stands for; None if it is none.

    Parameters
    ----------
    sent : mapping
        `button` is one of `BUTTONS`; or "piece", with `text`, a piece to go to; or "typed",
        where its number is asked for already.
    """
    name, text = sent.get("button"), sent.get("text", "")
    if not isinstance(name, str) or not isinstance(text, str):
        return None
    if name in BUTTONS:
        return (BUTTONS[name].key,)
    if name not in ("piece", "typed") or not text.strip() or not text.isprintable():
        return None
    typed = tuple(Key(letter, text=letter) for letter in text.strip()[:LONGEST])
    asks = (Key("j"),) if name == "piece" else ()
    return (*asks, *typed, Key("return"))
