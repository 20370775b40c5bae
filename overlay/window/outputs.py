"""Which displays the system itself lists by now, for where the window library looks only once.

SDL 2 keeps the displays it found when it started: under X11 and on macOS it says nothing
when a cable goes. What is asked here is cheap enough to be asked every second, and never
raises: a list that cannot be had is None.
"""

from __future__ import annotations

import ctypes
import ctypes.util
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Output:
    """A display as the system lists it.

    Attributes
    ----------
    name : str
        The socket it is plugged into, or the system's own number for it.
    corner : tuple of int
        Where its picture begins among all displays, px.
    size : tuple of int
        Width and height of its picture, px.
    """

    name: str
    corner: tuple[int, int]
    size: tuple[int, int]


Listing = Callable[[], tuple[Output, ...] | None]
"""Asks the system; the main display comes first, as SDL counts them."""


def listing_for(driver: str) -> Listing:
    """Return how to list the displays that an SDL video driver shows pictures on."""
    match driver.lower():
        case "x11":
            return _XServer()
        case "cocoa":
            return _Quartz()
        case _:  # Windows and Wayland tell SDL themselves
            return lambda: None


class _XServer:
    """Lists the lit outputs of an X server by its RandR extension, over a connection of its own."""

    def __init__(self, connect: Callable[[], Any] | None = None) -> None:
        self._server: Any = None
        try:
            from Xlib.display import Display

            self._server = (connect or Display)()
            if not self._server.has_extension("RANDR"):
                self._server = None
        except Exception:  # whatever it is, the light must not depend on it
            self._server = None

    def __call__(self) -> tuple[Output, ...] | None:
        if self._server is None:
            return None
        try:
            return randr_outputs(self._server)
        except Exception:  # as an output that goes while it is asked about
            return None


def randr_outputs(server: Any) -> tuple[Output, ...]:
    """Return the outputs that a display is connected to and a picture sent to.

    In the order in which SDL 2 counts them: the primary one first, then as the server does
    (The X Resize, Rotate and Reflect Extension 1.5: RRGetScreenResourcesCurrent,
    RRGetOutputInfo, RRGetCrtcInfo).
    """
    root = server.screen().root
    resources = root.xrandr_get_screen_resources_current()
    primary = root.xrandr_get_output_primary().output
    found: list[Output] = []
    for output in sorted(resources.outputs, key=lambda each: each != primary):
        told = server.xrandr_get_output_info(output, resources.config_timestamp)
        if told.connection == _DISCONNECTED or not told.crtc:
            continue
        at = server.xrandr_get_crtc_info(told.crtc, resources.config_timestamp)
        found.append(Output(str(told.name), (at.x, at.y), (at.width, at.height)))
    return tuple(found)


_DISCONNECTED = 1
"""RandR's word for an empty socket; a third one, "unknown", is taken for a display."""


class _Quartz:
    """Lists the lit displays of macOS (Quartz Display Services)."""

    MOST = 16

    def __init__(self, library: Any = None) -> None:
        self._library: Any = None
        try:
            if library is None:
                found = ctypes.util.find_library("CoreGraphics")
                library = ctypes.CDLL(found) if found else None
            if library is not None:
                library.CGDisplayBounds.restype = _Rectangle
            self._library = library
        except Exception:  # whatever it is, the light must not depend on it
            self._library = None

    def __call__(self) -> tuple[Output, ...] | None:
        if self._library is None:
            return None
        numbers = (ctypes.c_uint32 * self.MOST)()
        count = ctypes.c_uint32()
        if self._library.CGGetActiveDisplayList(self.MOST, numbers, ctypes.byref(count)) != 0:
            return None
        return tuple(self._outputs(numbers[: count.value]))

    def _outputs(self, numbers: Iterable[int]) -> Iterator[Output]:
        main = self._library.CGMainDisplayID()
        for number in sorted(numbers, key=lambda each: each != main):
            at = self._library.CGDisplayBounds(ctypes.c_uint32(number))
            corner, size = (round(at.x), round(at.y)), (round(at.width), round(at.height))
            yield Output(str(number), corner, size)


class _Rectangle(ctypes.Structure):
    """CGRect: four doubles."""

    _fields_ = [(name, ctypes.c_double) for name in ("x", "y", "width", "height")]


_GO_ON = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p, ctypes.c_void_p)(lambda *_: 0)
"""Kept for good: the X library calls it long after it was handed over."""


def outlive_x_errors() -> None:
    """Go on after an error of the X server in place of ending the program, as X's default does.

    SDL 2.28 asks about the display its window was on while it leaves it, and where that
    has been unplugged the X server answers with an error: without this the unplugged
    cable would end the run without a word.
    """
    with suppress(OSError):
        ctypes.CDLL("libX11.so.6").XSetErrorHandler(_GO_ON)
