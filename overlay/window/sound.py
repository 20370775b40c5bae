"""A tone for the end of the dwell, where there is a loudspeaker. Light never waits for sound."""

from __future__ import annotations

import math
import os
import sys
from contextlib import suppress
from pathlib import Path

os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")

import numpy as np
import pygame

try:
    import pygame.mixer as mixer
except ImportError:  # a bare machine may lack what sound needs (GLib)
    mixer = None  # type: ignore[assignment]  # a module, which has no type of its own

_RATE = 22050  # samples a second
_FADE = 200.0  # samples at both ends: a tone cut off cracks


def beep(seconds: float = 0.6, hertz: float = 880.0) -> None:
    """Sound a tone; do nothing where that cannot be."""
    if sys.platform.startswith("linux") and not Path("/dev/snd").exists():
        return  # the sound library would complain on the terminal at length
    if mixer is None:
        return
    place = np.arange(round(seconds * _RATE))
    wave = np.sin(place * (math.tau * hertz / _RATE))
    fade = np.minimum(1.0, np.minimum(place, place[::-1]) / _FADE)
    with suppress(pygame.error):
        if mixer.get_init() is None:
            mixer.init(_RATE, -16, 1)
        mixer.Sound(buffer=(wave * fade * 20000).astype(np.int16).tobytes()).play()


def silence() -> None:
    """Give the loudspeaker back."""
    if mixer is not None:
        mixer.quit()
