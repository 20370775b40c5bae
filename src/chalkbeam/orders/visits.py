"""Which imprints are pressed in one visit to the press, and in which order the visits go."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from chalkbeam.orders.pieces import Imprint, Piece, PressSetup
from chalkbeam.orders.settings import Setting, cheapest_round, seconds_between
from chalkbeam.orders.times import Times

Chooser = Callable[[Piece, Imprint], PressSetup]


class State(NamedTuple):
    """What is on the press and beside it; `seconds_to` is what it takes to change one of them."""

    platen: str
    pad: str
    stack: str
    pile: str
    setting: Setting | None = None

    def seconds_to(self, other: State, name: str, times: Times) -> float:
        """Return what it takes to come from here to another state's platen, pad, …, s."""
        if getattr(self, name) == getattr(other, name):
            return 0.0
        if name == "setting":
            return seconds_between(self.setting, other.setting, times)
        return float(getattr(times, name))

    def changes(self, other: State) -> list[str]:
        """Return what is to be changed to come to another state; blank settings change nothing."""
        unsaid = self.setting is None or other.setting is None
        return [
            name
            for name in State._fields
            if getattr(self, name) != getattr(other, name) and not (name == "setting" and unsaid)
        ]


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
        setting = Setting.of(imprint.press)
        state = State(fit.platen, fit.pad, imprint.art.stack, pile, setting)
        tasks.append(Task(piece, imprint, fit, state))
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
                for name in ("stack", "setting"):
                    stay += last.state.seconds_to(now.state, name, times)
                    stay += now.state.seconds_to(last.state, name, times)
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
    wanted = {visit[0].state.setting for visit in visits}

    def takes(name: str) -> float:
        if name != "setting":
            return float(getattr(times, name))
        path = cheapest_round(tuple(wanted), None, times)
        costs = [seconds_between(a, b, times) for a, b in itertools.pairwise(path)]
        return max(costs, default=0.0)

    names = sorted(State._fields, key=lambda name: -takes(name))
    return _nested(visits, names, start, times)


def _nested(
    visits: Sequence[Visit], names: Sequence[str], at: State | None, times: Times
) -> list[Visit]:
    if not names:
        return sorted(visits, key=lambda visit: (visit[0].fit.loading, visit[0].imprint.location))
    name, *finer = names
    groups: dict[object, list[Visit]] = {}
    for visit in visits:
        groups.setdefault(getattr(visit[0].state, name), []).append(visit)
    ordered: list[Visit] = []
    for value in _in_turn(name, groups, at, times):
        ordered += _nested(groups[value], finer, at, times)
        at = ordered[-1][-1].state
    return ordered


def _in_turn(
    name: str, values: Iterable[object], at: State | None, times: Times
) -> Sequence[object]:
    """Return the values of a state's field in the order to work them off."""
    if name == "setting":
        settings = [value for value in values if value is None or isinstance(value, Setting)]
        return cheapest_round(settings, at and at.setting, times)
    return sorted(values, key=lambda value: at is None or value != getattr(at, name))
