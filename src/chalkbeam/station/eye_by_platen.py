"""The press's camera at work while platens are changed: what it knew ends with each change.

A platen that was put on lies somewhat elsewhere than before, shines otherwise, and its middle is
the origin of another rig's frame: the eye begins anew, times the light and measures the bare
platen. Until somebody says that the platen is on, the eye of the last one waits.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from calibration.rig.file import Rig
from chalkbeam.station.controller import StationController
from chalkbeam.station.eye_at_press import EyeAtPress

U8 = NDArray[np.uint8]


class EyeByPlaten:
    """The eye of whichever platen is on.

    Parameters
    ----------
    controller : StationController
    rigs : sequence of Rig
        One press's platens, each with its eye; imprints of other rigs are left to the keys.
    make : callable
        Makes the eye of one of them.

    Attributes
    ----------
    eye : EyeAtPress
        That of the platen that is on.
    """

    def __init__(
        self,
        controller: StationController,
        rigs: Sequence[Rig],
        make: Callable[[Rig], EyeAtPress],
    ) -> None:
        self._controller, self._rigs, self._make = controller, rigs, make
        self.eye = make(self._on() or rigs[0])

    def _on(self) -> Rig | None:
        """Return the rig of the platen that is on; None if it is no rig of this press."""
        progress, readiness = self._controller.session.progress, self._controller.readiness
        if progress.to_fit(progress.at) is not None or readiness.ready is None:
            return None
        return next((rig for rig in self._rigs if rig is readiness.rig), None)

    def notice(self, at: float) -> None:
        """See where the run stands, and whether another platen is on."""
        on = self._on()
        if on is not None and on is not self.eye.rig:
            self.eye.leave()
            self.eye = self._make(on)
        self.eye.notice(at)

    def frame(self, scene: Callable[[], U8 | None]) -> U8 | None:
        """See `EyeAtPress.frame`."""
        return self.eye.frame(scene)

    def shown(self, frame: U8 | None, at: float) -> None:
        """See `EyeAtPress.shown`."""
        self.eye.shown(frame, at)

    def look(self, picture: U8, at: float) -> None:
        """See `EyeAtPress.look`."""
        self.eye.look(picture, at)

    def failed(self, why: str, at: float) -> None:
        """See `EyeAtPress.failed`."""
        self.eye.failed(why, at)

    def back(self) -> None:
        """See `EyeAtPress.back`."""
        self.eye.back()
