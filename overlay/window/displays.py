"""Which display a window goes to, and what to say where none fits. Knows no window."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from calibration.refusal import Refusal, Remedy, RemedyKind
from overlay.window.outputs import Output


@dataclass(frozen=True)
class ConnectedDisplay:
    """A display as the system lists it.

    Attributes
    ----------
    number : int
        From 1; 1 is the main one.
    size : tuple of int
        Width and height of its picture now, px.
    name : str
        The socket it is plugged into; empty where the system does not say.
    corner : tuple of int or None
        Where its picture begins among all displays, px; None where the system does not say.
    """

    number: int
    size: tuple[int, int]
    name: str = ""
    corner: tuple[int, int] | None = None

    @property
    def words(self) -> str:
        """Which display, for people: its number and its socket."""
        return f"{self.number} ({self.name})" if self.name else f"{self.number}"


@dataclass(frozen=True)
class Screen:
    """Where a window goes.

    Attributes
    ----------
    size : tuple of int
        Width and height of the frames to be shown, px.
    display : int or None
        Number of the display to fill; None opens an ordinary window, with the picture
        made smaller where it must be.
    title : str
    cursor : bool
        Whether the mouse's arrow shows.
    """

    size: tuple[int, int]
    display: int | None = None
    title: str = "Chalkbeam"
    cursor: bool = False


def numbered(
    outputs: Sequence[Output] | None, sizes: Sequence[tuple[int, int]]
) -> tuple[ConnectedDisplay, ...]:
    """Return the displays by the system's own list, else by the window library's."""
    if outputs is None:
        return tuple(ConnectedDisplay(number, size) for number, size in enumerate(sizes, start=1))
    return tuple(
        ConnectedDisplay(number, output.size, output.name, output.corner)
        for number, output in enumerate(outputs, start=1)
    )


def chosen(
    found: Sequence[ConnectedDisplay], size: tuple[int, int], wanted: int | None = None
) -> int:
    """Return the number of the display to fill with a picture of `size`.

    Parameters
    ----------
    found : sequence of ConnectedDisplay
        The displays there are.
    size : tuple of int
        The rig's picture, px.
    wanted : int, optional
        The display the operator names. Without it the one that is not the main one is
        taken if it alone has the right size, else the only one that has.

    Raises
    ------
    Refusal
        If there is no such display, its picture has another size, or several could be meant.
    """
    if wanted is not None:
        named = next((display for display in found if display.number == wanted), None)
        if named is None:
            raise Refusal(
                f"There is no display {wanted} ({listed(found)}): connect the projector and "
                "switch it on, or ",
                Remedy(RemedyKind.DISPLAY, "give another number"),
                ".",
            )
        if named.size != size:
            raise Refusal(other_size(named, size))
        return wanted
    fitting = [display for display in found if display.size == size]
    others = [display for display in fitting if display.number != 1]
    if not fitting:
        raise Refusal(
            f"No display shows {size[0]}x{size[1]}, which the rig was made for "
            f"({listed(found)}): connect the projector and set it to {size[0]}x{size[1]} in the "
            "system's display settings, or calibrate again."
        )
    if len(others) == 1 or len(fitting) == 1:
        return (others or fitting)[0].number
    raise Refusal(
        f"Several displays show {size[0]}x{size[1]} ({listed(found)}): ",
        Remedy(RemedyKind.DISPLAY, "say which is the projector"),
        ".",
    )


def found_again(
    now: Sequence[ConnectedDisplay], before: Sequence[ConnectedDisplay], number: int
) -> ConnectedDisplay | None:
    """Return the display that was `number` before displays were unplugged, plugged in or swapped.

    It is known by its socket; if that is empty, a display of the same size in a socket that
    was empty before is taken for it. Where the system names no sockets it is known by its
    size if no other display has that, else by its number while none is missing. None if it
    is gone, or cannot be told from another: light must not fall on the operator's display.
    """
    home = before[number - 1]
    alike = [each for each in now if each.size == home.size]
    if home.name and all(each.name for each in now):
        sockets = {each.name for each in before}
        moved = [each for each in alike if each.name not in sockets]
        same = [each for each in now if each.name == home.name]
        return same[0] if same else moved[0] if len(moved) == 1 else None
    if len(alike) == 1 and sum(each.size == home.size for each in before) == 1:
        return alike[0]
    return now[number - 1] if len(now) >= len(before) else None


def listed(found: Sequence[ConnectedDisplay]) -> str:
    """Return the displays there are, in words."""
    return ", ".join(f"display {each.words}: {each.size[0]}x{each.size[1]}" for each in found)


def other_size(display: ConnectedDisplay, size: tuple[int, int]) -> str:
    """Say that a display's picture has another size than the rig's, and what to do."""
    return (
        f"Display {display.words} shows {display.size[0]}x{display.size[1]} and the rig was made "
        f"for {size[0]}x{size[1]}: set the display to {size[0]}x{size[1]} in the system's display "
        "settings, or calibrate again."
    )
