"""Which laser stands where for each stop of an order, so that few have to be aimed again.

Lines that lie within a tolerance of each other share a tick. Of the lasers that could be moved
for a line, that one is whose present line is wanted again last: for lasers that can stand in for
each other nothing does with fewer moves (Belady 1966, who moved pages of memory).
"""

from __future__ import annotations

import bisect
import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.geometry import PlatenFace
from chalkbeam.lasers.hung import LineLaser, Move
from chalkbeam.lasers.lines import STRAIGHT, LaserLine, WantedLines, straight
from chalkbeam.lasers.ticks import EdgeTick, bare_offset, crossings, tilt_of
from chalkbeam.placement.values import CLOSE


@dataclass(frozen=True)
class Stand:
    """How a laser stands: which line it throws on the bare platen.

    Attributes
    ----------
    laser : LineLaser
    number : int
        Of its ticks, from 1 in the order in which they are first used.
    angle, offset : float
        As of `LaserLine`.
    """

    laser: LineLaser
    number: int
    angle: float
    offset: float

    @property
    def label(self) -> str:
        """What its ticks are called: A1."""
        return f"{self.laser.letter}{self.number}"

    def ticks(self, face: PlatenFace) -> tuple[EdgeTick, EdgeTick]:
        """Return where it crosses the platen's edges; refuses as `crossings`."""
        return crossings(self.angle, self.offset, face)


@dataclass(frozen=True)
class Aim:
    """A line and the laser that shows it.

    Attributes
    ----------
    line : LaserLine
    stand : Stand
    off : float
        How far the tick lies beside the line's own place, as several share it, mm, along the
        line's normal.
    """

    line: LaserLine
    stand: Stand
    off: float

    @property
    def unknown(self) -> bool:
        """Whether the cloth's height could not be allowed for."""
        return tilt_of(self.stand.laser, self.line) is None


@dataclass(frozen=True)
class SetUp:
    """How the lasers stand for one stop.

    Attributes
    ----------
    aims : tuple of Aim
        By the letters of the lasers.
    missing : tuple of LaserLine
        Lines to lay by that no laser can show.
    moved : tuple of str
        Letters of the lasers that are aimed before it; those of the first stop too.
    """

    aims: tuple[Aim, ...]
    missing: tuple[LaserLine, ...]
    moved: tuple[str, ...]

    @property
    def labels(self) -> tuple[str, ...]:
        """The ticks in use: A1, B2."""
        return tuple(aim.stand.label for aim in self.aims)

    def aim(self, letter: str) -> Aim | None:
        """Return what a laser shows; None if nothing."""
        return next((aim for aim in self.aims if aim.stand.laser.letter == letter), None)


@dataclass(frozen=True)
class AimPlan:
    """How the lasers stand over an order.

    Attributes
    ----------
    lasers : tuple of LineLaser
    stands : tuple of Stand
        All that are used, by laser and number.
    set_ups : tuple of SetUp
        One for each stop.
    """

    lasers: tuple[LineLaser, ...]
    stands: tuple[Stand, ...]
    set_ups: tuple[SetUp, ...]

    @property
    def aims_again(self) -> int:
        """How often a laser is aimed after the first stop."""
        return sum(len(each.moved) for each in self.set_ups[1:])

    @property
    def check(self) -> str:
        """Four signs that tell one set of ticks from another."""
        content = [(s.label, round(s.angle, 6), round(s.offset, 3)) for s in self.stands]
        return hashlib.sha256(repr(content).encode()).hexdigest()[:4].upper()


def plan_aims(
    wanted: Sequence[WantedLines], lasers: Sequence[LineLaser], share: float = CLOSE
) -> AimPlan:
    """Return how the lasers stand for each stop.

    Parameters
    ----------
    wanted : sequence of WantedLines
        The lines of each stop, in the order of work.
    lasers : sequence of LineLaser
    share : float
        How far a line may lie beside its place so that others share its tick, mm.
    """
    asked = [each.lay for each in wanted]
    shown = _shown(asked, lasers, share)
    used = {laser for each in shown for laser, _ in each}
    spare = [laser for laser in lasers if laser.letter not in used]
    helping = _shown([each.load for each in wanted], spare, share) if spare else [{}] * len(wanted)
    numbers: dict[tuple[str, float, float], Stand] = {}
    by_letter = {laser.letter: laser for laser in lasers}
    counts = dict.fromkeys(by_letter, 0)
    set_ups: list[SetUp] = []
    standing: dict[str, Stand] = {}
    for lay, help_, lines in zip(shown, helping, asked, strict=True):
        aims, moved = [], []
        for (letter, line), (angle, offset) in sorted(
            (*lay.items(), *help_.items()), key=lambda each: each[0][0]
        ):
            laser = by_letter[letter]
            if (letter, angle, offset) not in numbers:
                counts[letter] += 1
                numbers[letter, angle, offset] = Stand(laser, counts[letter], angle, offset)
            stand = numbers[letter, angle, offset]
            if standing.get(letter) != stand:
                moved.append(letter)
                standing[letter] = stand
            aims.append(Aim(line, stand, offset - bare_offset(laser, line)))
        seen = {line for _, line in lay}
        missing = tuple(line for line in lines if line not in seen)
        set_ups.append(SetUp(tuple(aims), missing, tuple(moved)))
    stands = sorted(numbers.values(), key=lambda each: (each.laser.letter, each.number))
    return AimPlan(tuple(lasers), tuple(stands), tuple(set_ups))


