"""From a press on record to the board on other people's screens: terminal and page.

``python -m benchmarks.board_watch [--presses 20]``
(Debian's postgresql, which it starts itself)

Two presses, threads with a record and a link each as `chalkbeam run` has them, press one imprint
after the other; `chalkbeam orders --watch` in a terminal of its own and the page's live board, at
its events, show how many are pressed. Timed is from the press's record on disk to the number seen.
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import pty
import re
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

from tests.support.postgres import MISSING, postgres, programs

_COUNT = re.compile(r"(\d+) of \d+")


class Seen:
    """When each number was first seen."""

    def __init__(self) -> None:
        self.at: dict[int, float] = {}

    def look(self, text: str) -> None:
        """Take what a screen shows now."""
        now = time.perf_counter()
        for number in _COUNT.findall(text):
            self.at.setdefault(int(number), now)


def terminal(address: str, seen: Seen, over: threading.Event) -> None:
    """Watch the board in a terminal."""
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "chalkbeam", "orders", "--watch", "--record", address]
    watching = subprocess.Popen(command, stdout=theirs, stderr=theirs, stdin=subprocess.DEVNULL)
    os.close(theirs)
    try:
        while not over.is_set():
            seen.look(os.read(ours, 1 << 16).decode(errors="replace"))
    finally:
        watching.terminate()
        watching.wait()


def browser(port: int, cookie: str, seen: Seen, over: threading.Event) -> None:
    """Watch the board as a browser does."""
    line = http.client.HTTPConnection("127.0.0.1", port)
    line.request("GET", "/board/events", headers={"cookie": cookie})
    answer = line.getresponse()
    while not over.is_set():
        text = answer.readline().decode()
        if text.startswith("data: "):
            seen.look(json.loads(text[6:]))


def press_all(address: str, folder: Path, count: int, each: Callable[[int], None]) -> None:
    """Press so many imprints at two presses by turns; `each` is told when one is on record."""
    from chalkbeam.orders.order_of_work import plan
    from chalkbeam.presses.address import read_address
    from chalkbeam.presses.link import QueueLink
    from chalkbeam.presses.news import FromQueue
    from chalkbeam.presses.taking_part import Press, TakingPart
    from chalkbeam.record.session import open_session
    from chalkbeam.record.store import Store
    from tests.support.random_orders import random_order

    planned = plan(random_order(3, 4 * count))
    at_work = []
    for name in ("left", "right"):
        store = Store(folder / name / "record.db")
        part = TakingPart(store, read_address(address), Press(name, "here"))
        run, _ = part.take_up(part.begin(planned, "Regatta", Path("s.csv"), "d"))
        session = open_session(store, run)
        link = QueueLink(part, run)
        link.notice(session.progress)
        told = list[FromQueue]()
        link.listen(told.append)
        at_work.append((store, session, link, told))
    for number in range(1, count + 1):
        _, session, link, told = at_work[number % 2]
        time.sleep(1.5 + 0.37 * (number % 3))
        while told:
            for claim in told.pop(0).claimed:
                session.claim(claim.id, claim.pieces)
        session.press({"x": 0.0, "y": 0.0, "angle": 0.0})
        each(number)
        link.notice(session.progress)
    time.sleep(3.0)
    for store, _, link, _ in at_work:
        link.close()
        store.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--presses", type=int, default=20, help="imprints pressed")
    count = parser.parse_args().presses
    if programs() is None:
        sys.exit(MISSING)
    with tempfile.TemporaryDirectory() as folder, postgres() as server:
        os.environ["XDG_DATA_HOME"] = folder
        there = Path(folder) / "chalkbeam" / "shop.toml"
        there.parent.mkdir()
        there.write_text(f'record = "{server.address}"\n')
        from chalkbeam.web.doors import Right
        from chalkbeam.web.security import COOKIE
        from chalkbeam.web.server import PageServer
        from chalkbeam.web.settings import WebSettings
        from chalkbeam.web.workshop import Workshop

        page = PageServer(Workshop.of_user(), WebSettings(port=0))
        page.start()
        cookie = f"{COOKIE}={page.app.state.devices.add('a browser', Right.SEE)}"
        seen, over = {"orders --watch": Seen(), "the page": Seen()}, threading.Event()
        for act, where in (
            (lambda: terminal(server.address, seen["orders --watch"], over), "terminal"),
            (lambda: browser(page.settings.port, cookie, seen["the page"], over), "page"),
        ):
            threading.Thread(target=act, name=where, daemon=True).start()
        time.sleep(5.0)
        done: dict[int, float] = {}
        press_all(
            server.address, Path(folder), count,
            lambda number: done.setdefault(number, time.perf_counter()),
        )  # fmt: skip
        over.set()
        page.stop()
    for where, found in seen.items():
        late = sorted(found.at[n] - at for n, at in done.items() if n in found.at)
        print(
            f"{where}: {len(late)} of {count} presses seen, after {statistics.median(late):.2f} s "
            f"at the median, {late[-1]:.2f} s at most"
        )


if __name__ == "__main__":
    main()
