"""From a key press to the new picture on the display, and how busy the window is at rest.

``python -m benchmarks.key_press [--presses 200] [--sizes 1920x1080,3840x2160]``

The window of `chalkbeam project` shows the largest imprint of the demo's order and gets
200 arrow keys, each when the last one's picture is up and after a random pause. Timed is
from the key's arrival to the flip of the display, with all that lies between: the
next state, the marks, the frame, the copy to the display. Once under SDL's dummy driver
and, where Xvfb is installed, once under a true X server of the projector's size.
"""

from __future__ import annotations

import argparse
import os
import threading
import time
from collections.abc import Callable, Sequence

from benchmarks._drivers import under_each_driver
from benchmarks._typed_keys import TypedKeys


def inside(size: tuple[int, int], presses: int) -> None:
    """Open the window on this process's display, press keys, print what it took."""
    import pygame

    from chalkbeam.record.events import Step
    from chalkbeam.record.scratch import scratch_session
    from chalkbeam.simulator.demo import ORDER, light_up
    from chalkbeam.station.controller import StationController
    from chalkbeam.station.frames import FrameCache
    from chalkbeam.station.modes import SINGLE
    from chalkbeam.station.ready_imprint import ImprintPreparer
    from chalkbeam.station.single_order import single_order
    from overlay.window.displays import Screen
    from overlay.window.inputs import Closed, Input, Key
    from overlay.window.run import run
    from tests.support.rigs import demo_rig

    dummy = os.environ.get("SDL_VIDEODRIVER") == "dummy"
    if dummy:  # its display has no size of its own: pretend one that holds the whole window
        pygame.display.get_desktop_sizes = lambda: [(2 * size[0], 2 * size[1])]
    placement = light_up(ORDER[2]).placement
    output = FrameCache()
    start = StationController(
        scratch_session(single_order([placement], art="artwork")),
        ImprintPreparer([demo_rig(size)], place=lambda *which: placement),
        output,
        mode=SINGLE,
    )
    start.take(Key("space", at=1.0))
    assert start.session.progress.at.step is Step.LAY
    typed = TypedKeys(1, 0.005, 0.03)
    rest = []

    def shown(now: StationController) -> None:
        del now
        typed.shown()

    def operate(post: Callable[[Input], None]) -> None:
        def keys() -> None:
            typed.begin()
            typed.type(presses, post)
            busy, wall = time.process_time(), time.perf_counter()
            time.sleep(3.0)
            rest.append((time.process_time() - busy) / (time.perf_counter() - wall))
            post(Closed())

        threading.Thread(target=keys, daemon=True).start()

    run(
        start,
        Screen(size, None if dummy else 1),
        update=lambda now, happened: now.take(happened),
        view=lambda now: output.frame(now.scene()),
        done=lambda now: now.state.over,
        due=shown,
        listen=operate,
    )
    spent = sorted(typed.spent)
    print(
        f"{size[0]}x{size[1]:<6}{pygame.version.ver:>8}"
        f"{os.environ['SDL_VIDEODRIVER']:>8}{len(spent):>6}{spent[len(spent) // 2]:>9.1f}"
        f"{spent[int(0.95 * len(spent))]:>9.1f}{spent[-1]:>9.1f}{100 * rest[0]:>9.2f}"
    )


def main(argv: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--presses", type=int, default=200)
    parser.add_argument("--sizes", default="1920x1080,3840x2160")
    parser.add_argument("--inside", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args(argv)
    sizes = [tuple(int(side) for side in text.split("x")) for text in options.sizes.split(",")]
    if options.inside:
        inside((sizes[0][0], sizes[0][1]), options.presses)
        return
    print(
        f"{'picture':11}{'pygame':>8}{'driver':>8}{'keys':>6}{'median':>9}{'95 %':>9}"
        f"{'worst ms':>9}{'rest %':>9}",
        flush=True,
    )
    for width, height in sizes:
        under_each_driver("benchmarks.key_press", (width, height), options.presses)


if __name__ == "__main__":
    main()
