"""From pieces to the order they are pressed in, which spares changes at the press.

Cost model (`times.Times`, the user's seconds): between two imprints the operator pays
for each thing that changes, the platen, the pad, the pile of transfer sheets and the pile
of garments, and for threading the garment: a load for another piece, a turn for the
same piece threaded another way, nothing if it stays on the platen. Each imprint costs its
laying, its pressing and its dwell. The sum is what `walk` adds up; nothing else does.

The order is a plain sort (`visits.in_order`), no search for the cheapest; how near it comes to
that is measured by ``python -m benchmarks.plan``.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from chalkbeam.orders.pieces import Imprint, Piece, PressSetup
from chalkbeam.orders.second_heat import Covers, Heated, firsts_of, of_one_loading
from chalkbeam.orders.settings import least_to_set
from chalkbeam.orders.times import Times
from chalkbeam.orders.visits import (
    Chooser,
    Pair,
    State,
    Task,
    blocks_of,
    in_order,
    laid_anew,
    sorted_blocks,
    tasks_of,
    visits_of,
)


@dataclass(frozen=True)
class Stop:
    """One imprint in the order of work.

    Attributes
    ----------
    changes : tuple of str
        What the operator changes before it, among ``platen``, ``setting`` (of the press), ``pad``,
        ``stack``, ``pile``, ``load`` and ``turn``.
    seconds : float
        Estimated time from the previous stop's end to this one's, by the cost model.
    covers : tuple of str or None
        Ids of the piece's other imprints whose prints are under the head at this stop; None where
        nobody has worked that out.
    """

    piece: Piece
    imprint: Imprint
    fit: PressSetup
    changes: tuple[str, ...]
    seconds: float
    covers: tuple[str, ...] | None = None

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

    @property
    def heated(self) -> tuple[tuple[Stop, Heated], ...]:
        """The finished prints that come under the head again all the same, and at which stop.

        What is laid together with what it follows is left out.
        """
        done: dict[str, Imprint] = {}
        found = []
        for stop in self.stops:
            finished = (done[each] for each in stop.covers or () if each in done)
            found += [
                (stop, Heated(print_, stop.imprint))
                for print_ in finished
                if stop.imprint.follows != print_.id
            ]
            done[stop.imprint.id] = stop.imprint
        return tuple(found)


_LOADINGS = (
    ("left sleeve", ("left sleeve", "left short sleeve", "left long sleeve")),
    ("right sleeve", ("right sleeve", "right short sleeve", "right long sleeve")),
    ("sleeve", ("sleeve",)),
    ("leg", ("leg", "trouser")),
    ("back", ("back", "nape", "yoke", "player")),
)


def fit_as_listed(piece: Piece, imprint: Imprint) -> PressSetup:
    """Return the platen and pad that the sheet names, and the loading its location's words say."""
    words = imprint.location.casefold().replace("-", " ").replace("_", " ")
    for loading, signs in _LOADINGS:
        if any(sign in words for sign in signs):
            return PressSetup(imprint.platen, imprint.padding, loading)
    return PressSetup(imprint.platen, imprint.padding)


def walk(tasks: Iterable[Task], times: Times, covers: Covers | None = None) -> tuple[Stop, ...]:
    """Return the stops of an order as it stands: the one place where costs are added up."""
    stops: list[Stop] = []
    last: Task | None = None
    lie: list[Imprint] = []  # what is pressed on the piece as it lies
    for task in tasks:
        changes = ["load"]
        seconds = work(task.imprint, times)
        here = task.state
        if last is not None:
            changes = last.state.changes(here)
            seconds += sum(last.state.seconds_to(here, name, times) for name in changes)
            if here.setting is None:  # nobody says what to set: the press stays as it is
                here = here._replace(setting=last.state.setting)
            if last.piece.id != task.piece.id:
                changes.append("load")
            elif laid_anew(last, task, covers):
                changes.append("turn")
        seconds += sum(getattr(times, name) for name in changes if name in ("load", "turn"))
        lie = [] if "load" in changes or "turn" in changes else lie
        under = None if covers is None else _under(task, lie, covers)
        lie.append(task.imprint)
        stops.append(Stop(task.piece, task.imprint, task.fit, tuple(changes), seconds, under))
        last = replace(task, state=here)
    return tuple(stops)


def _under(task: Task, lie: Sequence[Imprint], covers: Covers) -> tuple[str, ...]:
    """Return the ids of a piece's other imprints that are under the head at a task.

    What lies for others, too, is laid so that all their ink is pressed.
    """
    others = (each for each in task.piece.imprints if each.id != task.imprint.id)
    return tuple(
        each.id for each in others if each in lie or covers(task.piece, each, task.imprint)
    )


