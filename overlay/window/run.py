"""Fullscreen light on the projector, or an ordinary window. The only file that opens one.

A window shows one picture and waits. The program is a fold: each input makes a new state
out of the old one, and a new picture is drawn only when `view` returns another frame than
before. At rest nothing runs but one look a second at whether the display is still there.
"""

from __future__ import annotations

import gc
import math
import os
import queue
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import TypeVar

os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
# A fullscreen window must stay lit when the operator clicks into another one.
os.environ.setdefault("SDL_VIDEO_MINIMIZE_ON_FOCUS_LOSS", "0")
# Else Windows scales the picture on displays with large text, and nothing is true to scale.
os.environ.setdefault("SDL_WINDOWS_DPI_AWARENESS", "permonitorv2")
# The press-side light must not go dark behind a screen saver.
os.environ.setdefault("SDL_VIDEO_ALLOW_SCREENSAVER", "0")
if sys.platform.startswith("linux"):
    # Through shared memory; without a graphics card the other way goes by a software renderer.
    os.environ.setdefault("SDL_FRAMEBUFFER_ACCELERATION", "0")

import cv2
import numpy as np
import pygame

from calibration.refusal import Refusal
from overlay.draw.frame import Frame
from overlay.window.displays import (
    ConnectedDisplay,
    Screen,
    chosen,
    found_again,
    listed,
    numbered,
    other_size,
)
from overlay.window.inputs import (
    Closed,
    DisplayBack,
    DisplayLost,
    Input,
    Pointer,
    Tick,
)
from overlay.window.outputs import Output, listing_for, outlive_x_errors
from overlay.window.sdl_environment import environment, quiet_search
from overlay.window.sdl_keys import key_of
from overlay.window.sound import silence

State = TypeVar("State")

_LOOK_EVERY = 1.0
"""Seconds between two looks at whether the display is still there."""

_POLL_EVERY = 0.004
"""Seconds between two looks for input at rest. pygame's own waiting looks every millisecond, which
keeps a core busy by 2 percent for nothing."""

_POLL_AT_WORK, _AT_WORK = 0.002, 2.0
"""Seconds between two looks for input while the last one is no longer ago than so many: keys come
in runs, and the next one is answered sooner."""

_REPEAT_AFTER, _REPEAT_EVERY = 350, 40
"""Milliseconds until a key that is held repeats, and from then on."""


def displays() -> tuple[ConnectedDisplay, ...]:
    """Return the displays there are.

    Raises
    ------
    Refusal
        If the system shows none.
    """
    with _video():
        return _displays(listing_for(pygame.display.get_driver())())


def choose_display(size: tuple[int, int], wanted: int | None = None) -> int:
    """Return the number of the display to fill with a picture of `size`; see `screens.chosen`."""
    return chosen(displays(), size, wanted)


def run(
    state: State,
    screen: Screen,
    *,
    update: Callable[[State, Input], State],
    view: Callable[[State], Frame | None],
    done: Callable[[State], bool],
    due: Callable[[State], float | None] = lambda state: None,
    shown: Callable[[State], None] = lambda state: None,
    ahead: Callable[[State], Iterator[None] | None] = lambda state: None,
    listen: Callable[[Callable[[Input], None]], None] | None = None,
) -> State:
    """Show a picture and let inputs change it until it is done; return the last state.

    Parameters
    ----------
    state : State
        Any immutable value.
    screen : Screen
    update : callable
        (state, input) to the next state.
    view : callable
        State to the frame to show, shape (h, w, 3), BGR, of the screen's size; None is
        darkness. Nothing is drawn while it returns the very same array.
    done : callable
        Whether to end.
    due : callable
        State to the time, on the monotonic clock, at which it wants a `Tick`; None for none.
    shown : callable
        Is told the state each time its picture is up, before anything is waited for.
    ahead : callable
        State to what may be got ready while nothing happens, in steps so small that a key can
        wait for one; asked for each time its picture is up. None goes on with what was begun.
    listen : callable, optional
        Is given a function that passes an input on to `update`, safe to call from any
        thread.

    Raises
    ------
    Refusal
        If the display is not there or has another picture size than the frames.
    """
    with _video():
        window = _Window(screen)
        if listen is not None:
            listen(window.inbox.put)
        window.show(view(state))
        shown(state)
        window.works = ahead(state) or window.works
        # What is there by now stays: looking through it for waste would hold a picture up.
        gc.freeze()
        try:
            while not done(state):
                for happened in window.wait(due(state)):
                    state = update(state, happened)
                    if done(state):
                        break
                if not done(state):
                    window.show(view(state))
                    shown(state)
                    window.works = ahead(state) or window.works
        finally:
            gc.unfreeze()
    return state


