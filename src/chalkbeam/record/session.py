"""One session at the press: what the operator does, on the disk first and only then in force."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from calibration.refusal import Refusal
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Kind, Step, new_id
from chalkbeam.record.progress import Progress
from chalkbeam.record.reorder import Earlier, earlier_placements
from chalkbeam.record.store import Recorder, Run, Store


class RunSession:
    """Work on a run: opens it where it was left, and records every act.

    Every method that acts writes its event, and changes `progress` only when the event is
    safely on the disk. If that fails it raises a Refusal and nothing has changed; doing the
    same again writes the event once, even if the first try did reach the disk.

    Parameters
    ----------
    store : Store
    run : Run
    operator, rig, calibration : str
        Who, at which press, and the id of the calibration in force.
    options
        Passed on to `Recorder` (clocks).

    Attributes
    ----------
    progress : Progress
        Where the run stands.
    earlier : dict of imprint id to Earlier
        What an earlier run of the same order says; empty if this is none.
    """

    def __init__(
        self,
        store: Store,
        run: Run,
        *,
        operator: str = "",
        rig: str = "",
        calibration: str = "",
        **options: Any,
    ) -> None:
        self.run = run
        self._recorder = Recorder(
            store, run, operator=operator, rig=rig, calibration=calibration, **options
        )
        self.earlier: dict[str, Earlier] = {}
        if run.earlier:
            before = store.run(run.earlier)
            self.earlier = earlier_placements(before.stops, store.events(before), run.stops)
        carried = {imprint: each.nudge for imprint, each in self.earlier.items()}
        places = {imprint: each.location for imprint, each in self.earlier.items()}
        self.progress = Progress(run.stops, self._recorder.history, carried, places)
        self._unsure: tuple[tuple[Any, ...], str] | None = None
        self.write(Kind.OPENED)

    def write(self, kind: Kind, imprint: str = "", step: Step | None = None, **data: Any) -> None:
        """Record an event and put it in force.

        Raises
        ------
        Refusal
            If it is not on the disk; nothing has changed.
        """
        act = (kind, imprint, step, repr(sorted(data.items())))
        event_id = self._unsure[1] if self._unsure and self._unsure[0] == act else new_id()
        try:
            event = self._recorder.write(kind, imprint, step, event_id=event_id, **data)
        except Refusal:
            self._unsure = (act, event_id)
            raise
        self._unsure = None
        self.progress.apply(event)

    def use(self, rig: str, calibration: str) -> None:
        """Say which rig lights the imprint at hand; every event bears its name and calibration."""
        self._recorder.use(rig, calibration)

    def tidy(self) -> None:
        """Let the record do what it has put off, while nothing is waited for."""
        self._recorder.store.tidy()

    def _at_hand(self) -> tuple[int, str]:
        """Return the index and the id of the imprint at hand."""
        index = self.progress.at.index
        if index is None:
            raise Refusal("The order is finished: nothing is at hand; undo to go back.")
        return index, self.run.stops[index].imprint.id

    def step(self, step: Step) -> None:
        """Go on (or back) to a step of the imprint at hand."""
        self.write(Kind.STEPPED, self._at_hand()[1], step)

    def jump(self, index: int, step: Step = Step.LOAD) -> None:
        """Go to another stop of the order."""
        self.write(Kind.STEPPED, self.run.stops[index].imprint.id, step)

    def nudge(self, shift: Shift, *, rest_of_batch: bool = False) -> None:
        """Move the lay lines by so much: for this imprint, or from here on for its batch."""
        index, imprint = self._at_hand()
        batch = self.run.stops[index].batch if rest_of_batch else ""
        self.write(Kind.NUDGED, imprint, batch=batch, **shift.data())

    def collar(self, shift: Shift, *, rest_of_batch: bool = False) -> None:
        """Say where the real collar is: replaces the piece's (or batch's) garment correction."""
        index, imprint = self._at_hand()
        batch = self.run.stops[index].batch if rest_of_batch else ""
        self.write(Kind.COLLARED, imprint, batch=batch, **shift.data())

    def preset(self, location: str) -> None:
        """Place the imprint at hand by another location, for which the garment is laid anew."""
        self.write(Kind.PRESET, self._at_hand()[1], Step.LOAD, location=location)

    def press(self, pose: Mapping[str, float] | None = None) -> None:
        """Record that the press closed and opened on the imprint at hand; go on to the next.

        Parameters
        ----------
        pose : mapping, optional
            Planned pose of the artwork on the platen before nudges: x, y in mm, angle in rad.
        """
        index, imprint = self._at_hand()
        self.write(
            Kind.PRESSED,
            imprint,
            pose=dict(pose) if pose is not None else None,
            nudge=self.progress.nudge(index).data(),
            location=self.progress.location(index),
        )

    def skip(self, reason: str = "") -> None:
        """Leave the imprint at hand out for now."""
        self.write(Kind.SKIPPED, self._at_hand()[1], reason=reason)

    def spoil(self, reason: str, *, replaced: bool) -> None:
        """Record that the piece at hand is spoiled, and whether a fresh garment replaces it."""
        self.write(Kind.SPOILED, self._at_hand()[1], reason=reason, replaced=replaced)

    def undo(self) -> bool:
        """Take the last act back; False if there is none."""
        event = self.progress.undoable
        if event is not None:
            self.write(Kind.UNDONE, event=event.id)
        return event is not None

    def redo(self) -> bool:
        """Put the act last taken back in force again; False if there is none."""
        event = self.progress.redoable
        if event is not None:
            self.write(Kind.REDONE, event=event.id)
        return event is not None

    def pause(self) -> None:
        """Pause, or go on."""
        self.write(Kind.WENT_ON if self.progress.paused else Kind.PAUSED)

    def note(self, text: str) -> None:
        """Keep a remark with the imprint at hand."""
        index = self.progress.at.index
        imprint = "" if index is None else self.run.stops[index].imprint.id
        self.write(Kind.NOTED, imprint, text=text)

    def leave_out(self, reasons: Iterable[str]) -> None:
        """Keep which rows of the sheet are not in the run, and why."""
        for reason in reasons:
            self.write(Kind.NOTED, text=reason, left_out=True)

    def close(self) -> None:
        """Record that the session ended on purpose."""
        self.write(Kind.CLOSED)
