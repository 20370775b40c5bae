"""Keys typed at a window under the dummy driver, from when its first picture is up."""

import time

import pygame

from chalkbeam.station import run_when_ready
from overlay.window import run


def type_keys(patched, keys, early=()):
    """Let keys come one at each look for input; `early` ones while the window gets ready.

    Parameters
    ----------
    patched : pytest.MonkeyPatch
    keys, early : sequence of int
        pygame's key codes.
    """
    hasty, waiting, seen, looked = list(early), list(keys), [], []
    get, show = pygame.event.get, run._Window.show

    def typed():
        events = get()
        if len(seen) > 1 and not looked:  # the first look for input with the first picture up
            looked.append(time.monotonic())
        settled = looked and time.monotonic() > looked[0] + run_when_ready.SETTLING
        due = hasty or (waiting if settled else [])
        if due:
            key = due.pop(0)
            text = chr(key) if 32 < key < 127 else ""
            events += [
                pygame.event.Event(pygame.KEYDOWN, key=key, mod=0, unicode=text),
                pygame.event.Event(pygame.KEYUP, key=key, mod=0),
            ]
        return events

    def shown(self, frame):
        show(self, frame)
        if not seen or frame is not seen[-1]:
            seen.append(frame)

    patched.setattr(pygame.event, "get", typed)
    patched.setattr(run._Window, "show", shown)
    if not early:
        patched.setattr(run_when_ready, "SETTLING", 0.0)