def work(imprint: Imprint, times: Times) -> float:
    """Return the seconds an imprint takes wherever it stands: lay, press, dwell, pre-press."""
    dwell = times.dwell if imprint.press.dwell is None else imprint.press.dwell
    return times.lay + times.press + dwell + (imprint.press.prepress_dwell or 0.0)


def total(stops: Sequence[Stop]) -> float:
    """Return the estimate of an order, s."""
    return sum(stop.seconds for stop in stops)


def count_changes(stops: Sequence[Stop]) -> dict[str, int]:
    """Return how often each kind of change happens, most costly kinds first."""
    counts = dict.fromkeys(("platen", "setting", "pad", "load", "turn", "stack", "pile"), 0)
    for stop in stops:
        for name in stop.changes:
            counts[name] += 1
    return counts


def plan(
    pieces: Sequence[Piece],
    times: Times | None = None,
    choose: Chooser = fit_as_listed,
    *,
    first: Sequence[str] = (),
    as_listed: bool = False,
    covers: Covers | None = None,
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
    covers : callable, optional
        Which finished prints come under the head (see `under_head`), to be spared; without, all
        that are threaded the same way.

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
    blocks = {piece.id: blocks_of(tasks_of(piece, choose)) for piece in pieces}
    listed_tasks = [task for each in blocks.values() for block in each for task in block]
    listed = walk(listed_tasks, times, covers)
    known = covers or of_one_loading(choose)
    firsts = {piece.id: firsts_of(piece, known) for piece in pieces}
    if as_listed:
        stops = listed
    else:
        sheet_pins = sorted(
            (piece for piece in pieces if piece.order is not None),
            key=lambda piece: piece.order or 0.0,
        )
        pinned = {piece.id: piece for piece in sheet_pins}
        pinned |= {name: by_id[name] for name in first if name not in pinned}
        head = [
            task
            for name in pinned
            for block in sorted_blocks(blocks[name], firsts[name])
            for task in block
        ]
        rest = [
            visit
            for name, each in blocks.items()
            if name not in pinned
            for visit in visits_of(each, times, firsts[name], covers)
        ]
        start = head[-1].state if head else None
        every = [pair for pairs in firsts.values() for pair in pairs]
        tail = [task for visit in in_order(rest, times, start, every) for task in visit]
        stops = walk([*head, *tail], times, covers)
        if not pinned and total(listed) <= total(stops) and _keeps_to(every, listed):
            stops = listed
    return Plan(
        stops=stops,
        seconds=total(stops),
        as_listed=total(listed),
        by_hand=total(listed) + times.measure * len(pieces),
        bound=_bound(listed_tasks, times),
        listed_changes=count_changes(listed),
    )


def _keeps_to(firsts: Iterable[Pair], stops: Sequence[Stop]) -> bool:
    """Whether an order spares finished prints what can be spared them."""
    place = {stop.imprint.id: index for index, stop in enumerate(stops)}
    return all(place[one] < place[other] for one, other in firsts)


def _bound(tasks: Sequence[Task], times: Times) -> float:
    """Return seconds that no order can go below.

    Every platen, pad, stack and pile but the first is changed to at least once, and between
    one of their combinations and the next something changes, be it what takes least. Every
    piece is threaded once for each of its fits, by a load first and by the cheaper of load and
    turn after that.
    """
    fits: dict[str, set[PressSetup]] = defaultdict(set)
    for task in tasks:
        fits[task.piece.id].add(task.fit)
    again = min(times.load, times.turn)
    threading = sum(times.load + (len(each) - 1) * again for each in fits.values())
    fixed = sum(work(task.imprint, times) for task in tasks)
    states = {task.state for task in tasks}
    wanted = {state.setting for state in states}
    costs: dict[str, float] = {
        name: getattr(times, name) for name in State._fields if name != "setting"
    }
    least = {name: max(len({getattr(each, name) for each in states}) - 1, 0) for name in costs}
    more = max(len(states) - 1 - sum(least.values()) - max(len(wanted) - 1, 0), 0)
    changes = sum(cost * least[name] for name, cost in costs.items())
    again = min(costs.values()) if len(wanted) < 2 else min(*costs.values(), times.dial)
    if None in wanted and len(wanted) > 1:
        again = 0.0  # a change to what nobody says how to set costs nothing
    return fixed + threading + changes + least_to_set(wanted, times) + more * again
