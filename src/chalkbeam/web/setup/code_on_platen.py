"""The code that pairs a device, on the platen in light: by whatever lights it at the time."""

from __future__ import annotations

import threading
from contextlib import suppress

import segno

from calibration.refusal import Refusal
from calibration.rig import library
from chalkbeam.station.code_in_light import LightCode
from chalkbeam.web.doors import Right, Visit
from chalkbeam.web.pairing import Codes
from chalkbeam.web.press.link import PressLink
from chalkbeam.web.setup.desk import SetupDesk

LASTS = 60.0
"""Seconds for which it stands there; the code itself is good for longer."""


class CodeOnPlaten:
    """Shows a code in light, and takes it away.

    Parameters
    ----------
    press : PressLink
    desk : SetupDesk
    """

    def __init__(self, press: PressLink, desk: SetupDesk) -> None:
        self._press, self._desk = press, desk
        self._timer: threading.Timer | None = None

    @property
    def possible(self) -> bool:
        """Whether there is a projector that is known."""
        if self._press.running:
            return bool(self._press.state()["ready"])
        return bool(self._desk.lit) or library.default() is not None

    @property
    def lit(self) -> bool:
        """Whether a code is on the platen."""
        return self._timer is not None and self._timer.is_alive()

    def show(self, code: str, address: str, whole: str) -> None:
        """Show a code.

        Parameters
        ----------
        code : str
            Its six figures.
        address : str
            Where they are typed.
        whole : str
            Address that holds both.

        Raises
        ------
        Refusal
            If the light cannot be had.
        """
        self.end()
        figures = f"{code[:3]} {code[3:]}"
        plain = address.removeprefix("http://").rstrip("/")
        asked = LightCode(squares_of(whole), figures, plain, LASTS)
        if self._press.running:
            self._press.say(asked)
        else:
            self._desk.show_code(asked)
        self._timer = threading.Timer(LASTS, self.end)
        self._timer.daemon = True
        self._timer.start()

    def end(self) -> None:
        """Take it away, if there is one."""
        timer, self._timer = self._timer, None
        if timer is None:
            return
        timer.cancel()
        self._press.say(LightCode())
        with suppress(Refusal):  # the light has gone meanwhile
            self._desk.end_code()


def squares_of(address: str) -> tuple[str, ...]:
    """Return the squares of an address's QR code, its margin with them, "1" for dark."""
    made = segno.make(address, error="m", micro=False)
    return tuple(
        "".join("1" if dark else "0" for dark in row) for row in made.matrix_iter(border=4)
    )


def offered(visit: Visit, right: Right) -> tuple[str, str]:
    """Return a new code, and why it is not on the platen though it was asked for there."""
    codes: Codes = visit.app.codes
    lit: CodeOnPlaten = visit.app.code_on_platen
    code, address = codes.offer(right), visit.app.settings.address
    if visit.text("platen"):
        try:
            lit.show(code, address, f"{address}pair#code={code}")
        except Refusal as refusal:
            return code, str(refusal)
    else:
        lit.end()  # the code before is void
    return code, ""
