"""The press side: from a key to the new picture with the act on record, and memory over a run.

``python -m benchmarks.window [--presses 200] [--sizes 1920x1080,3840x2160] [--pieces 2000]``

The demo's order is worked at the press: load, lay, arrow keys, press, next, as an operator
with a quick foot does it. Timed is from the key's arrival to the flip of the display; in
between the act is written to the record (its journal is on the disk, in the temporary
folder), which is the disk's time and given apart; a nudge is drawn meanwhile. Given apart too is
the processor time (ms) of all that a key sets going until the flip. Once under SDL's dummy driver
and, where Xvfb is installed, once under an X server of the projector's size.
Then an order of many pieces, each with a name of its own, is worked through in a window of
the dummy driver.
"""

from __future__ import annotations

import argparse
import os
import random
import resource
import tempfile
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from benchmarks._drivers import under_each_driver

SHEET = "regatta-order.csv"


def open_station(folder: Path, size: tuple[int, int], pieces: int = 0):
    """Return the station of the demo's order, or of one of so many pieces with names."""
    from chalkbeam.orders.order_of_work import plan
    from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece
    from chalkbeam.orders.sheet import read_sheet
    from chalkbeam.orders.shop import fit_on_press
    from chalkbeam.orders.times import Times
    from chalkbeam.record.session import open_session
    from chalkbeam.record.store import Store
    from chalkbeam.simulator import tern_harbour
    from chalkbeam.station.controller import StationController
    from chalkbeam.station.frames import FrameCache
    from chalkbeam.station.ready_imprint import ImprintPreparer
    from tests.support.rigs import demo_rig

    goods = Path(tern_harbour.__file__).parent
    light = demo_rig(size)
    order = read_sheet(goods / SHEET, artwork_folder=goods).pieces
    if pieces:
        order = tuple(
            Piece(
                f"{row}-1", row, 1, 1, "crew_tee", "L", "navy",
                (Imprint(f"{row}-1/1", "player-name", Art(ArtKind.NAME, f"ROWER {row}")),),
            )
            for row in range(1, pieces + 1)
        )  # fmt: skip
    work = plan(order, Times(), fit_on_press)
    if not pieces:  # what the rig's platen takes
        preparer = ImprintPreparer([light])
        stops = tuple(stop for stop in work.stops if lies(preparer, stop))
        work = replace(work, stops=stops)
    run = Store(folder / "record.db").begin(work, title="", sheet=goods / SHEET, digest="")
    session = open_session(Store(folder / "record.db"), run)
    return StationController(session, ImprintPreparer([light]), FrameCache())


def lies(preparer, stop) -> bool:
    """Whether an imprint can be lit on the platen there is."""
    from calibration.refusal import Refusal

    try:
        preparer.prepare(stop.piece, stop.imprint, lambda imprint: imprint.location)
    except Refusal:
        return False
    return True


