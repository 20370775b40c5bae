"""A shift with line lasers in place of the projector: which ticks they are moved to."""

from __future__ import annotations

from collections.abc import Sequence

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit, format_length
from chalkbeam.lasers.aims import Aim, AimPlan, Stand, plan_aims
from chalkbeam.lasers.hung import LineLaser, Way
from chalkbeam.lasers.lines import STRAIGHT, LaserLine, WantedLines, wanted_lines
from chalkbeam.lasers.ticks import bare_offset
from chalkbeam.orders.order_of_work import Stop
from chalkbeam.placement.shift import Shift
from chalkbeam.placement.values import CLOSE
from chalkbeam.record.events import Step
from chalkbeam.record.progress import At, Progress
from chalkbeam.station.ready_imprint import ImprintPreparer, ReadyImprint

UNSEEN = 0.3
"""A line this much further beside its tick than the plan allows is still called on it, mm."""


def ready_stops(
    stops: Sequence[Stop], preparer: ImprintPreparer
) -> tuple[ReadyImprint | Refusal, ...]:
    """Return every imprint of an order ready to be lit, or what stands in its way."""
    found: list[ReadyImprint | Refusal] = []
    preparer.expect((stop.piece, stop.imprint) for stop in stops)
    for index, stop in enumerate(stops):
        first, last = index, index
        while first > 0 and not stops[first].loads:
            first -= 1
        while last + 1 < len(stops) and not stops[last + 1].loads:
            last += 1
        together = [each.imprint for each in stops[first : last + 1]]
        try:
            ready: ReadyImprint | Refusal = preparer.prepare(
                stop.piece, stop.imprint, lambda imprint: imprint.location, together=together
            )
        except Refusal as refusal:
            ready = refusal
        found.append(ready)
    return tuple(found)


def lines_of(ready: ReadyImprint | Refusal) -> WantedLines:
    """Return the lines of a ready imprint; none of one that something stands in the way of."""
    if isinstance(ready, Refusal):
        return WantedLines(())
    return wanted_lines(ready.choice.placement, ready.choice.loading)


class TickGuide:
    """Tells for every stop of a run where the lasers belong.

    Parameters
    ----------
    stops : sequence of Stop
        Of the run.
    preparer : ImprintPreparer
        Of its own, as it serves one thread.
    lasers : sequence of LineLaser
    """

    def __init__(
        self, stops: Sequence[Stop], preparer: ImprintPreparer, lasers: Sequence[LineLaser]
    ) -> None:
        self._wanted = [lines_of(ready) for ready in ready_stops(stops, preparer)]
        self._at = {stop.imprint.id: index for index, stop in enumerate(stops)}
        self.plan: AimPlan = plan_aims(self._wanted, lasers)

    def aims(self, ready: ReadyImprint, nudge: Shift) -> tuple[tuple[Stand, LaserLine, float], ...]:
        """Return for each line: the tick of its laser that is nearest, and how far beside it.

        Parameters
        ----------
        ready : ReadyImprint
            Where the garment was found, at the location in force.
        nudge : Shift
        """
        index = self._at[ready.imprint]
        planned = self._wanted[index].lay
        now = wanted_lines(ready.choice.laid(nudge), ready.choice.loading).lay
        found = []
        for aim in self.plan.set_ups[index].aims:
            if aim.line not in planned:
                continue
            line = now[planned.index(aim.line)]
            stand = self._nearest(aim, line)
            found.append((stand, line, bare_offset(stand.laser, line) - stand.offset))
        return tuple(found)

    def _nearest(self, aim: Aim, line: LaserLine) -> Stand:
        """Return the stand of a laser that is parallel to a line and nearest; else as planned."""
        laser = aim.stand.laser
        parallel = [
            stand
            for stand in self.plan.stands
            if stand.laser == laser and abs(stand.angle - line.angle) <= STRAIGHT
        ]
        target = bare_offset(laser, line)
        return min(parallel, key=lambda each: abs(each.offset - target), default=aim.stand)

    def words(
        self, progress: Progress, at: At, ready: ReadyImprint | None, unit: Unit
    ) -> tuple[str, ...]:
        """Return which lasers to move where before a stop, then where lines fall on the transfer.

        Nothing while the garment is loaded and every laser stays as it is.
        """
        if at.index is None or ready is None or at.step is Step.PRESS:
            return ()
        if not self._wanted[at.index].lay:  # it could not be placed when the ticks were planned
            return ("lasers: no ticks for this imprint; print the tick sheet again",)
        loading = at.step is Step.LOAD
        before = self._before(progress, at.index) if loading else ()
        said, told = [], False
        for stand, line, beside in self.aims(ready, progress.nudge(at.index)):
            where = _beside_words(stand, line, beside, unit)
            stays = not where and (not loading or stand.label in before)
            told = told or not stays
            if not loading and line.on_art is not None:
                elsewhere = where or stand.label not in self.plan.set_ups[at.index].labels
                moved = f"to {where}{stand.label}, " if elsewhere else ""
                said.append(f"{stand.laser.letter} {moved}{line.on_art.say(unit)}")
                told = True
                continue
            said.append(f"{stand.laser.letter} {'stays at' if stays else 'to'} "
                        f"{where}{stand.label}")  # fmt: skip
        missing = [line.words for line in self.plan.set_ups[at.index].missing]
        if missing and loading:
            said.append(f"no laser for: {', '.join(missing)}")
            told = True
        return (f"lasers: {', '.join(said)}",) if told else ()

    def _before(self, progress: Progress, index: int) -> tuple[str, ...]:
        """Return the ticks in use at the stop that was worked last; none if that is not known."""
        ended = [self._at[name] for name in progress.outcomes if name in self._at]
        if not ended or ended[-1] == index:
            return ()
        last = ended[-1]
        if progress.nudge(last) != Shift() or progress.collar(last) is not None:
            return ()
        return self.plan.set_ups[last].labels


def _beside_words(stand: Stand, line: LaserLine, beside: float, unit: Unit) -> str:
    """Return how far a line lies beside its tick, in words; empty if it lies on it."""
    if abs(stand.angle - line.angle) > STRAIGHT:
        return "no tick: turn it from "
    if abs(beside) <= CLOSE + UNSEEN:
        return ""
    sides = ("left of", "right of") if line.way is Way.AWAY else ("nearer than", "beyond")
    return f"{format_length(abs(beside), unit)} {sides[beside > 0]} "
