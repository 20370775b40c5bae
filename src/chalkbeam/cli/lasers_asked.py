"""Line lasers in place of the projector, as options of a run ask for them."""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from calibration.refusal import Refusal
from chalkbeam.station.tick_view import TickView

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from calibration.rig.file import Rig
    from chalkbeam.lasers.hung import LineLaser
    from chalkbeam.orders.order_of_work import Stop
    from chalkbeam.station.ready_imprint import ImprintPreparer


@dataclass(frozen=True)
class LasersAsked:
    """What a run with line lasers needs in place of rigs and a projector.

    Attributes
    ----------
    lasers : tuple of LineLaser
    platens : tuple of str
        As typed.
    output : TickView
        What the window shows.
    """

    lasers: tuple[LineLaser, ...]
    platens: tuple[str, ...]
    output: TickView = field(default_factory=TickView)

    @classmethod
    def of(
        cls, lasers: str, platens: tuple[str, ...], projector: Mapping[str, object]
    ) -> LasersAsked:
        """Return what options ask for.

        Parameters
        ----------
        lasers : str
            A file, or “two lines”.
        platens : tuple of str
        projector : mapping of str to object
            Options that go with a projector, and what was given for each.

        Raises
        ------
        Refusal
            If they ask for a projector as well, or name no platen.
        """
        from chalkbeam.lasers.hung import find_lasers

        for option, given in projector.items():
            if given:
                raise Refusal(f"{option} goes with a projector, --ticks with none: give one.")
        if not platens:
            raise Refusal("Name the platen that bears the ticks, such as --platen 16x20in.")
        return cls(find_lasers(lasers), platens)

    def rigs(self) -> list[Rig]:
        """Return the platens as the window shows them."""
        from chalkbeam.placement.platens import platen
        from chalkbeam.station.tick_view import rig_from_above

        return [rig_from_above(platen(each)) for each in self.platens]

    def aim(self, stops: Sequence[Stop], preparer: ImprintPreparer) -> None:
        """Work out where the lasers belong over a run, and say which tick sheet that is."""
        from chalkbeam.station.tick_guide import TickGuide

        guide = TickGuide(stops, preparer, self.lasers)
        self.output.guide = guide
        print(f"The ticks are those of tick sheet {guide.plan.check}: if yours bears "
              "another number, print it again.", file=sys.stderr)  # fmt: skip