def inside(size: tuple[int, int], presses: int) -> None:
    """Open the window on this process's display, press keys, print what it took."""
    import numpy as np
    import pygame

    from chalkbeam.record.events import Step
    from overlay.window.displays import Screen
    from overlay.window.inputs import Closed, Input, Key
    from overlay.window.run import run

    dummy = os.environ.get("SDL_VIDEODRIVER") == "dummy"
    if dummy:  # its display has no size of its own: pretend one that holds the whole window
        pygame.display.get_desktop_sizes = lambda: [(2 * size[0], 2 * size[1])]
    up = threading.Event()
    began, spent, rest = [0.0], [], []
    disk, writing = [0.0], []
    worked, work = [0.0], []

    with tempfile.TemporaryDirectory() as folder:
        station = open_station(Path(folder), size)
        write = station.session.write

        def timed_write(*act: object, **data: object) -> None:
            start = time.perf_counter()
            write(*act, **data)
            disk[0] += time.perf_counter() - start

        station.session.write = timed_write

        def shown(now: object) -> None:
            if began[0]:
                spent.append(1e3 * (time.perf_counter() - began[0]))
                writing.append(1e3 * disk[0])
                work.append(1e3 * (time.process_time() - worked[0]))
                began[0] = 0.0
            station.foresee()
            up.set()

        def operate(post: Callable[[Input], None]) -> None:
            def keys() -> None:
                chance = random.Random(1)
                up.wait()
                for number in range(presses + 8):
                    time.sleep(chance.uniform(0.16, 0.25))  # longer than a pedal bounces
                    up.clear()
                    if number == 8:
                        spent.clear()
                        writing.clear()
                        work.clear()
                    laying = station.session.progress.at.step is Step.LAY
                    name = chance.choice(["left", "up", "space"]) if laying else "space"
                    disk[0], worked[0], began[0] = 0.0, time.process_time(), time.perf_counter()
                    # A minute between keys on the operator's clock: no dwell is left to wait for.
                    post(Key(name, at=60.0 * number))
                    up.wait()
                time.sleep(3.0)  # painting ahead is done, and no key is expected
                busy, wall = time.process_time(), time.perf_counter()
                time.sleep(3.0)
                rest.append((time.process_time() - busy) / (time.perf_counter() - wall))
                post(Closed())

            threading.Thread(target=keys, daemon=True).start()

        run(
            station,
            Screen(size, None if dummy else 1),
            update=lambda now, happened: now.take(happened),
            view=lambda now: now.output.frame(now.scene()),
            done=lambda now: now.state.over,
            shown=shown,
            listen=operate,
        )
    without = np.array(spent) - np.array(writing)
    print(
        f"{size[0]}x{size[1]:<6}{os.environ['SDL_VIDEODRIVER']:>8}{len(spent):>6}"
        f"{np.median(spent):>9.1f}{np.max(spent):>9.1f}"
        f"{np.median(without):>12.1f}{np.max(without):>9.1f}"
        f"{np.median(work):>10.1f}{np.max(work):>9.1f}{100 * rest[0]:>9.2f}"
    )


def long_run(pieces: int) -> None:
    """Work an order of many pieces in the window; print the memory in use at its tenths."""
    import pygame

    from overlay.window.displays import Screen
    from overlay.window.inputs import Closed, Input, Key
    from overlay.window.run import run

    def resident() -> float:
        pages = int(Path("/proc/self/statm").read_text().split()[1])
        return pages * resource.getpagesize() / 1e6

    size = (1280, 720)
    pygame.display.get_desktop_sizes = lambda: [(2 * size[0], 2 * size[1])]
    with tempfile.TemporaryDirectory() as folder:
        station = open_station(Path(folder), size, pieces)
        used: list[float] = []
        pressed = 0
        post: list[Callable[[Input], None]] = []
        start = time.perf_counter()

        def shown(now: object) -> None:
            nonlocal pressed
            station.foresee()
            if station.session.progress.at.index is None or pressed > 4 * pieces:
                post[0](Closed())
                return
            pressed += 1
            if pressed % max(1, 3 * pieces // 10) == 0:
                used.append(resident())
            post[0](Key("space", at=60.0 * pressed))

        run(
            station,
            Screen(size),
            update=lambda now, happened: now.take(happened),
            view=lambda now: now.output.frame(now.scene()),
            done=lambda now: now.state.over,
            shown=shown,
            listen=post.append,
        )
        taken = time.perf_counter() - start
        assert station.session.progress.pressed() == pieces
    print(f"{pieces} pieces in {taken:.0f} s; MB in use at each tenth:")
    print(" ".join(f"{each:.0f}" for each in used))


def main(argv: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--presses", type=int, default=200)
    parser.add_argument("--sizes", default="1920x1080,3840x2160")
    parser.add_argument("--pieces", type=int, default=2000)
    parser.add_argument("--inside", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args(argv)
    sizes = [tuple(int(side) for side in text.split("x")) for text in options.sizes.split(",")]
    if options.inside:
        inside((sizes[0][0], sizes[0][1]), options.presses)
        return
    print(
        f"{'picture':11}{'driver':>8}{'keys':>6}{'median':>9}{'worst ms':>9}"
        f"{'less disk':>12}{'worst':>9}{'CPU':>10}{'worst':>9}{'rest %':>9}",
        flush=True,
    )
    for width, height in sizes:
        under_each_driver("benchmarks.window", (width, height), options.presses)
    if options.pieces:
        os.environ["SDL_VIDEODRIVER"] = "dummy"
        long_run(options.pieces)


if __name__ == "__main__":
    main()
