"""The press side: carries out what the operator asks for, on the disk first, then in the light."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit
from chalkbeam.orders.order_of_work import Stop
from chalkbeam.orders.pieces import Imprint
from chalkbeam.orders.times import format_duration
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Event, Kind, Step
from chalkbeam.record.progress import At, Outcome
from chalkbeam.record.session import RunSession
from chalkbeam.record.sheet_changes import sheet_trouble
from chalkbeam.station.frames import FrameCache
from chalkbeam.station.ready_imprint import ImprintPreparer, ReadyImprint
from chalkbeam.station.scene import Scene, fitting_words
from chalkbeam.station.state import advance
from chalkbeam.station.values import Command, CommandKind, OperatorState, RunView, run_locations
from chalkbeam.station.words import unseen_words
from overlay.draw.frame import Frame
from overlay.window.inputs import Input, Key


class StationController:
    """A session with its light. `take` is the `update` of a window, `frame` its `view`.

    Parameters
    ----------
    session : RunSession
    preparer : ImprintPreparer
    unit : Unit
        Unit of the lengths in the lettering.
    counting : bool
        Whether to count the dwell down in dim light beside the platen: for a shop with no
        display but the projector.
    known : str
        Digest of the run sheet as the operator knows it, if it was edited since the run began.

    Attributes
    ----------
    state : OperatorState
        What is in the operator's hands.
    ready : ReadyImprint or None
        The imprint ready to be lit.
    refused : str
        What stands in its way otherwise.
    sheet_note : str
        What has become of the run sheet since the run began.
    changes : int
        Grows with every input that changed something.
    """

    def __init__(
        self,
        session: RunSession,
        preparer: ImprintPreparer,
        unit: Unit = Unit.MM,
        *,
        counting: bool = False,
        known: str = "",
    ) -> None:
        self.counting = counting
        self._known = known
        self.session = session
        self.preparer = preparer
        self.unit = unit
        asked = unseen_words(session.progress) if session.progress.at.step is Step.PRESS else ""
        self.state = OperatorState(said=asked, sure=bool(asked))
        self.ready: ReadyImprint | None = None
        self.refused = ""
        self.sheet_note = ""
        self._noted_at = ""
        self.changes = 0
        stops = session.run.stops
        self.locations = run_locations([stop.imprint.location for stop in stops])
        pieces = list(dict.fromkeys(stop.piece.id for stop in stops))
        self._number = {piece: number for number, piece in enumerate(pieces, start=1)}
        self._imprints = {stop.imprint.id: index for index, stop in enumerate(stops)}
        self._light = FrameCache(preparer.rigs[0])
        self._rung: float | None = None
        self._ready_for: object = None
        self._foreseen: tuple[object, ReadyImprint] | None = None
        self._piece = ""
        self._ready()

    # -- inputs ----------------------------------------------------------------------------

    def take(self, happened: Input) -> StationController:
        """Take an input; return this press side, changed.

        Where the record cannot be written nothing has changed but the remark that says so.
        """
        if self.refused and isinstance(happened, Key):
            self._ready_for = None  # the file may have been put back
            self._ready()
        view = RunView(self.session.progress, self.locations, self.ready is not None)
        state, commands = advance(self.state, view, happened)
        drawing = self._draw_ahead(state, commands)
        for command in commands:
            try:
                said = self._carry_out(command)
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
            self.changes += 1
        self.state = state
        if commands:
            self._ready()
        return self

    def _draw_ahead(
        self, state: OperatorState, commands: Sequence[Command]
    ) -> Callable[[], None] | None:
        """Begin to draw what a nudge will show while the disk takes the nudge in.

        Only drawn: it is shown once it is on record. If it never is, the drawing goes unseen.
        """
        if self.ready is None or [command.kind for command in commands] != [CommandKind.NUDGE]:
            return None
        at = self.session.progress.at
        return self._light.begin(self._scene(at, self.ready, state, commands[0].shift))

    def _carry_out(self, command: Command) -> str:
        """Do it; return a remark about it, if any."""
        session, progress = self.session, self.session.progress
        match command.kind:
            case CommandKind.STEP:
                session.step(command.step)
            case CommandKind.PRESS:
                session.press(self._pose())
            case CommandKind.NUDGE | CommandKind.NUDGE_BATCH:
                batch = command.kind is CommandKind.NUDGE_BATCH
                session.nudge(command.shift, rest_of_batch=batch)
            case CommandKind.COLLAR | CommandKind.COLLAR_BATCH:
                batch = command.kind is CommandKind.COLLAR_BATCH
                session.collar(command.shift, rest_of_batch=batch)
            case CommandKind.TRY | CommandKind.PRESET:
                self._try_at(command.text)
                if command.kind is CommandKind.PRESET:
                    session.preset(command.text)
            case CommandKind.SKIP:
                session.skip(command.text)
            case CommandKind.SPOIL:
                session.spoil(command.text, replaced=command.replaced)
            case CommandKind.UNDO:
                event = progress.undoable
                return f"undone: {_words(event)}" if session.undo() and event else NOTHING
            case CommandKind.REDO:
                event = progress.redoable
                return f"done again: {_words(event)}" if session.redo() and event else NOTHING
            case CommandKind.JUMP:
                session.jump(command.index)
            case CommandKind.PAUSE:
                session.pause()
        return ""

    def _pose(self) -> dict[str, float] | None:
        """Return the planned pose of the art on the platen, before nudges."""
        if self.ready is None:
            return None
        choice = self.ready.choice
        pose = choice.loading.platen_from_garment @ choice.placement.garment_from_art
        return {"x": pose.x, "y": pose.y, "angle": pose.angle}

    def _ready(self) -> None:
        """Work out the imprint at hand, unless that is done."""
        progress = self.session.progress
        stop, index = progress.stop, progress.at.index
        if stop is None or index is None:
            self.ready, self.refused, self._ready_for = None, "", None
            return
        self._watch_sheet(stop)
        wanted = (index, progress.collar(index), *map(self._location, stop.piece.imprints))
        if wanted == self._ready_for:
            return
        self._ready_for = wanted
        try:
            self.ready = self._at_hand(index)
            self.refused = ""
            rig = self.ready.rig
            self.session.use(rig.name, rig.calibration_id)
        except Refusal as refusal:
            if str(refusal) != self.refused:
                self._note(str(refusal))
            self.ready, self.refused = None, str(refusal)

    def _watch_sheet(self, stop: Stop) -> None:
        """At a new piece look for what has become of the sheet; light says it at one load step."""
        if stop.piece.id != self._piece:
            self._piece = stop.piece.id
            note = sheet_trouble(self.session.run, self._known) or ""
            if note != self.sheet_note:
                self.sheet_note, self._noted_at = note, ""
        if self.sheet_note and not self._noted_at and self.session.progress.at.step is Step.LOAD:
            self._noted_at = stop.piece.id

    def _try_at(self, location: str) -> None:
        """Pass if the imprint at hand can be lit at another location.

        Raises
        ------
        Refusal
            If it cannot: the location in force, its light and the record stay as they are.
        """
        progress = self.session.progress
        stop, index = progress.stop, progress.at.index
        if stop is None or index is None:
            return

        def elsewhere(imprint: Imprint) -> str:
            return location if imprint.id == stop.imprint.id else self._location(imprint)

        # By itself: there the garment is laid anew.
        self.preparer.prepare(stop.piece, stop.imprint, elsewhere, progress.collar(index))

    def _at_hand(self, index: int) -> ReadyImprint:
        """Return an imprint of the order ready to be lit, the same one for the same thing."""
        progress = self.session.progress
        stop, collar = progress.stops[index], progress.collar(index)
        known = self._foreseen
        wanted = (index, collar, *map(self._location, stop.piece.imprints))
        if known is not None and known[0] == wanted:
            return known[1]
        together = self._together(index)
        return self.preparer.prepare(stop.piece, stop.imprint, self._location, collar, together)

    def _together(self, index: int) -> list[Imprint]:
        """Return the imprints that are pressed while the garment stays where it is."""
        stops, stays = self.session.run.stops, self.session.progress.stays
        first = last = index
        while first > 0 and stays(first):
            first -= 1
        while last + 1 < len(stops) and stays(last + 1):
            last += 1
        return [stop.imprint for stop in stops[first : last + 1]]

    def foresee(self) -> None:
        """Work out the picture that the next step will show, so that it is there at once.

        To be called while nothing is waited for. What stands in the way of the next
        imprint is said when its turn comes, not before.
        """
        progress, at = self.session.progress, self.session.progress.at
        if at.index is None or self.ready is None or progress.paused or self.state.asking:
            return
        if at.step is Step.LOAD:
            self._light.frame(self._scene(At(at.index, Step.LAY), self.ready))
            return
        # In the lay step arrow keys want an answer at once; the press gives time for the next.
        following = progress.following()
        if at.step is Step.PRESS:
            self.session.tidy()
        if at.step is not Step.PRESS or following.index is None:
            return
        stop, collar = progress.stops[following.index], progress.collar(following.index)
        try:
            ready = self._at_hand(following.index)
        except Refusal:
            return
        wanted = (following.index, collar, *map(self._location, stop.piece.imprints))
        self._foreseen = (wanted, ready)
        self._light.frame(self._scene(following, ready))

    def _note(self, text: str) -> None:
        """Keep what went wrong with the run; the light says it whether or not that works."""
        try:
            self.session.note(text)
        except Refusal as refusal:
            self.state = replace(self.state, said=str(refusal))

    def _location(self, imprint: Imprint) -> str:
        return self.session.progress.location(self._imprints[imprint.id])

    @property
    def pieces(self) -> int:
        """How many pieces the order has."""
        return len(self._number)

    def number(self, stop: Stop | None) -> int:
        """Return which piece of the order of work a stop is about, from 1; 0 for none."""
        return self._number[stop.piece.id] if stop is not None else 0

    def fitting(self, at: At) -> tuple[str, ...]:
        """Return which platen and pad to see to, in words; empty once the garment is loaded."""
        progress = self.session.progress
        if at.index is None or at.step is not Step.LOAD:
            return ()
        return fitting_words(progress.stops[at.index].fit, progress.on_press)

    # -- light -----------------------------------------------------------------------------

    def _scene(
        self,
        at: At,
        ready: ReadyImprint | None,
        state: OperatorState = OperatorState(),  # noqa: B008 - a frozen value
        more: Shift = Shift(),  # noqa: B008 - a frozen value
    ) -> Scene:
        """Return everything the light depends on; `more` is a nudge yet to be recorded."""
        progress = self.session.progress
        stop = None if at.index is None else progress.stops[at.index]
        rig = ready.rig if ready is not None else self.preparer.rigs[0]
        return Scene(
            # What is not seen must not make the light be drawn again.
            state=replace(
                state, held=(), stepped_at=0.0, pressing_since=None, sure=False, trouble=""
            ),
            stop=stop,
            step=at.step,
            paused=progress.paused,
            ready=ready,
            nudge=progress.nudge(at.index, more) if at.index is not None else Shift(),
            fitting=self.fitting(at),
            number=self.number(stop),
            count=self.pieces,
            face=rig.face,
            title=rig.name,
            refused=self.refused,
            summary=self.summary() if stop is None else (),
            sheet_note=self.sheet_note if stop and stop.piece.id == self._noted_at else "",
            unit=self.unit,
        )

    def frame(self, at: float | None = None) -> Frame | None:
        """Return the frame to show; None for darkness.

        `at` is the time on the monotonic clock, s, for the count of the dwell.
        """
        frame = self._light.frame(self._scene(self.session.progress.at, self.ready, self.state))
        left = None if at is None or frame is not None else self.seconds_left(at)
        return frame if left is None else self._light.count(left, self.ready)

    def seconds_left(self, at: float) -> int | None:
        """Return the whole seconds to be counted beside the platen; None if none are."""
        ends = self.dwell_ends()
        if not self.counting or ends is None or self.state.dark or self.state.trouble:
            return None
        return max(0, math.ceil(ends - at - 1e-6))

    def count_due(self, at: float) -> float | None:
        """Return when the count changes next, s on the monotonic clock; None if it does not."""
        left, ends = self.seconds_left(at), self.dwell_ends()
        return None if not left or ends is None else ends - left + 1

    def summary(self) -> tuple[str, ...]:
        """Return how the order ended, a line each."""
        outcomes = list(self.session.progress.outcomes.values())
        spoiled = sum(self.session.progress.spoiled_pieces.values())
        lines = ["the order is finished", f"{outcomes.count(Outcome.PRESSED)} imprints pressed"]
        skipped = outcomes.count(Outcome.SKIPPED)
        if skipped:
            lines.append(f"{skipped} skipped")
        if spoiled:
            lines.append(f"{spoiled} {'piece' if spoiled == 1 else 'pieces'} spoiled")
        return tuple(lines)

    def time_left(self) -> str:
        """Return the estimate for what is still open, for people."""
        return format_duration(self.session.progress.seconds_left())

    def rings(self, at: float) -> bool:
        """Whether the end of the dwell is to be told now; true once for each dwell."""
        ends = self.dwell_ends()
        if ends is None or at < ends or self._rung == ends:
            return False
        self._rung = ends
        return True

    def dwell_ends(self) -> float | None:
        """Return when the dwell that the sheet gives is over, s on the monotonic clock."""
        stop = self.session.progress.stop
        since = self.state.pressing_since
        if stop is None or since is None or self.session.progress.at.step is not Step.PRESS:
            return None
        dwell = stop.imprint.press.dwell
        return None if dwell is None else since + dwell


NOTHING = "nothing to take back"


def _words(event: Event) -> str:
    """Return an act in words."""
    words = {
        Kind.STEPPED: "a step",
        Kind.NUDGED: "a move of the lines",
        Kind.COLLARED: "a move of the collar",
        Kind.PRESET: "a change of location",
    }
    return f"{words.get(event.kind, event.kind.value)} ({event.imprint})"
