"""From pieces to the order they are pressed in, which spares changes at the press.

Cost model (`cost.Times`, the user's own seconds): between two imprints the operator pays
for each thing that changes, the platen, the pad, the pile of transfer sheets and the pile
of garments, and for threading the garment: a load for another piece, a turn for the
same piece threaded another way, nothing if it stays on the platen. Each imprint costs its
laying, its pressing and its dwell. The sum is what `walk` adds up; nothing else does.

Under this model two imprints that agree in everything cost the same wherever they stand,
so the order is sought over *groups* of equal visits rather than over pieces: a few dozen
even for thousands of pieces (`sequence`). Whether the imprints of one piece are pressed
in one visit or in separate passes is decided for each kind of piece by trying both.
"""

from __future__ import annotations

import itertools
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from chalkbeam.runs.cost import Times
from chalkbeam.runs.pieces import Imprint, Piece
from chalkbeam.runs.sequence import State, shortest_path, spanning_weight, step_cost


@dataclass(frozen=True)
class Fit:
    """What the press and the garment must be like for an imprint.

    Attributes
    ----------
    platen, pad : str
        Which platen and which pad; empty for the one that is on.
    loading : str
        Which way the garment is threaded: ``front``, ``back``, ``left sleeve``, ….
    """

    platen: str = ""
    pad: str = ""
    loading: str = "front"


Chooser = Callable[[Piece, Imprint], Fit]


@dataclass(frozen=True)
class Stop:
    """One imprint in the order of work.

    Attributes
    ----------
    changes : tuple of str
        What the operator changes before it: fields of `cost.Times` among ``platen``,
        ``pad``, ``stack``, ``pile``, ``load`` and ``turn``.
    seconds : float
        Estimated time from the previous stop's end to this one's, by the cost model.
    """

    piece: Piece
    imprint: Imprint
    fit: Fit
    changes: tuple[str, ...]
    seconds: float

    @property
    def loads(self) -> bool:
        """Whether the garment is threaded for this stop; else it stays where it is."""
        return "load" in self.changes or "turn" in self.changes

    @property
    def batch(self) -> str:
        """Stops alike enough to share an adjustment: one style, one location, one loading."""
        return f"{self.piece.style}/{self.imprint.location}/{self.fit.loading}"


@dataclass(frozen=True)
class Plan:
    """The order of work with its estimate.

    Attributes
    ----------
    stops : tuple of Stop
        Every imprint once.
    seconds : float
        Estimate for `stops`.
    as_listed : float
        Estimate for the sheet's own order, with the light.
    by_hand : float
        Estimate for the sheet's own order, each piece measured by hand.
    bound : float
        No order can take less under the same cost model.
    """

    stops: tuple[Stop, ...]
    seconds: float
    as_listed: float
    by_hand: float
    bound: float
    listed_changes: dict[str, int]

    @property
    def changes(self) -> dict[str, int]:
        """How often each kind of change happens."""
        return count_changes(self.stops)


_LOADINGS = (
    ("left sleeve", ("left sleeve", "left short sleeve", "left long sleeve")),
    ("right sleeve", ("right sleeve", "right short sleeve", "right long sleeve")),
    ("sleeve", ("sleeve",)),
    ("leg", ("leg", "trouser")),
    ("back", ("back", "nape", "yoke", "player")),
)


def fit_as_listed(piece: Piece, imprint: Imprint) -> Fit:
    """Return the platen and pad that the sheet names, and the loading its location's words say."""
    words = imprint.location.casefold().replace("-", " ").replace("_", " ")
    for loading, signs in _LOADINGS:
        if any(sign in words for sign in signs):
            return Fit(imprint.platen, imprint.pad, loading)
    return Fit(imprint.platen, imprint.pad)


@dataclass(frozen=True)
class _Task:
    piece: Piece
    imprint: Imprint
    fit: Fit
    stack: str
    pile: str


