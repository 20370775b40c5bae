"""Line lasers: how far off a line falls when lasers hang wrongly, and how often they are aimed.

``python -m benchmarks.ticks [--presses 400]``

Virtual presses by rays alone: a laser hangs beside its stated place by a stated amount, is aimed
by hand at two ticks (each missed by 0.3 mm, one standard deviation), and its plane of light is cut
at the cloth's height. The error is the distance of that line from the art's point.
"""

from __future__ import annotations

import argparse
import math
import tempfile
from pathlib import Path

import numpy as np

from calibration.geometry import PlatenFace
from chalkbeam.lasers.aims import plan_aims
from chalkbeam.lasers.hung import TWO_LINES, LineLaser, Move, Way
from chalkbeam.lasers.lines import LaserLine, LineKind
from chalkbeam.lasers.ticks import bare_offset, crossings
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.sheet import read_sheet
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.placement.platens import platen
from chalkbeam.simulator.tern_harbour import write_sample
from chalkbeam.station.ready_imprint import ImprintPreparer
from chalkbeam.station.tick_guide import lines_of, ready_stops
from chalkbeam.station.tick_view import rig_from_above

FACE = PlatenFace(406.4, 508.0, 15.0)
HAND = 0.3


def fallen(rng: np.random.Generator, stated: LineLaser, true: np.ndarray, height: float) -> float:
    """Return how far off a line falls on the cloth, mm."""
    point = tuple(rng.uniform((-120, -60), (120, 200)))
    line = LaserLine(LineKind.UPRIGHT, "", point, math.pi / 2, height)
    ticks = crossings(line.angle, bare_offset(stated, line), FACE)
    ends = [np.array([*tick.point(FACE), 0.0]) for tick in ticks]
    aimed = [end + np.array([rng.normal(0, HAND), 0.0, 0.0]) for end in ends]
    # Each ray from the laser through a point that it was aimed at, where it meets the cloth.
    lit = [true + (end - true) * (true[2] - height) / true[2] for end in aimed]
    (x0, y0), (x1, y1) = (each[:2] for each in lit)
    return float(abs(x0 + (x1 - x0) * (point[1] - y0) / (y1 - y0) - point[0]))


def errors(presses: int) -> None:
    print(f"error on the cloth, mm, median / 95 %, {presses} presses; aimed by hand to {HAND} mm")
    print(f"{'hung beside its stated place by':34}{'tee 0.8 mm':>16}{'fleece 4 mm':>16}"
          f"{'pad 12 mm':>16}")  # fmt: skip
    turns = frozenset({Move.TURN})
    for words, by, known in (
        ("nothing", 0.0, True), ("10 mm", 10.0, True), ("25 mm", 25.0, True),
        ("50 mm", 50.0, True), ("100 mm", 100.0, True), ("tilt not stated", 0.0, False),
    ):  # fmt: skip
        cells = []
        for height in (0.8, 4.0, 12.0):
            rng = np.random.default_rng(7)
            found = []
            for _ in range(presses):
                place = rng.uniform((-350, -200, 800), (350, 200, 1200))
                way = rng.normal(size=3)
                true = place + by * way / np.linalg.norm(way)
                stated = LineLaser("A", "", Way.AWAY, turns, tuple(place) if known else None)
                found.append(fallen(rng, stated, true, height))
            cells.append(f"{np.median(found):.2f} / {np.percentile(found, 95):.2f}")
        print(f"{words:34}" + "".join(f"{cell:>16}" for cell in cells))


def aims() -> None:
    with tempfile.TemporaryDirectory() as folder:
        order = read_sheet(write_sample(Path(folder)))
        rigs = [rig_from_above(platen(each)) for each in
                ("16x20in", "youth-9x12in", "sleeve-5x18in", "sleeve-4x16in")]  # fmt: skip
        four = tuple(
            LineLaser(letter, "", way, frozenset(Move))
            for letter, way in zip("ABCD", (Way.AWAY, Way.ACROSS) * 2, strict=True)
        )
        print(
            f"\naims of the Tern Harbour order after its first set-up ({len(order.pieces)} pieces)"
        )
        print(f"{'':24}{'two lasers':>14}{'four lasers':>14}{'two, share 2 mm':>18}")
        for words, listed in (("the sheet's own order", True), ("the order of work", False)):
            stops = plan(order.pieces, choose=fit_on_press, as_listed=listed).stops
            wanted = [lines_of(each) for each in ready_stops(stops, ImprintPreparer(rigs))]
            two, more = (plan_aims(wanted, each).aims_again for each in (TWO_LINES, four))
            shared = plan_aims(wanted, TWO_LINES, 2.0).aims_again
            print(f"{words:24}{two:>14}{more:>14}{shared:>18}   of {len(stops)} imprints")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--presses", type=int, default=400)
    errors(parser.parse_args().presses)
    aims()


if __name__ == "__main__":
    main()
