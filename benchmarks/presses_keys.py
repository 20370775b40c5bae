"""From a key to the picture at one press: alone, with a queue on a server, and with it gone.

``python -m benchmarks.presses_keys [--presses 300] [--size 1920x1080]``
(Debian's postgresql, which it starts itself, for the last two)

As `benchmarks.key_press`, but every key goes on record (`chalkbeam.record`, on disk) before it is
lit, and beside the window works what links a press to a queue. The three ways are taken by turns,
block by block, so that whatever else the machine does meets them alike.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path

os.environ["SDL_VIDEODRIVER"] = "dummy"
os.environ["SDL_AUDIODRIVER"] = "dummy"
os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")

from benchmarks._typed_keys import TypedKeys
from tests.support.postgres import MISSING, PostgresServer, postgres, programs

BLOCK = 50
"""Keys of a block."""


def timed_block(
    size: tuple[int, int],
    folder: Path,
    keys: int,
    seed: int,
    server: PostgresServer | None = None,
    gone: bool = False,
) -> list[float]:
    """Return how long each key of a block took, ms; without a server there is no queue.

    With `gone` the server is taken away once the work has begun.
    """
    import pygame

    from chalkbeam.orders.order_of_work import plan
    from chalkbeam.presses.address import read_address
    from chalkbeam.presses.link import QueueLink
    from chalkbeam.presses.taking_part import Press, TakingPart
    from chalkbeam.record.events import Step
    from chalkbeam.record.session import open_session
    from chalkbeam.record.store import Store
    from chalkbeam.simulator.demo import ORDER, light_up
    from chalkbeam.station.controller import StationController
    from chalkbeam.station.frames import FrameCache
    from chalkbeam.station.queue_host import QueueInWindow
    from chalkbeam.station.ready_imprint import ImprintPreparer
    from overlay.window.displays import Screen
    from overlay.window.inputs import Closed, Input, Key
    from overlay.window.run import run
    from tests.support.random_orders import random_order
    from tests.support.rigs import demo_rig

    pygame.display.get_desktop_sizes = lambda: [(2 * size[0], 2 * size[1])]
    placement = light_up(ORDER[2]).placement
    output = FrameCache()
    planned = plan(random_order(0, 60))  # one order for all ways; the keys differ
    queue = None
    with Store(folder / f"{seed}" / "record.db") as store:
        if server is not None:
            part = TakingPart(store, read_address(server.address), Press(f"left {seed}", "here"))
            order = part.begin(planned, "keys", Path("s.csv"), f"keys {seed}")
            run_of, _ = part.take_up(order)
            queue = QueueInWindow(QueueLink(part, run_of), lambda sentence: None)
        else:
            run_of = store.begin(planned, title="alone", sheet=Path("s.csv"), digest="d")
        controller = StationController(
            open_session(store, run_of),
            ImprintPreparer([demo_rig(size)], place=lambda *which: placement),
            output,
        )
        for second in range(1, 9):  # its sheet may ask for a setting, a platen or a pre-press first
            if controller.session.progress.at.step is not Step.LAY:
                controller.take(Key("space", at=float(second)))
        assert controller.session.progress.at.step is Step.LAY
        typed = TypedKeys(seed, 0.02, 0.06)

        def shown(now: StationController) -> None:
            del now
            typed.shown()
            if queue is not None:
                queue.shown()

        def operate(post: Callable[[Input], None]) -> None:
            if queue is not None:
                queue.listen(post)
                queue.begin(controller)

            def type_keys() -> None:
                typed.begin()
                if server is not None and gone:
                    server.stop()
                typed.type(keys, post)
                post(Closed())

            threading.Thread(target=type_keys, daemon=True).start()

        def update(now: StationController, happened: Input) -> StationController:
            if queue is not None and queue.take(happened):
                return now
            return now.take(happened)

        run(
            controller,
            Screen(size, None),
            update=update,
            view=lambda now: output.frame(now.scene()),
            done=lambda now: now.state.over,
            due=shown,
            listen=operate,
        )
        if queue is not None:
            queue.close()
    return typed.spent


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--presses", type=int, default=300, help="keys in each way")
    parser.add_argument("--size", default="1920x1080")
    options = parser.parse_args()
    if programs() is None:
        sys.exit(MISSING)
    width, height = (int(side) for side in options.size.split("x"))
    spent: dict[str, list[float]] = {"SQLite alone": [], "PostgreSQL": [], "network gone": []}
    with tempfile.TemporaryDirectory() as folder, postgres() as server:
        for block in range(max(1, options.presses // BLOCK)):
            for place, way in enumerate(spent):
                here = None if way == "SQLite alone" else server
                gone = way == "network gone"
                seed = 10 * block + place
                spent[way] += timed_block((width, height), Path(folder), BLOCK, seed, here, gone)
                if gone:
                    server.start()
    print(f"{'':16}{'keys':>6}{'median':>9}{'90 %':>9}{'worst ms':>9}")
    for way, each in spent.items():
        each.sort()
        middle, most = each[len(each) // 2], each[int(0.9 * len(each))]
        print(f"{way:16}{len(each):>6}{middle:>9.1f}{most:>9.1f}{each[-1]:>9.1f}")


if __name__ == "__main__":
    main()