_Shown = dict[tuple[str, LaserLine], tuple[float, float]]
"""Laser and line of one stop, to the angle and offset on the bare platen that it stands at."""


def _shown(
    asked: Sequence[Sequence[LaserLine]], lasers: Sequence[LineLaser], share: float
) -> list[_Shown]:
    """Return which laser shows which line of each stop."""
    places = _Places(asked, lasers, share)
    now: dict[str, tuple[float, float]] = {}
    result: list[_Shown] = []
    for at, lines in enumerate(asked):
        found: _Shown = {}
        busy: set[str] = set()
        left = list(lines)
        for line in lines:
            for laser in places.able(line):
                if laser.letter not in busy and places.of(laser, line) == now.get(laser.letter):
                    found[laser.letter, line] = now[laser.letter]
                    busy.add(laser.letter)
                    left.remove(line)
                    break
        for line in sorted(left, key=lambda each: len(places.able(each))):
            free = [laser for laser in places.able(line) if laser.letter not in busy]
            if not free:
                continue
            laser = max(free, key=lambda each: places.next_use(each, now.get(each.letter), at))
            now[laser.letter] = found[laser.letter, line] = places.of(laser, line)
            busy.add(laser.letter)
        result.append(found)
    return result


class _Places:
    """Where each laser would stand for each line, those near each other as one."""

    def __init__(
        self, asked: Sequence[Sequence[LaserLine]], lasers: Sequence[LineLaser], share: float
    ) -> None:
        self._asked, self._lasers, self._share = asked, lasers, share
        self._able: dict[LaserLine, tuple[LineLaser, ...]] = {}
        self._of: dict[tuple[str, LaserLine], tuple[float, float]] = {}
        self._uses: dict[tuple[str, tuple[float, float]], list[int]] = {}
        every = list(dict.fromkeys(line for lines in asked for line in lines))
        for line in every:
            can = [laser for laser in lasers if _can(laser, line, share)]
            # A laser is not turned across while one that hangs the right way can do it.
            right = [laser for laser in can if laser.way is line.way]
            self._able[line] = tuple(right or can)
        for laser in lasers:
            self._cluster(laser, [line for line in every if laser in self._able[line]])
        for at, lines in enumerate(asked):
            for line in lines:
                for laser in self._able[line]:
                    self._uses.setdefault((laser.letter, self.of(laser, line)), []).append(at)

    def able(self, line: LaserLine) -> tuple[LineLaser, ...]:
        """Return the lasers that can show a line."""
        return self._able[line]

    def of(self, laser: LineLaser, line: LaserLine) -> tuple[float, float]:
        """Return angle and offset at which a laser shows a line."""
        return self._of[laser.letter, line]

    def next_use(self, laser: LineLaser, stands: tuple[float, float] | None, at: int) -> float:
        """Return the stop after `at` at which the laser's present line is wanted again."""
        if stands is None:
            return math.inf
        uses = self._uses.get((laser.letter, stands), [])
        after = bisect.bisect_right(uses, at)
        return uses[after] if after < len(uses) else math.inf

    def _cluster(self, laser: LineLaser, lines: Sequence[LaserLine]) -> None:
        """Give lines that lie near each other one place: as few places as there can be."""
        if not laser.moves:
            for line in lines:
                self._of[laser.letter, line] = (straight(laser.way), 0.0)
            return
        by_angle: dict[int, list[LaserLine]] = {}
        for line in lines:
            by_angle.setdefault(round(line.angle / STRAIGHT), []).append(line)
        for group in by_angle.values():
            group.sort(key=lambda each: bare_offset(laser, each))
            while group:
                first = bare_offset(laser, group[0])
                reach = first + 2 * self._share
                near = [each for each in group if bare_offset(laser, each) <= reach]
                middle = (first + bare_offset(laser, near[-1])) / 2
                for line in near:
                    self._of[laser.letter, line] = (group[0].angle, middle)
                del group[: len(near)]


def _can(laser: LineLaser, line: LaserLine, share: float) -> bool:
    """Whether a laser can show a line."""
    if Move.TURN in laser.moves:
        return True
    if line.way is not laser.way or line.turned:
        return False
    return Move.SHIFT in laser.moves or abs(bare_offset(laser, line)) <= share
