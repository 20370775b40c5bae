"""What reaches a window from outside, as plain values. Knows no window."""

from __future__ import annotations

from dataclasses import dataclass

Pixel = tuple[float, float]


@dataclass(frozen=True)
class Key:
    """A key went down.

    Attributes
    ----------
    name : str
        What is written on it, lower case: "a", "7", "left", "page down", "space",
        "return", "escape". Number pad keys bear the names of their twins.
    shift, control : bool
        Whether these were held.
    text : str
        The character it types; empty if none.
    repeated : bool
        Whether it has been down all along and repeats.
    at : float
        When, seconds on the monotonic clock.
    """

    name: str
    shift: bool = False
    control: bool = False
    text: str = ""
    repeated: bool = False
    at: float = 0.0


@dataclass(frozen=True)
class Pointer:
    """The mouse moved, or its left button went down.

    Attributes
    ----------
    pixel : (float, float)
        Where, px of the picture shown.
    pressed : bool
        Whether the left button is down.
    clicked : bool
        Whether it went down just now.
    """

    pixel: Pixel
    pressed: bool = False
    clicked: bool = False
    at: float = 0.0


@dataclass(frozen=True)
class Tick:
    """The time that the program asked to be woken at has come."""

    at: float = 0.0


@dataclass(frozen=True)
class Closed:
    """The window's own close button, or the system, asks to end."""

    at: float = 0.0


@dataclass(frozen=True)
class DisplayLost:
    """The display the window stands on is gone or has changed its picture size.

    Attributes
    ----------
    sentence : str
        What happened and what to do.
    """

    sentence: str
    at: float = 0.0


@dataclass(frozen=True)
class DisplayBack:
    """The display is there again and shows the picture."""

    at: float = 0.0


@dataclass(frozen=True)
class Told:
    """Another part of the program has something to show.

    Attributes
    ----------
    content : object
        What; the window passes it on without a look.
    """

    content: object
    at: float = 0.0


Input = Key | Pointer | Tick | Closed | DisplayLost | DisplayBack | Told