class _Window:
    """An open window; the one place that holds what pygame needs remembered.

    Attributes
    ----------
    inbox : queue.SimpleQueue of Input
        What other threads pass on; it outlives a window that must be opened again.
    works : iterator
        What is done, a step at a time, while nothing happens.
    """

    def __init__(self, screen: Screen) -> None:
        self.inbox: queue.SimpleQueue[Input] = queue.SimpleQueue()
        self.works: Iterator[None] = iter(())
        self._screen = screen
        self._held: set[int] = set()
        self._shown: Frame | None = None
        self._anything_shown = False
        self._trouble = ""
        self._last_input = self._looked_at = -math.inf
        self._listing = listing_for(pygame.display.get_driver())
        self._open(screen.display)
        self._looked = self._listing(), pygame.display.get_desktop_sizes()
        self._before = _displays(self._looked[0])
        self._number = screen.display or 1

    def _open(self, number: int | None) -> None:
        screen, found = self._screen, _displays()
        if number is None:
            place = found[0]
            scale = min(1.0, *(0.9 * place.size[axis] / screen.size[axis] for axis in (0, 1)))
            size = (round(screen.size[0] * scale), round(screen.size[1] * scale))
            self._surface = pygame.display.set_mode(size, display=place.number - 1)
        else:
            if not 1 <= number <= len(found):
                raise Refusal(f"There is no display {number} ({listed(found)}).")
            if found[number - 1].size != screen.size:
                raise Refusal(other_size(found[number - 1], screen.size))
            try:
                self._surface = pygame.display.set_mode(
                    screen.size, pygame.FULLSCREEN | pygame.NOFRAME, display=number - 1
                )
            except pygame.error as error:
                raise Refusal(
                    f"Display {number} cannot be filled ({error}): check that no other "
                    "program holds it."
                ) from None
            opened = self._surface.get_size()
            if opened != screen.size:  # a picture that the system scales is not true
                raise Refusal(other_size(ConnectedDisplay(number, opened), screen.size))
        pygame.display.set_caption(screen.title)
        pygame.mouse.set_visible(screen.cursor)
        pygame.key.set_repeat(_REPEAT_AFTER, _REPEAT_EVERY)

    def show(self, frame: Frame | None) -> None:
        """Put a frame on the display unless it is there already."""
        if self._trouble or (self._anything_shown and frame is self._shown):
            return
        self._shown, self._anything_shown = frame, True
        self._draw()

    def _draw(self) -> None:
        if self._shown is None:
            self._surface.fill((0, 0, 0))
        else:
            frame, size = self._shown, self._surface.get_size()
            if frame.shape[1::-1] != size:
                # Not by pygame's scaler: given the window's own surface, it writes three bytes a
                # pixel where the window has four, and it darkens.
                scaled = cv2.resize(frame, size, interpolation=cv2.INTER_AREA)
                frame = np.asarray(scaled, np.uint8)
            self._surface.blit(pygame.image.frombuffer(frame.data, size, "BGR"), (0, 0))
        pygame.display.flip()

    def wait(self, due: float | None) -> list[Input]:
        """Work ahead, and sleep, until something happens; return it."""
        now = time.monotonic()
        until = now + _LOOK_EVERY if due is None else min(now + _LOOK_EVERY, due)
        while (
            not (events := _events()) and self.inbox.empty() and (now := time.monotonic()) < until
        ):
            if next(self.works, self) is not self:  # more may be left
                continue
            pause = _POLL_AT_WORK if now < self._last_input + _AT_WORK else _POLL_EVERY
            time.sleep(min(pause, until - now))
        now = time.monotonic()
        happened = [each for event in events for each in self._translate(event, now)]
        while not self.inbox.empty():
            happened.append(self.inbox.get())
        if happened:
            self._last_input = now
        if now >= self._looked_at + _LOOK_EVERY or not happened:  # asking takes time: no key waits
            self._looked_at = now
            happened += self._look(now)
        if due is not None and now >= due:
            happened.append(Tick(now))
        return happened

    def _look(self, now: float) -> list[Input]:
        """Look whether the display has gone or come back."""
        if self._screen.display is None:
            return []
        looked = self._listing(), pygame.display.get_desktop_sizes()
        unknown = looked[0] is None and self._before[self._number - 1].name
        if looked == self._looked or unknown:  # a list that could not be had for once says nothing
            return []
        self._looked = looked
        found = numbered(*looked)
        place = found_again(found, self._before, self._number)
        if place is None:
            sentence = (
                f"Display {self._before[self._number - 1].words}, the projector, is gone: check "
                "its cable and power; the light comes back by itself."
            )
        elif place.size != self._screen.size:
            sentence = other_size(place, self._screen.size)
        elif not self._trouble and place.corner and place.corner == self._corner:
            self._before, self._number = found, place.number  # another display came or went
            return []
        else:
            try:
                self._open_again(place.number)
            except Refusal as refusal:
                self._looked = None, []  # displays may still be changing: look again
                sentence, self._trouble = str(refusal), ""
            else:
                self._before, self._number = found, place.number
                was_gone, self._trouble = bool(self._trouble), ""
                return [DisplayBack(now)] if was_gone else []
        if sentence == self._trouble:
            return []
        if not self._trouble:
            self._stand_aside(sentence)
        self._trouble = sentence
        return [DisplayLost(sentence, now)]

    @property
    def _corner(self) -> tuple[int, int] | None:
        return self._before[self._number - 1].corner

    def _open_again(self, number: int) -> None:
        """Open the window on a display that the window library may not know of yet.

        Raises
        ------
        Refusal
            If that does not work yet.
        """
        self._start_again()
        self._open(number)
        self._draw()

    def _stand_aside(self, why: str) -> None:
        """Make the window small: the system may have moved it on to the operator's display."""
        with suppress(Refusal, pygame.error):  # without any display there is no window, for now
            self._start_again()
            with environment("SDL_VIDEO_WINDOW_POS", "0,0"):
                self._surface = pygame.display.set_mode(_ASIDE)
            pygame.display.set_caption(why)

    def _start_again(self) -> None:
        """Let the window library look again which displays there are."""
        pygame.display.quit()
        _start_video()
        self._held.clear()

    def _translate(self, event: pygame.event.Event, now: float) -> Iterator[Input]:
        if event.type == pygame.QUIT:
            yield Closed(now)
        elif event.type == pygame.KEYDOWN:
            repeated = event.key in self._held
            self._held.add(event.key)
            yield key_of(event, repeated, now)
        elif event.type == pygame.KEYUP:
            self._held.discard(event.key)
        elif event.type == pygame.WINDOWFOCUSLOST:
            self._held.clear()
        elif event.type == pygame.MOUSEMOTION:
            yield Pointer(self._pixel(event.pos), bool(event.buttons[0]), at=now)
        elif event.type == pygame.MOUSEBUTTONDOWN and event.button == 1:
            yield Pointer(self._pixel(event.pos), pressed=True, clicked=True, at=now)
        elif event.type == pygame.MOUSEBUTTONUP and event.button == 1:
            yield Pointer(self._pixel(event.pos), at=now)
        elif event.type in (pygame.WINDOWEXPOSED, pygame.WINDOWRESTORED) and not self._trouble:
            self._draw()

    def _pixel(self, position: tuple[int, int]) -> tuple[float, float]:
        """Return a place in the window as pixels of the picture, centres at whole numbers."""
        picture = self._screen.size if self._shown is None else self._shown.shape[1::-1]
        window = self._surface.get_size()
        x, y = ((position[axis] + 0.5) * picture[axis] / window[axis] - 0.5 for axis in (0, 1))
        return x, y


