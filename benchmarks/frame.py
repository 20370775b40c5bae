"""From marks to a frame of light: time at 1920 x 1080 and 3840 x 2160.

``python -m benchmarks.frame [--repeats 60]``

The marks are those of three imprints of the demo's order, laid and loaded, with hatches
and lettering. *Fresh* clears what the drawing keeps between frames: the first frame of a
piece. *Nudged* moves the whole placement by 0.1 mm before each frame, as an arrow key does,
so nothing drawn before fits. *Again* draws the same marks once more.

Last, what no piece comes near: 60 lines of 400 mm and 24 vertices with 10 labels.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from calibration.geometry import xy_tuple
from calibration.model.projector import ProjectorMap
from chalkbeam.light.marks import lay_marks
from chalkbeam.placement.loading import Loading
from chalkbeam.simulator.demo import ORDER, Lit, light_up
from overlay.draw import frame as drawing
from overlay.marks import Dash, Mark, Role, Stroke, Text
from overlay.palette import DEFAULT_PALETTE
from tests.support.rigs import demo_rig


def clear() -> None:
    """Forget what the drawing keeps between frames."""
    for thing in vars(drawing).values():
        if hasattr(thing, "cache_clear"):
            thing.cache_clear()


def shifted(loading: Loading, by: float) -> Loading:
    """Return the loading nudged to the right."""
    pose = loading.platen_from_garment
    return replace(loading, platen_from_garment=replace(pose, x=pose.x + by))


def crowd() -> list[Mark]:
    """Return 60 long polylines that cross, a third of them dashed, and 10 labels."""
    marks: list[Mark] = []
    t = np.linspace(-1.0, 1.0, 24)
    for number in range(60):  # 400 mm long, in two bundles that cross
        bend = 15 * np.sin(4 * t + number)
        across = 12.0 * (number // 2 - 15)
        line = [200 * t, across + bend] if number % 2 else [across + bend, 200 * t]
        dash = Dash.DASHED if number % 3 == 0 else Dash.SOLID
        role = (Role.LAY, Role.LOAD)[number % 2]
        marks.append(Stroke(xy_tuple(np.column_stack(line)), role, dash=dash))
    for number in range(10):
        marks.append(Text((-60.0, -180.0 + 36 * number), f"{number} of 59: navy, XL", size=12.0))
    return marks


def timed(act: Callable[[int], object], repeats: int) -> tuple[float, float]:
    """Return the median and the worst time of an act, ms."""
    spent = []
    for number in range(repeats):
        start = time.perf_counter()
        act(number)
        spent.append(1e3 * (time.perf_counter() - start))
    return float(np.median(spent)), max(spent)


def main(argv: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--repeats", type=int, default=60)
    options = parser.parse_args(argv)
    pieces = [light_up(piece) for piece in ORDER[:3]]
    print(f"{'ms: median (worst)':28}{'fresh':>16}{'nudged':>16}{'again':>16}")
    for size in ((1920, 1080), (3840, 2160)):
        found = demo_rig(size).projector
        for lit in pieces:
            for step, marks in (("load", lit.load), ("lay", lit.lay)):

                def draw(
                    number: int, marks: Sequence[Mark] = marks, found: ProjectorMap = found
                ) -> object:
                    del number
                    return drawing.render(marks, found, DEFAULT_PALETTE)

                def fresh(number: int, draw: Callable[[int], object] = draw) -> object:
                    clear()
                    return draw(number)

                def nudged(number: int, lit: Lit = lit, found: ProjectorMap = found) -> object:
                    moved = lay_marks(lit.placement, shifted(lit.loading, 0.1 * number))
                    return drawing.render(moved, found, DEFAULT_PALETTE)

                results = [timed(fresh, options.repeats)]
                results.append(timed(nudged, options.repeats) if step == "lay" else (0.0, 0.0))
                results.append(timed(draw, options.repeats))
                cells = "".join(
                    f"{f'{median:.1f} ({worst:.1f})' if worst else '':>16}"
                    for median, worst in results
                )
                name = f"{size[0]}x{size[1]} {lit.piece.name[:1]} {step}"
                print(f"{name:28}{cells}")
        marks = crowd()

        def uncached(
            number: int, marks: Sequence[Mark] = marks, found: ProjectorMap = found
        ) -> object:
            del number
            clear()
            return drawing.render(marks, found, DEFAULT_PALETTE)

        median, worst = timed(uncached, options.repeats)
        print(f"{f'{size[0]}x{size[1]} 60 lines':28}{f'{median:.1f} ({worst:.1f})':>16}")


if __name__ == "__main__":
    main()
