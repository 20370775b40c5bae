"""What the press was last said to be set to, and what may be on it."""

from __future__ import annotations

from collections.abc import Callable

from chalkbeam.orders.order_of_work import Stop
from chalkbeam.orders.pieces import PressSetup
from chalkbeam.orders.settings import Setting
from chalkbeam.record.events import Step


class PressState:
    """The part of a run's progress that is about the press itself.

    Attributes
    ----------
    may_hold : frozenset of PressSetup
        What may be on it: certain once a garment was loaded, else also what the light has asked
        for since. ``PressSetup()``, the rig's platen bare, at the start of a session.
    set_to : Setting or None
        What it was last said to be set to; None at the start of a session.
    fitted : str or None
        The platen that was last said to be on; None at the start of a session.
    """

    def __init__(self) -> None:
        self.may_hold = frozenset({PressSetup()})
        self.set_to: Setting | None = None
        self.fitted: str | None = None

    def to_set(self, stop: Stop, step: Step) -> Setting | None:
        """Return what the press is to be set to before a stop goes on; None if to nothing.

        Not under the closed press, and not for an imprint whose sheet says nothing.
        """
        if step in (Step.PRESS, Step.PREPRESS, Step.SECOND):
            return None
        press = stop.imprint.press
        if step is Step.PEEL and not press.second:
            return None  # nothing is pressed any more
        wanted = Setting.of(press)
        if step is Step.PEEL and self.set_to is not None and wanted is not None:
            alike = (wanted.temperature, wanted.pressure)
            if alike == (self.set_to.temperature, self.set_to.pressure):
                return None  # another peel is no other second press
        return wanted if wanted != self.set_to else None

    def to_fit(self, stop: Stop, step: Step) -> str | None:
        """Return the platen that is to be put on before a stop goes on; None if none is.

        It is asked for where an order takes more than one, or a named one and nobody has said
        yet what is on; not once anything is pressed.
        """
        if step not in (Step.LOAD, Step.LAY):
            return None
        wanted = stop.fit.platen
        return wanted if wanted and wanted != self.fitted else None

    def asked_for(self, setup: PressSetup | None, *, loaded: bool) -> None:
        """Take it that the light asks for a set-up; `loaded` if a garment lies on it by now."""
        here = frozenset(() if setup is None else (setup,))
        self.may_hold = here if loaded else self.may_hold | here

    def opened(self) -> None:
        """Take it that a session begins: others may have worked at the press meanwhile."""
        self.may_hold |= {PressSetup()}
        self.set_to = self.fitted = None

    def was_set(self, stop: Stop) -> Callable[[], None]:
        """Take it that it is set as a stop wants; return how to take that back."""
        self.set_to = Setting.of(stop.imprint.press)

        def back() -> None:
            self.set_to = None  # what it really is set to nobody said

        return back

    def was_fitted(self, stop: Stop) -> Callable[[], None]:
        """Take it that a stop's platen is on; return how to take that back."""
        self.fitted = stop.fit.platen

        def back() -> None:
            self.fitted = None  # which one is on nobody said

        return back
