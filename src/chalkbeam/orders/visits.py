"""Which imprints are pressed in one visit to the press, and in which order the visits go."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from chalkbeam.orders.pieces import Imprint, Piece, PressSetup
from chalkbeam.orders.times import Times

Chooser = Callable[[Piece, Imprint], PressSetup]


class State(NamedTuple):
    """What is on the press and beside it; to change a field takes `Times` of its name."""

    platen: str
    pad: str
    stack: str
    pile: str


@dataclass(frozen=True)
class Task:
    """An imprint with all that the order of work depends on."""

    piece: Piece
    imprint: Imprint
    fit: PressSetup
    state: State


Visit = tuple[Task, ...]
"""What is pressed on a piece before it is put aside."""


def tasks_of(piece: Piece, choose: Chooser) -> list[Task]:
    """Return a piece's imprints as tasks, in the sheet's order."""
    pile, tasks = piece.pile, []
    for imprint in piece.imprints:
        fit = choose(piece, imprint)
        tasks.append(Task(piece, imprint, fit, State(fit.platen, fit.pad, imprint.art.stack, pile)))
    return tasks


def blocks_of(tasks: Sequence[Task]) -> list[Visit]:
    """Return the tasks of one piece with every dependent imprint right behind what it follows."""
    chains: dict[str, list[Task]] = {}
    head: dict[str, str] = {}
    for task in tasks:
        follows = task.imprint.follows
        first = head.get(follows or "", task.imprint.id)
        head[task.imprint.id] = first
        chains.setdefault(first, []).append(task)
    return [tuple(chain) for chain in chains.values()]


def visits_of(blocks: Iterable[Visit], times: Times) -> list[Visit]:
    """Return one piece's visits: blocks are joined where to stay is no dearer than to come back.

    On the platen and pad that are on, the next block costs a turn if it lies another way and,
    where its stack is another, going to that and back again; coming back costs a load.
    """
    visits: list[Visit] = []
    for block in sorted(blocks, key=_alike):
        stay = float("inf")
        if visits:
            last, now = visits[-1][-1], block[0]
            if (last.fit.platen, last.fit.pad) == (now.fit.platen, now.fit.pad):
                stay = times.turn if last.fit != now.fit else 0.0
                stay += 2 * times.stack if last.state.stack != now.state.stack else 0.0
        if stay <= times.load:
            visits[-1] += block
        else:
            visits.append(block)
    return visits


def _alike(block: Visit) -> tuple[str, str, str, str]:
    fit = block[0].fit
    return fit.platen, fit.pad, fit.loading, block[0].state.stack


def in_order(visits: Sequence[Visit], times: Times, start: State | None) -> list[Visit]:
    """Return the visits sorted: what takes longest to change changes least often.

    The visits that share the costliest thing to change stand together, among those the ones
    that share the next, and so on; last come face and location, then the sheet's order. Of
    the groups within one, that comes first which shares what is already there, so that a
    change of platen need not also change the stack.

    Parameters
    ----------
    visits : sequence of Visit
    times : Times
    start : State or None
        What is on the press before.
    """
    return _nested(visits, sorted(State._fields, key=lambda name: -getattr(times, name)), start)


def _nested(visits: Sequence[Visit], names: Sequence[str], at: State | None) -> list[Visit]:
    if not names:
        return sorted(visits, key=lambda visit: (visit[0].fit.loading, visit[0].imprint.location))
    name, *finer = names
    groups: dict[str, list[Visit]] = {}
    for visit in visits:
        groups.setdefault(getattr(visit[0].state, name), []).append(visit)
    ordered: list[Visit] = []
    for value in sorted(groups, key=lambda value: at is None or value != getattr(at, name)):
        ordered += _nested(groups[value], finer, at)
        at = ordered[-1][-1].state
    return ordered
