"""The station: carries out what the operator asks for, on record first, then in the light.

Three things make it up: what is asked (here and in `state`), what is ready to be lit
(`readiness`), and the dwell (`dwell`). How scenes are lit is a `LightOutput`'s business, how the
run looks on a display is `display.display_of`'s.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Any

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit
from chalkbeam.orders.settings import Degrees
from chalkbeam.record.events import UNDER_HEAD, Step
from chalkbeam.record.progress import At
from chalkbeam.record.session import RunSession
from chalkbeam.record.sheet_changes import sheet_trouble
from chalkbeam.station.deeds import Deeds
from chalkbeam.station.dwell import Dwell, cooling_ends, dwell_of, whole_seconds
from chalkbeam.station.modes import ORDER, Mode
from chalkbeam.station.next_light import likely_scenes, shown_by
from chalkbeam.station.readiness import Readiness
from chalkbeam.station.ready_imprint import ClothSeen, ImprintPreparer, ReadyImprint
from chalkbeam.station.scene import LightOutput, Scene, scene_of
from chalkbeam.station.state import advance
from chalkbeam.station.tick_guide import TickGuide
from chalkbeam.station.values import (
    Asking,
    Command,
    CommandKind,
    OperatorState,
    RunView,
    Showing,
    run_locations,
)
from chalkbeam.station.words import pressed_words
from overlay.window.inputs import Input, Key


class StationController:
    """A session at the press. `take` is the `update` of a window.

    Parameters
    ----------
    session : RunSession
    preparer : ImprintPreparer
    output : LightOutput
        What lights the scenes; whoever shows them asks it for them.
    unit : Unit
        Unit of the lengths in the lettering.
    degrees : Degrees
        What temperatures are shown in.
    mode : Mode
    counting : bool
        Whether to count the dwell down in dim light beside the platen: for a shop with no
        display but the projector.
    known : str
        Digest of the run sheet as the operator knows it, if it was edited since the run began.
    check : bool
        Whether to begin with squares to hold a ruler to.
    guide : TickGuide, optional
        Line lasers that are moved from tick to tick.
    confirms : bool
        Whether size label and colour are to be confirmed at load.
    offers : callable, optional
        Returns what is offered at the end of the order, a sentence each.

    Attributes
    ----------
    state : OperatorState
    readiness : Readiness
    changes : int
        Grows with everything that changes what is shown.
    meaning : int
        Grows with everything that changes what a key would do: what a camera has to say does not.
    queue_note : str
        Why nothing comes from, or goes to, a queue that several presses share; empty otherwise.
    seen : callable
        What a camera at the press has to put on record with a press; None for nothing.
    """

    def __init__(
        self,
        session: RunSession,
        preparer: ImprintPreparer,
        output: LightOutput,
        *,
        unit: Unit = Unit.MM,
        degrees: Degrees = Degrees.AS_WRITTEN,
        mode: Mode = ORDER,
        counting: bool = False,
        known: str = "",
        check: bool = False,
        guide: TickGuide | None = None,
        confirms: bool = False,
        offers: Callable[[], Sequence[str]] = tuple,
    ) -> None:
        self.session = session
        self.output = output
        self.counting = counting
        self._unit, self._degrees, self._mode, self._known = unit, degrees, mode, known
        self._guide, self._confirms = guide, confirms
        self._offers = offers
        self._offered: tuple[int, tuple[str, ...]] = (-1, ())
        showing = Showing.CHECK if check else Showing.WORK
        self.state = OperatorState(showing=showing)
        if mode.counted and session.progress.at.step in UNDER_HEAD:
            asked = pressed_words(session.progress)
            self.state = OperatorState(showing, asking=Asking.PRESSED, question=asked)
        self.readiness = Readiness(preparer, session.progress)
        self.locations = run_locations([stop.imprint.location for stop in session.run.stops])
        self.changes = self.meaning = 0
        self.seen: Callable[[], Mapping[str, Any] | None] = lambda: None
        self._deeds = Deeds(session, self.readiness, lambda: self.seen())
        self._moved_by: Key | None = None
        self.queue_note = ""
        self._sheet_note = ""
        self._noted_at = ""
        self._piece = ""
        self._refresh()

    # -- what is asked ---------------------------------------------------------------------

    def take(self, happened: Input) -> StationController:
        """Take an input; return this controller, changed.

        Where the record cannot be written nothing has changed but the remark that says so.
        """
        if isinstance(happened, Key) and self.readiness.refused:
            self.readiness.look_again()
            self._refresh()
        state, commands = advance(self.state, self.view(), happened)
        drawing = None
        if commands and (moved := shown_by(self.view(), state, commands)) is not None:
            # Drawn while the disk takes a nudge in, shown once it is on record. If it never is,
            # the drawing goes unseen.
            drawing = self.output.begin(moved)
        if drawing is not None or state.moving != self.state.moving:
            self._moved_by = happened if isinstance(happened, Key) else self.state.held[0]
        for command in commands:
            try:
                said = self._deeds.carry_out(command)
            except Refusal as refusal:
                # The key is used up: held, it would act again; nothing else has changed.
                state = replace(
                    self.state, said=str(refusal), stepped_at=state.stepped_at,
                    held=state.held, leaving=state.leaving,
                )  # fmt: skip
                break
            state = replace(state, said=said or state.said)
        if drawing is not None:
            drawing()
        if commands or state != self.state:
            self._changed()
        self.state = state
        if commands:
            self._refresh()
        return self

    def handle(self, command: Command) -> str:
        """Carry out a command that no key asked for; return a remark about it, if any.

        Raises
        ------
        Refusal
            If it cannot be recorded or lit: nothing has changed.
        """
        before = self.session.progress.at
        if command.kind is CommandKind.STEP:
            if self.session.progress.to_fit(before) is not None:
                raise Refusal("The platen is to be put on first: say that it is, by its key.")
            if self.session.progress.to_set(before) is not None:
                raise Refusal("The press is to be set first: say that it is, by its key.")
            if self.view().to_confirm:
                raise Refusal(
                    "The garment's label is to be looked at first: confirm it, by its key."
                )
        said = self._deeds.carry_out(command)
        if self.session.progress.at != before:  # a dwell that ran is another imprint's
            self.state = replace(self.state, pressing_since=None, sure=False)
        self._changed()
        self._refresh()
        return said

    def say(self, **changes: Any) -> None:
        """Change what is shown (fields of `OperatorState`) without an input."""
        state = replace(self.state, **changes)
        if state == self.state:
            return
        if (
            replace(self.state, eye=state.eye, sign=state.sign) == state
        ):  # light and words that no key is about
            self.changes += 1
        else:
            self._changed()
        self.state = state

    def _changed(self) -> None:
        self.changes += 1
        self.meaning += 1

    def run_changed(self, note: str, **changes: Any) -> None:
        """See to what the queue of several presses has changed in the run.

        Parameters
        ----------
        note : str
            As `queue_note`.
        changes
            Of what is shown: fields of `OperatorState`.
        """
        self.queue_note, self.state = note, replace(self.state, **changes)
        self._changed()
        self._refresh()

    def saw(self, seen: ClothSeen | None) -> None:
        """Take what was measured of the cloth on the platen."""
        self.readiness.saw(seen)
        self.changes += 1
        self._refresh()

    def _with_next(self) -> int | None:
        """Return the stop that is laid beside the current one, to be pressed once with it.

        It is the number under a name: same garment, same settings, both under the head as the
        garment lies.
        """
        progress = self.session.progress
        index, stop = progress.at.index, progress.stop
        if index is None or stop is None or progress.at.step is not Step.LAY:
            return None
        if not self._mode.counted or index + 1 >= len(progress.stops):
            return None
        other = progress.stops[index + 1].imprint
        alike = other.follows == stop.imprint.id and other.press == stop.imprint.press
        if not alike or other.id in progress.outcomes:
            return None
        return index + 1 if self.readiness.lies_alike(index, index + 1) else None

    # -- what is ready ---------------------------------------------------------------------

    def _refresh(self) -> None:
        """See to what the current imprint is by now."""
        self._watch_sheet()
        before = self.readiness.refused
        if not self.readiness.update():
            return
        refused = self.readiness.refused
        if not refused:
            self.session.use(self.readiness.rig.name, self.readiness.rig.calibration_id)
        elif refused != before:
            try:
                self.session.note(refused)
            except Refusal as unwritten:
                self.state = replace(self.state, said=str(unwritten))

    def _watch_sheet(self) -> None:
        """At a new piece look for what has become of the sheet; light says it at one load step."""
        progress = self.session.progress
        if progress.stop is None or not self.session.run.sheet:
            return
        piece = progress.stop.piece.id
        if piece != self._piece:
            self._piece = piece
            note = sheet_trouble(self.session.run, self._known) or ""
            if note != self._sheet_note:
                self._sheet_note, self._noted_at = note, ""
        if self._sheet_note and not self._noted_at and progress.at.step is Step.LOAD:
            self._noted_at = piece

    def foresee(self) -> Iterator[None]:
        """Work out, in small steps, what the next key may show, so that it is there at once.

        To be gone on with while nothing is waited for, and let go of when something has changed.
        What stands in the way of the next imprint is said when its turn comes, not before.
        """
        progress, at = self.session.progress, self.session.progress.at
        if at.index is None or self.readiness.ready is None or progress.paused or self.state.asking:
            return
        following = at
        if at.step in (Step.LOAD, Step.PREPRESS):
            following = At(at.index, Step.LAY)
        elif at.step in UNDER_HEAD:
            # In the lay step arrow keys want an answer at once; the press gives time for the next.
            self.session.tidy()
            yield
            following = progress.following() if self._mode.counted else At(at.index)
        if following not in (at, At(None)):
            with suppress(Refusal):
                following = replace(following, step=self._deeds.step_at(following))
                scene = self.scene_at(following)
                yield
                yield from self.output.ahead(scene)
                self.output.prepare(scene)
            yield
        for scene in likely_scenes(self.view(), self.state, self._moved_by):
            yield from self.output.ahead(scene)
        if at.step is Step.LAY:
            with suppress(Refusal):
                yield from self.output.ahead(self.scene_at(At(at.index)))

    # -- what is to be seen ----------------------------------------------------------------

    def view(self) -> RunView:
        """Return the run as it stands."""
        progress, readiness = self.session.progress, self.readiness
        return RunView(
            progress=progress,
            locations=self.locations,
            rig=readiness.rig,
            mode=self._mode,
            title=self.session.run.title,
            ready=readiness.ready,
            refused=readiness.refused,
            sheet_note=self._sheet_note,
            note_in_light=progress.stop is not None and progress.stop.piece.id == self._noted_at,
            unit=self._unit,
            aiming=self._aiming(progress.at, readiness.ready),
            degrees=self._degrees,
            with_next=self._with_next(),
            confirms=self._confirms,
            queue_note=self.queue_note,
            offers=self._offers_now(),
        )

    def _offers_now(self) -> tuple[str, ...]:
        """Return what is offered; worked out once each time that the order comes to its end."""
        if self.session.progress.stop is not None:
            return ()
        if self._offered[0] != self.meaning:
            self._offered = (self.meaning, tuple(self._offers()))
        return self._offered[1]

    def _aiming(self, at: At, ready: ReadyImprint | None) -> tuple[str, ...]:
        """Return where line lasers are to be moved for a stop."""
        if self._guide is None:
            return ()
        return self._guide.words(self.session.progress, at, ready, self._unit)

    def scene(self, at: float | None = None) -> Scene:
        """Return what is to be lit.

        `at` is the time on the monotonic clock, s, for the count of the dwell.
        """
        left = None if at is None else self.seconds_left(at)
        dwell, step = self.dwell, self.session.progress.at.step
        over = step is Step.PEEL if dwell is None else at is not None and dwell.left(at) <= 0
        return scene_of(
            self.view(), self.state, self.session.progress.at, countdown=left, over=over
        )

    def scene_at(self, at: At) -> Scene:
        """Return what would be lit at a stop of the order.

        Raises
        ------
        Refusal
            If something stands in the way of its imprint.
        """
        assert at.index is not None  # a stop, not the end
        ready = self.readiness.prepared(at.index)
        piece = self.session.progress.stops[at.index].piece.id
        view = replace(
            self.view(), ready=ready, rig=ready.rig, refused="",
            note_in_light=piece == self._noted_at, aiming=self._aiming(at, ready),
        )  # fmt: skip
        return scene_of(view, OperatorState(), at)

    # -- the dwell -------------------------------------------------------------------------

    @property
    def dwell(self) -> Dwell | None:
        """The time that runs at the current step; None if none does."""
        return dwell_of(self.session.progress, self.state.pressing_since)

    @property
    def bells(self) -> tuple[float, ...]:
        """When times that are waited for end, s on the monotonic clock."""
        dwell = self.dwell
        return (*cooling_ends(self.session.progress), *(() if dwell is None else (dwell.ends,)))

    def seconds_left(self, at: float) -> int | None:
        """Return the whole seconds to be counted in the light; None if none are."""
        dwell = self.dwell
        if not self.counting or dwell is None or self.state.dark or self.state.trouble:
            return None
        return whole_seconds(dwell.ends, at)

    def count_due(self, at: float) -> float | None:
        """Return when the light changes by itself next, s on the monotonic clock; None if never."""
        dwell = self.dwell
        if dwell is None or dwell.left(at) <= 0:
            return None
        return dwell.ends if self.seconds_left(at) is None else dwell.next_count(at)