def walk(tasks: Iterable[tuple[Piece, Imprint, Fit]], times: Times) -> tuple[Stop, ...]:
    """Return the stops of an order as it stands: the one place where costs are added up."""
    stops: list[Stop] = []
    for piece, imprint, fit in tasks:
        changes: list[str] = []
        if not stops:
            changes.append("load")
        else:
            last = stops[-1]
            for name, before, now in (
                ("platen", last.fit.platen, fit.platen),
                ("pad", last.fit.pad, fit.pad),
                ("stack", last.imprint.art.stack, imprint.art.stack),
                ("pile", last.piece.pile, piece.pile),
            ):
                if before != now:
                    changes.append(name)
            if last.piece.id != piece.id:
                changes.append("load")
            elif last.fit != fit:
                changes.append("turn")
        seconds = sum(getattr(times, name) for name in changes)
        stops.append(Stop(piece, imprint, fit, tuple(changes), seconds + work(imprint, times)))
    return tuple(stops)


def work(imprint: Imprint, times: Times) -> float:
    """Return the seconds an imprint takes wherever it stands: lay, press, dwell, pre-press."""
    dwell = times.dwell if imprint.press.dwell is None else imprint.press.dwell
    return times.lay + times.press + dwell + (imprint.press.prepress_dwell or 0.0)


def total(stops: Sequence[Stop]) -> float:
    """Return the estimate of an order, s."""
    return sum(stop.seconds for stop in stops)


def count_changes(stops: Sequence[Stop]) -> dict[str, int]:
    """Return how often each kind of change happens, most costly kinds first."""
    counts = dict.fromkeys(("platen", "pad", "load", "turn", "stack", "pile"), 0)
    for stop in stops:
        for name in stop.changes:
            counts[name] += 1
    return counts


def _listed(piece: Piece, choose: Chooser) -> list[_Task]:
    return [
        _Task(piece, imprint, choose(piece, imprint), imprint.art.stack, piece.pile)
        for imprint in piece.imprints
    ]


def _blocks(tasks: Sequence[_Task]) -> list[tuple[_Task, ...]]:
    """Return the tasks of one piece with every dependent imprint right behind what it follows."""
    chains: dict[str, list[_Task]] = {}
    head: dict[str, str] = {}
    for task in tasks:
        follows = task.imprint.follows
        first = head.get(follows or "", task.imprint.id)
        head[task.imprint.id] = first
        chains.setdefault(first, []).append(task)
    return [tuple(chain) for chain in chains.values()]


def _state(task: _Task) -> State:
    return (task.fit.platen, task.fit.pad, task.stack, task.pile)


_Visit = tuple[_Task, ...]
_Kind = tuple[tuple[Fit, str], ...]


def _kind(tasks: Sequence[_Task]) -> _Kind:
    return tuple((task.fit, task.stack) for task in tasks)


def _visits(blocks: Sequence[_Visit], together: bool) -> list[_Visit]:
    """Return one piece's visits to the press: each block alone, or joined on a like platen."""
    if not together:
        return list(blocks)
    joined: dict[tuple[str, str], list[_Visit]] = defaultdict(list)
    for block in blocks:
        joined[block[0].fit.platen, block[0].fit.pad].append(block)
    return [
        tuple(task for block in sorted(group, key=lambda b: b[0].fit.loading) for task in block)
        for group in joined.values()
    ]


class _Grouping:
    """Equal visits gathered, and the order of the groups that costs least."""

    def __init__(self, pieces: Iterable[Sequence[_Visit]], times: Times, start: State | None):
        self.times, self.start = times, start
        self.alike: dict[tuple[_Kind, str], list[Sequence[_Visit]]] = defaultdict(list)
        for blocks in pieces:
            kind = _kind([task for block in blocks for task in block])
            self.alike[kind, blocks[0][0].pile].append(blocks)

    def kinds(self) -> list[_Kind]:
        """Return the kinds of piece that bear several blocks, most pieces first."""
        counts: Counter[_Kind] = Counter()
        for (kind, _), pieces in self.alike.items():
            if len(pieces[0]) > 1:
                counts[kind] += len(pieces)
        return [kind for kind, _ in counts.most_common()]

    def cost(self, together: frozenset[_Kind]) -> float:
        """Return what changing between and within the groups costs, in a quickly found order."""
        groups: dict[tuple[_Kind, str], tuple[_Visit, int]] = {}
        for (kind, pile), pieces in self.alike.items():
            for visit in _visits(pieces[0], kind in together):
                key = (_kind(visit), pile)
                before = groups[key][1] if key in groups else 0
                groups[key] = (visit, before + len(pieces))
        _, cost = self._path([visit for visit, _ in groups.values()], thorough=False)
        return cost + sum(self._inside(visit, count) for visit, count in groups.values())

    def arrange(self, together: frozenset[_Kind]) -> list[_Visit]:
        """Return every visit, in the best order found."""
        groups: dict[tuple[_Kind, str], list[_Visit]] = defaultdict(list)
        for (kind, pile), pieces in self.alike.items():
            for blocks in pieces:
                for visit in _visits(blocks, kind in together):
                    groups[_kind(visit), pile].append(visit)
        members = list(groups.values())
        path, _ = self._path([group[0] for group in members], thorough=True)
        return [visit for index in path for visit in members[index]]

    def _path(self, samples: Sequence[_Visit], *, thorough: bool) -> tuple[list[int], float]:
        ends = [(_state(visit[0]), _state(visit[-1])) for visit in samples]
        return shortest_path(ends, self.times, self.start, thorough)

    def _inside(self, visit: _Visit, count: int) -> float:
        again = step_cost(_state(visit[-1]), _state(visit[0]), self.times)
        once = self.times.load
        for before, after in itertools.pairwise(visit):
            once += step_cost(_state(before), _state(after), self.times)
            once += self.times.turn if before.fit != after.fit else 0.0
        return count * once + (count - 1) * again


