"""What is asked of a run, by the command line or the page."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from chalkbeam.basics.units import Unit
from chalkbeam.orders.settings import Degrees


@dataclass(frozen=True)
class RunOptions:
    """What is asked for; each as the option of `chalkbeam run` of its name.

    But `given`: the names of those that were said, which no setting of the shop replaces. And
    `of_page`: an order of the page, which is known by its place; a copy is another order. And
    `title`: what it is called; empty for the sheet's name.
    """

    sheet: Path
    rig: tuple[str, ...] = ()
    operator: str = ""
    unit: Unit | None = None
    artwork: Path | None = None
    printed: Path | None = None
    came: Path | None = None
    times: str = ""
    first: str = ""
    as_listed: bool = False
    new_run: bool = False
    as_recorded: bool = False
    take_changes: bool = False
    only_spoiled: bool = False
    anyway: bool = False
    again: str | None = None
    record: str | None = None
    press: str = ""
    pile: str = ""
    take_over: str = ""
    pressed: str | None = None
    collar: str | None = None
    overhang: str | None = None
    aside: str | None = None
    on_top: bool = False
    display: int | None = None
    window: bool = False
    units: Unit = Unit.INCH
    degrees: Degrees = Degrees.AS_WRITTEN
    eye: str | None = None
    tolerance: str = "2 mm"
    turn_tolerance: float = 1.0
    pictures: bool = True
    ticks: str | None = None
    platens: tuple[str, ...] = ()
    confirm: bool = False
    given: frozenset[str] = frozenset()
    of_page: bool = False
    title: str = ""
