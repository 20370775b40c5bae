"""The press side: from a key to the new picture with the act on record, and memory over a run.

``python -m benchmarks.window [--presses 200] [--sizes 1920x1080,3840x2160] [--pieces 2000]``

The demo's order is worked at the press: load, lay, arrow keys, press, next, as an operator
with a quick foot does it; lines are moved after pauses and in quick series as a held key makes
them, turned, put back, moved for the batch, the collar is moved, acts are taken back, and pages
and questions are looked at. Timed is from the key's arrival to the flip of the display; in
between the act is written to the record (its journal is on the disk, in the temporary
folder), which is the disk's time and given apart; a nudge is drawn meanwhile. Given apart too is
the processor time (ms) of all that a key sets going until the flip: the *work*, what was drawn
ahead of another key while it came included. Told for all keys, then by kind. What was drawn
ahead before the key came is no part of a key's work; *idle* is the processor time of that, ms a
key. Once under SDL's dummy driver and, where Xvfb is installed, once under an X server of the
projector's size.
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


PAUSE, REPEAT = (0.16, 0.25), 0.04
"""Seconds between keys: longer than a pedal bounces, and as a held key repeats."""

ASIDE = (
    ("h", "h"), ("x", "escape"), ("s", "escape"), ("j", "escape"), ("c", "c"), ("b", "b"),
    ("u",), ("0",), ("l",), ("r",), ("left", "shift return"), ("page up", "space"),
    ("g", "up", "right", "escape"), ("g", "left", "return"), ("shift up", "shift left"),
    ("escape", "down"), ("p", "p"),
)  # fmt: skip
"""What is done between nudges now and then, a key after another."""

ARROWS = ("left", "right", "up", "down")


def typed(chance: random.Random, laying: bool) -> tuple[str, list[str]]:
    """Return what an operator does next: what kind of thing, and its keys."""
    if not laying:
        return "steps", ["space"]
    kind = chance.choice(["nudges", "nudges", "nudges", "series", "others", "steps"])
    keys = {
        "steps": ["space"],
        "nudges": [chance.choice(ARROWS)],
        "series": [chance.choice(ARROWS)] * 5,
        "others": [*chance.choice(ASIDE)],
    }[kind]
    return kind, keys


def inside(size: tuple[int, int], presses: int) -> None:
    """Open the window on this process's display, press keys, print what it took."""
    import pygame

    from chalkbeam.record.events import Step
    from chalkbeam.station.host import foreseen_once
    from overlay.window.displays import Screen
    from overlay.window.inputs import Closed, Input, Key
    from overlay.window.run import run

    dummy = os.environ.get("SDL_VIDEODRIVER") == "dummy"
    if dummy:  # its display has no size of its own: pretend one that holds the whole window
        pygame.display.get_desktop_sizes = lambda: [(2 * size[0], 2 * size[1])]
    up = threading.Event()
    waited = ""  # the kind of key that waits for its picture
    began, worked, disk = 0.0, 0.0, 0.0
    told: list[tuple[str, float, float, float]] = []
    rest = idle = 0.0

    with tempfile.TemporaryDirectory() as folder:
        station = open_station(Path(folder), size)
        write = station.session.write

        def timed_write(*act: object, **data: object) -> None:
            nonlocal disk
            start = time.perf_counter()
            write(*act, **data)
            disk += time.perf_counter() - start

        station.session.write = timed_write

        def shown(now: object) -> None:
            nonlocal waited
            if waited:
                wall = time.perf_counter() - began
                told.append((waited, wall, wall - disk, time.process_time() - worked))
                waited = ""
            up.set()

        def operate(post: Callable[[Input], None]) -> None:
            def press(kind: str, name: str, number: int) -> None:
                nonlocal waited, began, worked, disk
                shift, _, plain = name.rpartition("shift ")
                up.clear()
                # A minute between keys on the operator's clock: no dwell is left to wait for. They
                # type no text: what a letter waits to be told from a scan is no work.
                key = Key(plain, shift=bool(shift or name != plain), at=60.0 * number)
                disk, waited, worked, began = 0.0, kind, time.process_time(), time.perf_counter()
                post(key)
                up.wait()

            def keys() -> None:
                nonlocal rest, idle
                chance = random.Random(1)
                up.wait()
                for number in range(8):
                    time.sleep(chance.uniform(*PAUSE))
                    press("warm", "space", number)
                began_all, number = time.process_time(), 8
                while len(told) < presses + 8:
                    laying = station.session.progress.at.step is Step.LAY
                    kind, names = typed(chance, laying)
                    time.sleep(chance.uniform(*PAUSE))
                    for name in names:
                        press(kind, name, number)
                        number += 1
                        time.sleep(REPEAT if kind == "series" else chance.uniform(*PAUSE))
                time.sleep(3.0)  # painting ahead is done, and no key is expected
                spent = time.process_time() - began_all
                idle = (spent - sum(each[3] for each in told if each[0] != "warm")) / len(told)
                busy, wall = time.process_time(), time.perf_counter()
                time.sleep(3.0)
                rest = (time.process_time() - busy) / (time.perf_counter() - wall)
                post(Closed())

            threading.Thread(target=keys, daemon=True).start()

        run(
            station,
            Screen(size, None if dummy else 1),
            update=lambda now, happened: now.take(happened),
            view=lambda now: now.output.frame(now.scene()),
            done=lambda now: now.state.over,
            shown=shown,
            ahead=foreseen_once(),
            listen=operate,
        )
    timed = [each for each in told if each[0] != "warm"]
    for kind in ("", *dict.fromkeys(each[0] for each in timed)):
        print_row(
            f"{size[0]}x{size[1]}" if not kind else f"  {kind}",
            [each[1:] for each in timed if kind in ("", each[0])],
            f"{100 * rest:>9.2f}{1e3 * idle:>7.0f}{most_resident():>7.0f}" if not kind else "",
        )


def most_resident() -> float:
    """Return the most memory that this process has had, MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3


def print_row(name: str, told: Sequence[tuple[float, float, float]], more: str) -> None:
    """Print the median and the worst of keys: wall time, less the disk's, and work, ms."""
    import numpy as np

    cells = "".join(
        f"{1e3 * np.median(column):>10.1f}{1e3 * np.max(column):>8.1f}"
        for column in zip(*told, strict=True)
    )
    driver = os.environ["SDL_VIDEODRIVER"] if more else ""
    print(f"{name:12}{driver:>6}{len(told):>6}{cells}{more}", flush=True)


def long_run(pieces: int) -> None:
    """Work an order of many pieces in the window; print the memory in use at its tenths."""
    import pygame

    from chalkbeam.station.host import foreseen_once
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
            ahead=foreseen_once(),
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
        f"{'picture':12}{'':>6}{'keys':>6}{'median':>10}{'worst':>8}{'less disk':>10}{'worst':>8}"
        f"{'work':>10}{'worst':>8}{'rest %':>9}{'idle':>7}{'MB':>7}",
        flush=True,
    )
    for width, height in sizes:
        under_each_driver("benchmarks.window", (width, height), options.presses)
    if options.pieces:
        os.environ["SDL_VIDEODRIVER"] = "dummy"
        long_run(options.pieces)


if __name__ == "__main__":
    main()