_ASIDE = (320, 40)
"""Size of the window while its display is gone, px."""

_NO_DISPLAY = "connect the projector and switch it on."


def _events() -> list[pygame.event.Event]:
    return pygame.event.get() if pygame.display.get_init() else []


@contextmanager
def _video() -> Iterator[None]:
    """Start pygame's displays and windows alone (no sound, no joysticks), and end them again."""
    _start_video()
    try:
        # Without a screen the library may fall back to one that nobody sees.
        unseen = pygame.display.get_driver() in ("dummy", "offscreen")
        if unseen and "SDL_VIDEODRIVER" not in os.environ:
            raise Refusal(f"There is no display to show light on: {_NO_DISPLAY}")
        yield
    finally:
        silence()
        pygame.display.quit()


def _start_video() -> None:
    try:
        with quiet_search():
            pygame.display.init()
    except pygame.error as error:
        raise Refusal(f"There is no display to show light on ({error}): {_NO_DISPLAY}") from None
    if pygame.display.get_driver() == "x11":
        outlive_x_errors()


def _displays(outputs: tuple[Output, ...] | None = None) -> tuple[ConnectedDisplay, ...]:
    """Return the displays as the window library counts them, with the system's names if known."""
    sizes = pygame.display.get_desktop_sizes()
    if not sizes:
        raise Refusal("There is no display to show light on: connect the projector.")
    same = outputs is not None and [output.size for output in outputs] == sizes
    return numbered(outputs if same else None, sizes)
