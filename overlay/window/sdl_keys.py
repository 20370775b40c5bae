"""A key of the window library as an input."""

from __future__ import annotations

import pygame

from overlay.window.inputs import Key

_NAMES = {
    pygame.K_KP_ENTER: "return",
    pygame.K_KP_PLUS: "+",
    pygame.K_KP_MINUS: "-",
    pygame.K_KP_PERIOD: ".",
    **{getattr(pygame, f"K_KP{digit}"): str(digit) for digit in range(10)},
}


def key_of(event: pygame.event.Event, repeated: bool, now: float) -> Key:
    """Return what went down at the time `now`, s on the monotonic clock."""
    return Key(
        name=_NAMES.get(event.key) or pygame.key.name(event.key),
        shift=bool(event.mod & pygame.KMOD_SHIFT),
        control=bool(event.mod & (pygame.KMOD_CTRL | pygame.KMOD_META)),
        text=event.unicode if event.unicode.isprintable() else "",
        repeated=repeated,
        at=now,
    )
