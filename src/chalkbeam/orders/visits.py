"""Which imprints are pressed in one visit to the press, and in which order the visits go."""

from __future__ import annotations

import itertools
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from chalkbeam.orders.pieces import Fit, Imprint, Piece
from chalkbeam.orders.sequence import Ends, State, shortest_path, step_cost
from chalkbeam.orders.times import Times

Chooser = Callable[[Piece, Imprint], Fit]


@dataclass(frozen=True)
class Task:
    """An imprint with all that the order of work depends on."""

    piece: Piece
    imprint: Imprint
    fit: Fit
    stack: str
    pile: str
    state: State


def tasks_of(piece: Piece, choose: Chooser) -> list[Task]:
    """Return a piece's imprints as tasks, in the sheet's order."""
    pile, tasks = piece.pile, []
    for imprint in piece.imprints:
        fit, stack = choose(piece, imprint), imprint.art.stack
        tasks.append(Task(piece, imprint, fit, stack, pile, (fit.platen, fit.pad, stack, pile)))
    return tasks


def blocks_of(tasks: Sequence[Task]) -> list[tuple[Task, ...]]:
    """Return the tasks of one piece with every dependent imprint right behind what it follows."""
    chains: dict[str, list[Task]] = {}
    head: dict[str, str] = {}
    for task in tasks:
        follows = task.imprint.follows
        first = head.get(follows or "", task.imprint.id)
        head[task.imprint.id] = first
        chains.setdefault(first, []).append(task)
    return [tuple(chain) for chain in chains.values()]


Visit = tuple[Task, ...]
_Kind = tuple[tuple[Fit, str], ...]


def _kind(tasks: Sequence[Task]) -> _Kind:
    return tuple((task.fit, task.stack) for task in tasks)


def visits_of(blocks: Sequence[Visit], together: bool) -> list[Visit]:
    """Return one piece's visits to the press: one each block, or joined by platen and pad."""
    if not together:
        return list(blocks)
    joined: dict[tuple[str, str], list[Visit]] = defaultdict(list)
    for block in blocks:
        joined[block[0].fit.platen, block[0].fit.pad].append(block)
    return [
        tuple(task for block in sorted(group, key=lambda b: b[0].fit.loading) for task in block)
        for group in joined.values()
    ]


@dataclass(frozen=True)
class _Sample:
    """One visit of a group, which stands for all of them.

    `once` is what a visit costs inside, `again` what it costs to begin another right after.
    """

    key: tuple[_Kind, str]
    ends: Ends
    once: float
    again: float


class _Grouping:
    """Equal visits gathered, and the order of the groups that costs least."""

    def __init__(self, pieces: Iterable[Sequence[Visit]], times: Times, start: State | None):
        self.times, self.start = times, start
        self.alike: dict[tuple[_Kind, str], list[Sequence[Visit]]] = defaultdict(list)
        for blocks in pieces:
            kind = _kind([task for block in blocks for task in block])
            self.alike[kind, blocks[0][0].pile].append(blocks)
        self._samples = {
            together: [
                [self._sample(visit) for visit in visits_of(alike[0], together)]
                for alike in self.alike.values()
            ]
            for together in (False, True)
        }

    def _sample(self, visit: Visit) -> _Sample:
        once = self.times.load
        for before, after in itertools.pairwise(visit):
            once += step_cost(before.state, after.state, self.times)
            once += self.times.turn if before.fit != after.fit else 0.0
        enter, leave = visit[0].state, visit[-1].state
        return _Sample(
            (_kind(visit), visit[0].pile),
            (enter, leave),
            once,
            step_cost(leave, enter, self.times),
        )

    def kinds(self) -> list[_Kind]:
        """Return the kinds of piece with several blocks, most pieces first."""
        counts: Counter[_Kind] = Counter()
        for (kind, _), pieces in self.alike.items():
            if len(pieces[0]) > 1:
                counts[kind] += len(pieces)
        return [kind for kind, _ in counts.most_common()]

    def cost(self, together: frozenset[_Kind]) -> float:
        """Return what changing between and within the groups costs, in a quickly found order."""
        ends: dict[tuple[_Kind, str], Ends] = {}
        cost = 0.0
        for place, ((kind, _), pieces) in enumerate(self.alike.items()):
            for sample in self._samples[kind in together][place]:
                cost += len(pieces) * (sample.once + sample.again)
                if sample.key not in ends:
                    ends[sample.key] = sample.ends
                    cost -= sample.again
        _, between = shortest_path(list(ends.values()), self.times, self.start, thorough=False)
        return cost + between

    def arrange(self, together: frozenset[_Kind]) -> list[Visit]:
        """Return every visit, in the best order found."""
        groups: dict[tuple[_Kind, str], list[Visit]] = defaultdict(list)
        for place, ((kind, _), pieces) in enumerate(self.alike.items()):
            samples = self._samples[kind in together][place]
            for blocks in pieces:
                for sample, visit in zip(samples, visits_of(blocks, kind in together), strict=True):
                    groups[sample.key].append(visit)
        members = list(groups.values())
        ends = [(group[0][0].state, group[0][-1].state) for group in members]
        path, _ = shortest_path(ends, self.times, self.start)
        return [visit for index in path for visit in members[index]]


def best_order(pieces: Sequence[Sequence[Visit]], times: Times, start: State | None) -> list[Task]:
    """Return every piece's tasks in the cheapest order found.

    Parameters
    ----------
    pieces : sequence of (sequence of Visit)
        Each piece's blocks (`blocks_of`); none empty.
    times : Times
    start : State or None
        What is on the press before.
    """
    if not pieces:
        return []
    grouping = _Grouping(pieces, times, start)
    kinds = grouping.kinds()
    best = min((frozenset[_Kind](), frozenset(kinds)), key=grouping.cost)
    cost = grouping.cost(best)
    # One kind at a time, the commonest first: each decision barely touches the others.
    for kind in kinds[: min(_KINDS_TRIED, _EFFORT // len(grouping.alike))]:
        trial = grouping.cost(best ^ {kind})
        if trial < cost:
            best, cost = best ^ {kind}, trial
    return [task for visit in grouping.arrange(best) for task in visit]


_KINDS_TRIED = 24
"""Kinds of piece whose imprints are tried together and apart."""

_EFFORT = 40_000
"""Kinds of piece examined in all those trials: keeps planning linear when all differ."""
