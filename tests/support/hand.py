"""An operator at the keys of the pure loop: no window, no record, no light."""

from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Event, Kind, Step, new_id
from chalkbeam.record.progress import Progress
from chalkbeam.station.modes import ORDER
from chalkbeam.station.state import advance
from chalkbeam.station.values import CommandKind, OperatorState, RunView, run_locations
from overlay.window.inputs import Key, Tick
from tests.support.rigs import make_rig

RIG = make_rig()


class Hand:
    """An operator at a state; commands take effect on a progress without a record."""

    def __init__(self, stops, mode=ORDER, confirms=False):
        self.mode, self.confirms = mode, confirms
        self.progress = Progress(stops)
        self.state = OperatorState()
        self.at = 100.0
        self.ready = True
        self.done = []

    def give(self, happened):
        names = [stop.imprint.location for stop in self.progress.stops]
        view = RunView(
            self.progress, run_locations(names), RIG, self.mode,
            refused="" if self.ready else "The artwork file is missing.", confirms=self.confirms,
        )  # fmt: skip
        self.state, commands = advance(self.state, view, happened)
        for command in commands:
            self.done.append(command)
            self.carry_out(command)
        return self

    def press(self, *names, wait=1.0, **more):
        """Press keys, each long enough after the last that it is no scan and no bounce."""
        for name in names:
            self.at += wait
            text = name if len(name) == 1 else ""
            self.give(Key(name, at=self.at, text=text, **more))
            if self.state.held:
                self.at += wait
                self.give(Tick(self.at))
        return self

    def carry_out(self, command):
        index = self.progress.at.index
        stop = self.progress.stop
        imprint = stop.imprint.id if stop else ""
        batch = stop.batch if stop else ""

        def apply(kind, step=None, **data):
            self.progress.apply(Event(new_id(), kind, imprint, step, data, clock=self.at))

        match command.kind:
            case CommandKind.STEP:
                apply(Kind.STEPPED, command.step, laid=command.text)
            case CommandKind.ASIDE:
                wait = None if stop is None else stop.imprint.press.cooling_wait
                apply(Kind.ASIDE, wait=wait, laid=command.text)
            case CommandKind.CONFIRM:
                apply(Kind.CONFIRMED, by=command.text)
            case CommandKind.PRESS:
                apply(Kind.PRESSED)
            case CommandKind.NUDGE:
                apply(Kind.NUDGED, batch="", **command.shift.data())
            case CommandKind.NUDGE_BATCH:
                back = Shift(-command.shift.x, -command.shift.y, -command.shift.angle)
                apply(Kind.NUDGED, batch="", **back.data())
                apply(Kind.NUDGED, batch=batch, **command.shift.data())
            case CommandKind.COLLAR:
                apply(Kind.COLLARED, batch="", **command.shift.data())
            case CommandKind.COLLAR_BATCH:
                apply(Kind.COLLARED, batch=batch, **command.shift.data())
            case CommandKind.PRESET:
                apply(Kind.PRESET, Step.LOAD, location=command.text)
            case CommandKind.SKIP:
                apply(Kind.SKIPPED, reason=command.text)
            case CommandKind.SPOIL:
                apply(Kind.SPOILED, reason=command.text, replaced=command.replaced)
            case CommandKind.WASTE:
                apply(Kind.WASTED, reason=command.text)
            case CommandKind.UNDO:
                if self.progress.undoable:
                    apply(Kind.UNDONE, event=self.progress.undoable.id)
            case CommandKind.REDO:
                if self.progress.redoable:
                    apply(Kind.REDONE, event=self.progress.redoable.id)
            case CommandKind.JUMP:
                target = self.progress.stops[command.index].imprint.id
                self.progress.apply(Event(new_id(), Kind.STEPPED, target, command.step))
            case CommandKind.SET_PRESS:
                apply(Kind.SET)
            case CommandKind.FIT_PLATEN:
                apply(Kind.FITTED)
            case CommandKind.PAUSE:
                apply(Kind.WENT_ON if self.progress.paused else Kind.PAUSED)
        assert index is None or command.kind is not None
