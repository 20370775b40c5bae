"""The shop's taste: the same move of a print again and again, offered as a house rule.

One order's moves are one decision, however many pieces it has: an operator who moves the rest of
a batch alike, or lays a whole morning a little high, has decided once. So each run counts once for
a style, an age of its sizes and a location, by the median of its presses, in the garment's own
frame and against the location's plain rules. What all other prints of that run were moved by alike
is the rig's or the loading's, and is taken off (`beyond`).

A rule is offered for an axis where of the last `WINDOW` such runs

- there are at least `FEWEST`, all moved the same way, none by less than half of the median,
- the median is worth it (`WORTH`), and is not what the shop's rule has moved already,
- Student's t of their mean is beyond chance (p below `CHANCE`, with a scatter of at least
  `LEAST_SCATTER`): W. S. Gosset, "The probable error of a mean", Biometrika 6, 1908.

How often noise alone is offered is measured (``python -m benchmarks.taste``).
"""

from __future__ import annotations

import math
import statistics
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit, format_length
from chalkbeam.garments import AGES, Fit, garment
from chalkbeam.locations.library import location
from chalkbeam.orders.order_of_work import Stop
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Event, Kind, in_force
from chalkbeam.record.store import Store
from chalkbeam.record.summary import RunSummary

WINDOW = 8
"""The latest runs that count: taste changes."""
FEWEST = 4
WORTH = 3.0
"""mm: about an eighth of an inch; what is less is laying (common practice, no source)."""
CHANCE = 0.0002
"""Small, as every run of every style, age and location is another chance for noise."""
LEAST_SCATTER = 1.0
"""mm, standard deviation: nudges go in whole millimetres."""
LOOKED_AT = 60
"""Runs of a record that are read for it, the latest."""


@dataclass(frozen=True)
class TasteGroup:
    """What shares a taste: a style, an age of its sizes, a location."""

    style: str
    age: str
    location: str


@dataclass(frozen=True)
class Decision:
    """What one run says of a group.

    Attributes
    ----------
    group : TasteGroup
    right, down : float
        By how much its prints were pressed beside the location's plain place, garment frame, mm.
    house : (float, float)
        What of it was the shop's own rule, right and down.
    pieces : int
    calibrations : frozenset of str
    compared : bool
        Whether other prints of the run tell the rig from taste.
    """

    group: TasteGroup
    right: float
    down: float
    house: tuple[float, float] = (0.0, 0.0)
    pieces: int = 1
    calibrations: frozenset[str] = frozenset()
    compared: bool = True


@dataclass(frozen=True)
class Habit:
    """What is offered to be kept.

    Attributes
    ----------
    group : TasteGroup
    right, down : float
        The whole move beside the location's plain place, mm; 0 along an axis without a habit.
    runs, pieces : int
        How many orders, and pieces in them, say so.
    """

    group: TasteGroup
    right: float
    down: float
    runs: int
    pieces: int


def decisions(stops: Sequence[Stop], events: Iterable[Event]) -> tuple[Decision, ...]:
    """Return what one run says: a decision for each group that was moved, or left, on purpose.

    Presses of an earlier version, which do not say how the garment lay, are left out; so are
    moves that a reorder only brought along.
    """
    kept = in_force(events)
    by_id = {stop.imprint.id: stop for stop in stops}
    presses: dict[TasteGroup, list[Event]] = defaultdict(list)
    touched: set[TasteGroup] = set()
    groups: dict[tuple[str, str], str] = {}
    for event in kept:
        stop = by_id.get(event.imprint)
        if stop is None or event.kind not in (Kind.PRESSED, Kind.NUDGED):
            continue
        key = (stop.piece.style, stop.piece.size)
        if key not in groups:
            groups[key] = _age(stop)
        where = str(event.data.get("location") or stop.imprint.location)
        group = TasteGroup(stop.piece.style, groups[key], where)
        if event.kind is Kind.NUDGED:
            touched.add(group)
        elif "garment" in event.data:
            presses[group].append(event)
    carried = {
        group
        for group, found in presses.items()
        if group not in touched and any(Shift.of(e.data["nudge"]) != Shift() for e in found)
    }
    return tuple(
        _decision(group, found, [e for other, more in presses.items() if other != group
                                 for e in more])
        for group, found in presses.items()
        if group not in carried
    )  # fmt: skip


def _age(stop: Stop) -> str:
    """Return the age of a piece's size; empty where its style is known no more."""
    piece = stop.piece
    fit: Fit = "womens" if piece.fit == "womens" else "regular"
    try:
        return garment(piece.style, piece.size, fit=fit).age
    except Refusal:
        return ""


def _decision(group: TasteGroup, presses: Sequence[Event], others: Sequence[Event]) -> Decision:
    common = _median([Shift.of(event.data["nudge"]) for event in others])
    moved, house = [], (0.0, 0.0)
    for event in presses:
        lies = event.data["garment"]
        own, turned = Shift.of(event.data["nudge"]), float(lies["turned"])
        right, down = map(
            beyond, in_garment(own.x, own.y, turned), in_garment(*common, turned)
        )  # fmt: skip
        house = (float(lies["right"]), float(lies["down"]))
        moved.append((right + house[0], down + house[1]))
    calibrations = frozenset(event.calibration for event in presses)
    return Decision(
        group,
        statistics.median(each[0] for each in moved),
        statistics.median(each[1] for each in moved),
        house, len(moved), calibrations, bool(others),
    )  # fmt: skip


