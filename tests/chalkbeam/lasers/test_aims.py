"""Which laser is aimed when: against every way to do it, tried one by one."""

import itertools

import numpy as np
import pytest

from chalkbeam.lasers.aims import plan_aims
from chalkbeam.lasers.hung import TWO_LINES, LineLaser, Move, Way
from chalkbeam.lasers.lines import LaserLine, LineKind, WantedLines, straight

ANY = frozenset(Move)


def lasers(*ways, moves=ANY):
    return [LineLaser("ABCDEF"[k], "", way, moves) for k, way in enumerate(ways)]


def line(offset, way=Way.AWAY, height=0.0, angle=None):
    point = (offset, 0.0) if way is Way.AWAY else (0.0, offset)
    angle = straight(way) if angle is None else angle
    return LaserLine(LineKind.UPRIGHT, f"line {offset}", point, angle, height)


def fewest(asked, count):
    """Return the least number of aims by trying all: what the lasers may show after each stop."""
    ways = {(None,) * count: 0}
    for offsets in asked:
        after = {}
        for state, cost in ways.items():
            for seats in itertools.permutations(range(count), len(offsets)):
                new = list(state)
                for seat, offset in zip(seats, offsets, strict=True):
                    new[seat] = offset
                moved = sum(a != b for a, b in zip(state, new, strict=True))
                key = tuple(new)
                after[key] = min(after.get(key, 99), cost + moved)
        ways = after
    return min(ways.values())


@pytest.mark.parametrize("count", [1, 2, 3])
def test_no_other_way_takes_fewer_aims(count):
    rng = np.random.default_rng(count)
    for _ in range(60):
        asked = [
            tuple(rng.choice(5, size=rng.integers(1, count + 1), replace=False) * 10.0)
            for _ in range(7)
        ]
        planned = plan_aims([WantedLines(tuple(map(line, each))) for each in asked],
                            lasers(*[Way.AWAY] * count))  # fmt: skip
        took = sum(len(each.moved) for each in planned.set_ups)
        assert took == fewest(asked, count)


def test_lines_near_each_other_share_a_tick_in_their_middle():
    planned = plan_aims([WantedLines((line(x),)) for x in (50.0, 50.9, 51.1)], TWO_LINES, share=0.5)
    assert [each.labels for each in planned.set_ups] == [("A1",), ("A1",), ("A2",)]
    assert [round(each.aims[0].off, 6) for each in planned.set_ups] == [0.45, -0.45, 0.0]
    assert planned.aims_again == 1


def test_cloth_of_another_height_has_a_tick_of_its_own():
    leaning = [LineLaser("A", "", Way.AWAY, ANY, None, 0.5)]
    thick = plan_aims([WantedLines((line(0.0, height=h),)) for h in (1.0, 12.0)], leaning)
    assert [round(stand.offset, 3) for stand in thick.stands] == [-0.546, -6.556]  # h tan 0.5


def test_lasers_to_spare_show_what_the_garment_is_loaded_by():
    wanted = WantedLines((line(90.0), line(60.0, Way.ACROSS)), (line(0.0), line(-10.0, Way.ACROSS)))
    planned = plan_aims([wanted], lasers(Way.AWAY, Way.ACROSS, Way.AWAY))
    assert planned.set_ups[0].labels == ("A1", "B1", "C1")
    assert planned.set_ups[0].aim("C").line == wanted.load[0]


def test_what_no_laser_can_show_is_missing():
    turned = line(10.0, Way.ACROSS, angle=0.26)
    planned = plan_aims([WantedLines((line(0.0), turned))],
                        lasers(Way.AWAY, Way.ACROSS, moves=frozenset({Move.SHIFT})))  # fmt: skip
    assert planned.set_ups[0].missing == (turned,)


def test_a_laser_that_stays_shows_the_middle_only():
    still = lasers(Way.AWAY, moves=frozenset())
    planned = plan_aims([WantedLines((line(x),)) for x in (0.2, 30.0)], still)
    assert [each.labels for each in planned.set_ups] == [("A1",), ()]


def test_a_laser_is_not_turned_across_while_another_hangs_that_way():
    asked = [WantedLines((line(x), line(x, Way.ACROSS))) for x in (0.0, 50.0, 0.0)]
    for each in plan_aims(asked, TWO_LINES).set_ups:
        assert [aim.stand.laser.way for aim in each.aims] == [aim.line.way for aim in each.aims]
