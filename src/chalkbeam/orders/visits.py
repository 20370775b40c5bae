"""Which imprints are pressed in one visit to the press, and in which order the visits go."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from chalkbeam.orders.pieces import Imprint, Piece, PressSetup
from chalkbeam.orders.second_heat import Covers, in_turn, parts_of
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
    of = {task.imprint.id: task for task in tasks}
    parts = parts_of(task.imprint for task in tasks)
    return [tuple(of[imprint.id] for imprint in part) for part in parts]


Pair = tuple[str, str]
"""Imprints of a piece by their ids, of which the first is to be pressed before the other."""


def sorted_blocks(
    blocks: Sequence[Visit], firsts: Iterable[Pair], rank: Callable[[Visit], Any] | None = None
) -> list[Visit]:
    """Return a piece's blocks by rank, the sheet's order without, and so that prints are spared."""
    of = {block[0].imprint.id: block for block in blocks}
    listed = list(of)
    by = listed.index if rank is None else lambda key: rank(of[key])
    return [of[key] for key in in_turn(listed, firsts, by)]


def laid_anew(last: Task, now: Task, covers: Covers | None) -> bool:
    """Whether a garment is laid anew for what follows on it.

    It is threaded another way, or the finished print stays off the platen then.
    """
    if last.fit != now.fit:
        return True
    return covers is not None and not covers(now.piece, last.imprint, now.imprint)


def visits_of(
    blocks: Sequence[Visit], times: Times, firsts: Iterable[Pair] = (), covers: Covers | None = None
) -> list[Visit]:
    """Return one piece's visits: blocks are joined where to stay is no dearer than to come back.

    On the platen and pad that are on, the next block costs a turn if it lies another way and,
    where its stack is another, going to that and back again; coming back costs a load.
    """
    visits: list[Visit] = []
    for block in sorted_blocks(blocks, firsts, _alike):
        stay = float("inf")
        if visits:
            last, now = visits[-1][-1], block[0]
            if (last.fit.platen, last.fit.pad) == (now.fit.platen, now.fit.pad):
                stay = times.turn if laid_anew(last, now, covers) else 0.0
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


def in_order(
    visits: Sequence[Visit], times: Times, start: State | None, firsts: Iterable[Pair] = ()
) -> list[Visit]:
    """Return the visits sorted: what takes longest to change changes least often.

    The visits that share the costliest thing to change stand together, among those the ones
    that share the next, and so on; last come face and location, then the sheet's order. Of
    the groups within one, that comes first which shares what is already there, so that a
    change of platen need not also change the stack.

    What is to be pressed first on a piece draws its group forward; where that cannot be for all,
    the visits that would come too early are put off to another round.

    Parameters
    ----------
    visits : sequence of Visit
    times : Times
    start : State or None
        What is on the press before.
    firsts : iterable of (str, str)
        Imprints that are to be pressed before others of their piece, by their ids.
    """
    before = _before(visits, firsts)
    wanted = {visit[0].state.setting for visit in visits}

    def takes(name: str) -> float:
        if name != "setting":
            return float(getattr(times, name))
        path = cheapest_round(tuple(wanted), None, times)
        costs = [seconds_between(a, b, times) for a, b in itertools.pairwise(path)]
        return max(costs, default=0.0)

    names = sorted(State._fields, key=lambda name: -takes(name))
    ordered: list[Visit] = []
    rest = list(visits)
    while rest:
        at = ordered[-1][-1].state if ordered else start
        now, rest = _in_time(_nested(rest, names, at, times, before), before)
        ordered += now
    return ordered


Before = Mapping[str, frozenset[str]]
"""Visits that are to be made before others, by the ids of what each presses first."""


def _called(visit: Visit) -> str:
    return visit[0].imprint.id


def _before(visits: Iterable[Visit], firsts: Iterable[Pair]) -> Before:
    visit_of = {task.imprint.id: _called(visit) for visit in visits for task in visit}
    before: dict[str, frozenset[str]] = {}
    for one, other in firsts:
        early, late = visit_of.get(one), visit_of.get(other)
        if early is not None and late is not None and early != late:
            before[late] = before.get(late, frozenset()) | {early}
    return before


def _in_time(visits: Sequence[Visit], before: Before) -> tuple[list[Visit], list[Visit]]:
    """Return the visits that come when all they wait for is done, and those that come too early."""
    waiting = {_called(visit) for visit in visits}
    now: list[Visit] = []
    late: list[Visit] = []
    for visit in visits:
        if before.get(_called(visit), frozenset()) & waiting:
            late.append(visit)
        else:
            now.append(visit)
            waiting.remove(_called(visit))
    return now, late


def _nested(
    visits: Sequence[Visit], names: Sequence[str], at: State | None, times: Times, before: Before
) -> list[Visit]:
    if not names:
        return sorted(visits, key=lambda visit: (visit[0].fit.loading, visit[0].imprint.location))
    name, *finer = names
    groups: dict[object, list[Visit]] = {}
    for visit in visits:
        groups.setdefault(getattr(visit[0].state, name), []).append(visit)
    ordered: list[Visit] = []
    for value in _in_turn(name, groups, at, times, before):
        ordered += _nested(groups[value], finer, at, times, before)
        at = ordered[-1][-1].state
    return ordered


def _in_turn(
    name: str,
    groups: Mapping[object, Sequence[Visit]],
    at: State | None,
    times: Times,
    before: Before,
) -> Sequence[object]:
    """Return the values of a state's field in the order to work them off."""
    waits = _waits(groups, before)
    if name == "setting":
        settings = [value for value in groups if value is None or isinstance(value, Setting)]
        return cheapest_round(settings, at and at.setting, times, waits)
    rest = sorted(groups, key=lambda value: at is None or value != getattr(at, name))
    if not waits:
        return rest
    done: list[object] = []
    while rest:
        done.append(min(rest, key=lambda value: sum(waits[other, value] for other in rest)))
        rest.remove(done[-1])
    return done


def _waits(
    groups: Mapping[object, Sequence[Visit]], before: Before
) -> Counter[tuple[object, object]]:
    """Return how many visits of a group, the second of a pair, wait for one of the first."""
    if not before:
        return Counter()
    group_of = {_called(visit): value for value, visits in groups.items() for visit in visits}
    return Counter(
        (group_of[early], value)
        for late, value in group_of.items()
        for early in before.get(late, ())
        if early in group_of and group_of[early] != value
    )
