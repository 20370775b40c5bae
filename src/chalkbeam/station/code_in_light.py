"""A code that pairs a phone, for a while in the light in place of what the step wants lit."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

from calibration.rig.file import Rig
from chalkbeam.light.code import code_marks
from overlay.draw.frame import Frame, render
from overlay.palette import DEFAULT_PALETTE
from overlay.window.inputs import Input, Tick, Told


@dataclass(frozen=True)
class LightCode:
    """What is asked of the light.

    Attributes
    ----------
    rows : tuple of str
        As `code_marks` takes them; none: the code is to go.
    figures, address : str
    seconds : float
        How long it stands.
    """

    rows: tuple[str, ...] = ()
    figures: str = ""
    address: str = ""
    seconds: float = 0.0


class CodeInLight:
    """Keeps a code that stands in the light; whatever is typed or tapped brings the lines back.

    Parameters
    ----------
    rig : Rig
    clock : callable
        Seconds; monotonic.
    """

    def __init__(self, rig: Rig, clock: Callable[[], float] = time.monotonic) -> None:
        self._rig, self._clock = rig, clock
        self._frame: Frame | None = None
        self._until = 0.0

    @property
    def frame(self) -> Frame | None:
        """The code's picture; None where none stands in the light."""
        if self._frame is not None and self._clock() >= self._until:
            self._frame = None
        return self._frame

    @property
    def due(self) -> float | None:
        """When it goes."""
        return None if self._frame is None else self._until

    def take(self, happened: Input) -> bool:
        """Take what happens; whether it was about the code alone."""
        match happened:
            case Told(LightCode() as code):
                self._frame = self._drawn(code) if code.rows else None
                self._until = self._clock() + code.seconds
                return True
            case Tick():
                pass
            case _:
                self._frame = None
        return False

    def _drawn(self, code: LightCode) -> Frame:
        marks = code_marks(code.rows, code.figures, code.address, self._rig.face)
        return render(marks, self._rig.projector, DEFAULT_PALETTE)
