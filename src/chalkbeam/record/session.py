"""One session at the press: what the operator does, on record first and only then in force."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, Protocol

from calibration.refusal import Refusal
from chalkbeam.orders.cut_list import CutList
from chalkbeam.orders.printed import PrintedTransfer
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import AFTER_PRESS, Event, Kind, NewEvent, Step, new_id
from chalkbeam.record.progress import Progress
from chalkbeam.record.recorder import Recorder
from chalkbeam.record.reorder import Earlier, earlier_of, earlier_placements
from chalkbeam.record.runs import Run
from chalkbeam.record.store import Store


class EventLog(Protocol):
    """Where the events of a session go."""

    @property
    def history(self) -> tuple[Event, ...]:
        """The run's events before this session."""

    def write_all(self, acts: Sequence[NewEvent], ids: Sequence[str]) -> list[Event]:
        """Keep acts as events and return them; raise a Refusal if none of them is kept."""

    def use(self, rig: str, calibration: str) -> None:
        """Say which rig the events to come are made at."""

    def tidy(self) -> None:
        """Do what was put off, while nothing is waited for."""


class RunSession:
    """Work on a run: takes it up where it was left, and records every act.

    Every method that acts writes its event, and changes `progress` only when the event is
    kept, on the disk with `open_session`. If that fails it raises a Refusal and nothing has
    changed; doing the same again writes the event once, even if the first try did reach the
    disk.

    Parameters
    ----------
    run : Run
    log : EventLog
    earlier : mapping of imprint id to Earlier, optional
        What an earlier run of the same order says, for a reorder.

    Attributes
    ----------
    progress : Progress
        Where the run stands.
    """

    def __init__(
        self, run: Run, log: EventLog, earlier: Mapping[str, Earlier] | None = None
    ) -> None:
        self.run = run
        self.earlier = dict(earlier or {})
        self._log = log
        carried = {imprint: each.nudge for imprint, each in self.earlier.items()}
        places = {imprint: each.location for imprint, each in self.earlier.items()}
        self.progress = Progress(run.stops, log.history, carried, places)
        self._unsure: tuple[str, tuple[str, ...]] | None = None
        self.write(Kind.OPENED)

    def write(self, kind: Kind, imprint: str = "", step: Step | None = None, **data: Any) -> None:
        """Record an event and put it in force.

        Raises
        ------
        Refusal
            If it is not kept; nothing has changed.
        """
        self._write_all(NewEvent(kind, imprint, step, data))

    def _write_all(self, *acts: NewEvent) -> None:
        """Record acts, all of them or none, and put them in force."""
        said = repr(acts)
        ids = self._unsure[1] if self._unsure and self._unsure[0] == said else None
        ids = ids or tuple(new_id() for _ in acts)
        try:
            events = self._log.write_all(acts, ids)
        except Refusal:
            self._unsure = (said, ids)
            raise
        self._unsure = None
        for event in events:
            self.progress.apply(event)

    def use(self, rig: str, calibration: str) -> None:
        """Say which rig lights the current imprint; every event bears its name and calibration."""
        self._log.use(rig, calibration)

    def tidy(self) -> None:
        """Let the record do what it has put off, while nothing is waited for."""
        self._log.tidy()

    def _current(self) -> tuple[int, str]:
        """Return the index and the id of the current imprint."""
        index = self.progress.at.index
        if index is None:
            raise Refusal("The order is finished: there is nothing to press; undo to go back.")
        return index, self.run.stops[index].imprint.id

    def step(self, step: Step, laid: str = "") -> None:
        """Go on (or back) to a step of the current imprint; `laid` as in `put_aside`."""
        more: dict[str, Any] = {"laid": laid} if laid else {}
        self.write(Kind.STEPPED, self._current()[1], step, **more)

    def jump(self, index: int, step: Step = Step.LOAD) -> None:
        """Go to another stop of the order."""
        self.write(Kind.STEPPED, self.run.stops[index].imprint.id, step)

    def set_press(self) -> None:
        """Record that the press was set to what the current imprint wants."""
        imprint = self._current()[1]
        wanted = self.progress.to_set(self.progress.at)
        if wanted is not None:
            self.write(Kind.SET, imprint, setting=wanted.words())

    def fit_platen(self) -> None:
        """Record that the platen is on that the current imprint wants."""
        imprint = self._current()[1]
        wanted = self.progress.to_fit(self.progress.at)
        if wanted is not None:
            self.write(Kind.FITTED, imprint, platen=wanted)

    def confirm(self, by: str) -> None:
        """Record that the garment in hand is the right one; key, scan or eye said so (`by`)."""
        index, imprint = self._current()
        piece = self.run.stops[index].piece
        self.write(Kind.CONFIRMED, imprint, by=by, size=piece.size, colour=piece.colour)

    def nudge(self, shift: Shift, *, rest_of_batch: bool = False) -> None:
        """Move the lay lines by so much: for this imprint, or from here on for its batch."""
        index, imprint = self._current()
        batch = self.run.stops[index].batch if rest_of_batch else ""
        self.write(Kind.NUDGED, imprint, batch=batch, **shift.data())

    def keep_for_batch(self, shift: Shift) -> None:
        """Let what was moved for this imprint hold for its batch from here on instead."""
        index, imprint = self._current()
        back = Shift(-shift.x, -shift.y, -shift.angle)
        batch = self.run.stops[index].batch
        self._write_all(
            NewEvent(Kind.NUDGED, imprint, None, {"batch": "", **back.data()}),
            NewEvent(Kind.NUDGED, imprint, None, {"batch": batch, **shift.data()}),
        )

    def collar(self, shift: Shift, *, rest_of_batch: bool = False) -> None:
        """Say where the real collar is: replaces the piece's (or batch's) garment correction."""
        index, imprint = self._current()
        batch = self.run.stops[index].batch if rest_of_batch else ""
        self.write(Kind.COLLARED, imprint, batch=batch, **shift.data())

    def preset(self, location: str) -> None:
        """Place the current imprint by another location, for which the garment is laid again."""
        self.write(Kind.PRESET, self._current()[1], Step.LOAD, location=location)

    def press(
        self,
        pose: Mapping[str, float] | None = None,
        *,
        load: bool = False,
        seen: Mapping[str, Any] | None = None,
        lies: Mapping[str, float] | None = None,
    ) -> None:
        """Record that the press closed and opened on the current imprint; go on to the next.

        Parameters
        ----------
        pose : mapping, optional
            Planned pose of the artwork on the platen before nudges: x, y in mm, angle in rad.
        load : bool
            Whether the garment is loaded again for the next imprint though the plan lets it stay.
        seen : mapping, optional
            What the press's camera measured of it, as plain values.
        lies : mapping, optional
            How the garment lies: `turned` on the platen, rad; `right` and `down` by which the
            shop's own rule has moved the print on it, mm.
        """
        index, imprint = self._current()
        more = {} if seen is None else {"seen": dict(seen)}
        more |= {} if lies is None else {"garment": dict(lies)}
        self.write(
            Kind.PRESSED,
            imprint,
            Step.LOAD if load else None,
            pose=dict(pose) if pose is not None else None,
            nudge=self.progress.nudge(index).data(),
            location=self.progress.location(index),
            **more,
        )

    def press_laid(self, index: int, pose: Mapping[str, float], lies: Mapping[str, float]) -> None:
        """Record that a stop was pressed with the current one, having been laid before it.

        What the record holds of it is as of `press`.
        """
        self.write(
            Kind.PRESSED,
            self.run.stops[index].imprint.id,
            pose=dict(pose),
            nudge=self.progress.nudge(index).data(),
            location=self.progress.location(index),
            garment=dict(lies),
        )

    def put_aside(self, wait: float | None, laid: str = "") -> None:
        """Record that the current imprint is pressed and put aside, its carrier on.

        `wait` is how long it cools, s, where that is known; `laid` what was laid beside it and
        pressed with it.
        """
        more: dict[str, Any] = {"laid": laid} if laid else {}
        self.write(Kind.ASIDE, self._current()[1], wait=wait, **more)

    def skip(self, reason: str = "", *, load: bool = False) -> None:
        """Leave the current imprint out for now; `load` as in `press`."""
        self.write(Kind.SKIPPED, self._current()[1], Step.LOAD if load else None, reason=reason)

    def spoil(self, reason: str, *, replaced: bool, missing: str = "") -> None:
        """Record that the current piece is spoiled, and whether a fresh garment replaces it.

        `missing` says for want of what, "garment" or "transfer", where none does.
        """
        more: dict[str, Any] = {"missing": missing} if missing else {}
        if self.progress.at.step in (Step.PRESS, *AFTER_PRESS):
            more["used"] = True
        self.write(Kind.SPOILED, self._current()[1], reason=reason, replaced=replaced, **more)

    def waste(self, reason: str) -> None:
        """Record that the current imprint's transfer is spoiled, and the garment is good."""
        self.write(Kind.WASTED, self._current()[1], reason=reason)

    def stocked(
        self, cuts: CutList, garments: Mapping[str, int], words: Callable[[PrintedTransfer], str]
    ) -> None:
        """Record what there is for the order, as the shop has listed it.

        Parameters
        ----------
        cuts : CutList
            Of what was printed.
        garments : mapping of str to int
            What was counted in, by pile.
        words : callable
            What a transfer is called.
        """
        there = Counter(place.transfer for sheet in cuts.sheets for place in sheet.places)
        self.write(
            Kind.STOCKED,
            transfers={each.key: count for each, count in there.items()},
            words={each.key: words(each) for each in there},
            garments=dict(garments),
            sheets=cuts.taken_from(),
        )

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
        """Keep a remark with the current imprint."""
        index = self.progress.at.index
        imprint = "" if index is None else self.run.stops[index].imprint.id
        self.write(Kind.NOTED, imprint, text=text)

    def saw_print(self, imprint: str, text: str, seen: Mapping[str, Any]) -> None:
        """Keep where the press's camera saw a pressed print lie, and that in words."""
        self.write(Kind.NOTED, imprint, text=text, print=dict(seen))

    def leave_out(self, reasons: Iterable[str]) -> None:
        """Keep which rows of the sheet are not in the run, and why."""
        for reason in reasons:
            self.write(Kind.NOTED, text=reason, left_out=True)

    def claim(self, claim: str, pieces: Sequence[str]) -> None:
        """Take pieces of an order that several presses share in hand."""
        self.write(Kind.CLAIMED, claim=claim, pieces=list(pieces))

    def give(self, pieces: Iterable[str]) -> None:
        """Let pieces go that another press works by now."""
        self.write(Kind.GIVEN, pieces=sorted(pieces))

    def close(self) -> None:
        """Record that the session ended on purpose."""
        self.write(Kind.CLOSED)


def open_session(
    store: Store,
    run: Run,
    *,
    operator: str = "",
    rig: str = "",
    calibration: str = "",
    **options: Any,
) -> RunSession:
    """Return a session whose every act is on the disk before it is in force.

    Parameters
    ----------
    store : Store
    run : Run
    operator, rig, calibration : str
        Who, at which press, and the id of the calibration in force.
    options
        Passed on to `Recorder` (clocks).
    """
    earlier: dict[str, Earlier] = {}
    if run.earlier:
        before = store.run(run.earlier)
        earlier = earlier_placements(before.stops, store.events(before), run.stops)
    log = Recorder(store, run, operator=operator, rig=rig, calibration=calibration, **options)
    return RunSession(run, log, {**earlier, **earlier_of(log.history)})