def _best(pieces: Sequence[Sequence[_Visit]], times: Times, start: State | None) -> list[_Task]:
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
"""Sorts of piece looked at in all those trials: keeps planning linear when all differ."""


def plan(
    pieces: Sequence[Piece],
    times: Times | None = None,
    choose: Chooser = fit_as_listed,
    *,
    first: Sequence[str] = (),
    as_listed: bool = False,
) -> Plan:
    """Return the order of work with its estimate.

    Parameters
    ----------
    pieces : sequence of Piece
        In the sheet's order.
    times : Times, optional
        The shop's own seconds; stated assumptions without.
    choose : callable
        Platen, pad and loading of an imprint.
    first : sequence of str
        Ids of pieces the user pins to the beginning, in this order, each piece whole;
        after those that the sheet itself pins.
    as_listed : bool
        Pin everything: keep the sheet's own order.

    Raises
    ------
    ValueError
        If `first` names a piece that is not in `pieces`.
    """
    times = times or Times()
    by_id = {piece.id: piece for piece in pieces}
    unknown = [name for name in first if name not in by_id]
    if unknown:
        raise ValueError(f"pinned pieces are not in the order: {', '.join(unknown)}")
    blocks = {piece.id: _blocks(_listed(piece, choose)) for piece in pieces}
    listed_tasks = [task for each in blocks.values() for block in each for task in block]
    listed = _walk(listed_tasks, times)
    if as_listed:
        stops = listed
    else:
        sheet_pins = sorted(
            (piece for piece in pieces if piece.order is not None),
            key=lambda piece: piece.order or 0.0,
        )
        pinned = {piece.id: piece for piece in sheet_pins}
        pinned |= {name: by_id[name] for name in first if name not in pinned}
        head = [task for name in pinned for block in blocks[name] for task in block]
        rest = [each for name, each in blocks.items() if each and name not in pinned]
        start = _state(head[-1]) if head else None
        stops = _walk([*head, *_best(rest, times, start)], times)
        if not pinned and total(listed) <= total(stops):
            stops = listed
    return Plan(
        stops=stops,
        seconds=total(stops),
        as_listed=total(listed),
        by_hand=total(listed) + times.measure * len(pieces),
        bound=_bound(listed_tasks, times),
        listed_changes=count_changes(listed),
    )


def _walk(tasks: Sequence[_Task], times: Times) -> tuple[Stop, ...]:
    return walk(((task.piece, task.imprint, task.fit) for task in tasks), times)


def _bound(tasks: Sequence[_Task], times: Times) -> float:
    """Return seconds that no order can go below.

    Every order passes through every distinct (platen, pad, stack, pile), and a path through
    points of a metric space is never shorter than their minimum spanning tree. Every
    piece is threaded once for each of its fits, by a load first and by the cheaper of load
    and turn after that.
    """
    fits: dict[str, set[Fit]] = defaultdict(set)
    for task in tasks:
        fits[task.piece.id].add(task.fit)
    again = min(times.load, times.turn)
    threading = sum(times.load + (len(each) - 1) * again for each in fits.values())
    fixed = sum(work(task.imprint, times) for task in tasks)
    return fixed + threading + spanning_weight({_state(task) for task in tasks}, times)
