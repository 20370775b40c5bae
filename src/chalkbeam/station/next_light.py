"""What the next key may light: worked out from the run as it stands, before the key comes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Kind
from chalkbeam.station.deeds import undone_words
from chalkbeam.station.keys import likely_keys
from chalkbeam.station.scene import Scene, scene_of
from chalkbeam.station.state import advance
from chalkbeam.station.values import Command, CommandKind, OperatorState, RunView
from overlay.window.inputs import Key


def shown_by(view: RunView, state: OperatorState, commands: Sequence[Command]) -> Scene | None:
    """Return what is lit once a key has been answered: what `advance` says of it is given.

    None for what is more on record than a nudge, and where there is no current imprint to light.
    """
    nudges = [command.kind for command in commands] == [CommandKind.NUDGE]
    if view.ready is None or (commands and not nudges):
        return None
    more = commands[0].shift if nudges else Shift()
    return scene_of(view, state, view.progress.at, more)


def likely_scenes(view: RunView, state: OperatorState, last: Key | None) -> Iterator[Scene]:
    """Yield what the next key may show, the likeliest first; `last` moved lines last."""
    for key in likely_keys(last):
        scene = shown_by(view, *advance(state, view, key))
        if scene is not None:
            yield scene
    event, (after, _) = view.progress.undoable, advance(state, view, Key("u"))
    if event is not None and event.kind is Kind.NUDGED and view.ready is not None:
        moved = Shift.of(event.data)
        back = Shift(-moved.x, -moved.y, -moved.angle)
        said = replace(after, said=undone_words(event))
        yield scene_of(view, said, view.progress.at, back)