def in_garment(x: float, y: float, turned: float) -> tuple[float, float]:
    """Return a move on the platen as right and down of a garment that lies turned on it, mm.

    `turned` is the angle of the garment's x axis on the platen, rad; its y axis runs down, a
    quarter turn clockwise as seen from above.
    """
    c, s = math.cos(turned), math.sin(turned)
    return c * x + s * y, s * x - c * y


def beyond(own: float, common: float) -> float:
    """Return how far a print was moved beyond what all were moved by, along one axis, mm.

    Never more than it was moved: what others were moved by says nothing of one left where it was.
    """
    return own - min(max(common, min(own, 0.0)), max(own, 0.0))


def _median(shifts: Sequence[Shift]) -> tuple[float, float]:
    if not shifts:
        return 0.0, 0.0
    return statistics.median(e.x for e in shifts), statistics.median(e.y for e in shifts)


def habits(runs: Iterable[Sequence[Decision]]) -> tuple[Habit, ...]:
    """Return what is offered, after the runs given, the oldest first."""
    by_group: dict[TasteGroup, list[Decision]] = defaultdict(list)
    for run in runs:
        for each in run:
            by_group[each.group].append(each)
    found = []
    for group, said in by_group.items():
        last = said[-WINDOW:]
        told = any(e.compared for e in last) or len({c for e in last for c in e.calibrations}) > 1
        if not told:
            continue
        right = _same_again([each.right for each in last], last[-1].house[0])
        down = _same_again([each.down for each in last], last[-1].house[1])
        if right is not None or down is not None:
            house = last[-1].house
            right = house[0] if right is None else right
            down = house[1] if down is None else down
            pieces = sum(each.pieces for each in last)
            found.append(Habit(group, right, down, len(last), pieces))
    return tuple(found)


def _same_again(moves: Sequence[float], house: float) -> float | None:
    """Return the move along one axis that is made again and again, mm; None if there is none."""
    more = [move - house for move in moves]
    middle = statistics.median(more)
    if len(moves) < FEWEST or abs(middle) < WORTH:
        return None
    if any(each * middle <= 0 or abs(each) < abs(middle) / 2 for each in more):
        return None
    scatter = max(statistics.stdev(more), LEAST_SCATTER)
    from scipy.special import stdtr

    t = abs(statistics.fmean(more)) / (scatter / math.sqrt(len(moves)))
    chance = 2.0 * float(stdtr(len(moves) - 1, -t))
    return statistics.median(moves) if chance < CHANCE else None


def house_moves(events: Iterable[Event]) -> Mapping[str, tuple[float, float]]:
    """Return the shop's own rules that were in force in a run: right and down, by location."""
    found: dict[str, tuple[float, float]] = {}
    for event in in_force(events):
        lies = event.data.get("garment") if event.kind is Kind.PRESSED else None
        if lies and (lies["right"] or lies["down"]):
            found[str(event.data.get("location", ""))] = (
                float(lies["right"]), float(lies["down"])
            )  # fmt: skip
    return found


def shop_habits(store: Store, upto: str = "") -> tuple[Habit, ...]:
    """Return what a shop's record offers to be kept, after a run (the latest without).

    Raises
    ------
    Refusal
        If the record cannot be read.
    """
    headings = store.runs()
    ids = [each.id for each in headings]
    last = ids.index(upto) + 1 if upto in ids else len(ids)
    said = []
    for heading in headings[max(0, last - LOOKED_AT) : last]:
        run = store.run(heading.id)
        said.append(decisions(run.stops, store.events(run)))
    return tuple(each for each in habits(said) if not _settled(each.group))


def _settled(group: TasteGroup) -> bool:
    """Whether the shop has said no to anything else than it has, or has no such location more."""
    age = next((each for each in AGES if each == group.age), None)
    try:
        house = None if age is None else location(group.location).house(group.style, age)
    except Refusal:
        return True
    return age is None or (house is not None and house.settled)


def move_words(right: float, down: float, unit: Unit) -> str:
    """Return a move on the garment in words: “up 1/2 in, left 1/4 in”."""
    said = []
    for value, ways in ((down, ("down", "up")), (right, ("right", "left"))):
        if abs(value) >= 0.5:
            said.append(f"{ways[value < 0]} {format_length(abs(value), unit)}")
    return ", ".join(said) or "nowhere"


def habit_words(habit: Habit, unit: Unit) -> str:
    """Return the offer: “You move polo left chests up 1/2 in (6 orders, 40 pieces): keep that?”."""
    group = habit.group
    what = f"{group.style} {group.location}".replace("_", " ").replace("-", " ")
    sizes = "" if group.age == "adult" else f", {group.age} sizes,"
    how = move_words(habit.right, habit.down, unit)
    return f"You move {what}{sizes} {how} ({habit.runs} orders, {habit.pieces} pieces): keep that?"


def house_words(events: Iterable[Event], unit: Unit) -> tuple[str, ...]:
    """Return the shop's own rules that were in force in a run, a sentence each."""
    return tuple(
        f"By the shop's own rule: {name.replace('-', ' ')} {move_words(right, down, unit)}."
        for name, (right, down) in house_moves(events).items()
    )


def with_taste(store: Store, found: RunSummary, unit: Unit) -> RunSummary:
    """Return a run's figures with what they say of the shop's taste."""
    offered = shop_habits(store, found.run.id)
    here = {(stop.piece.style, stop.imprint.location) for stop in found.run.stops}
    said = (
        *house_words(store.events(found.run), unit),
        *(habit_words(each, unit) for each in offered
          if (each.group.style, each.group.location) in here),
    )  # fmt: skip
    return replace(found, taste=said)
