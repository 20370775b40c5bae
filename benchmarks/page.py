"""The page: from tap to light, memory and load at rest, first paint, hostile requests.

Tap to light is the real thing: `chalkbeam run --page`, its light filling an X server's display of
1920 by 1080 (Xvfb; without it, a window under SDL's dummy driver), its server, a client that taps
over HTTP and another that watches. What is timed ends when the watcher is told, which is after the
frame is up: the light is a little sooner. Beside it stands the processor's time that a tap takes in
each process, which other work on the machine does not change much.

    python -m benchmarks page [--taps 200] [--hostile 10000] [--only taps|rest|paint|hostile]
                              [--first]

`--first` lets what is measured go before all other programs, as on a machine that has nothing else
to do (real-time scheduling; Linux, asks for root). The disk is shared all the same.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from benchmarks._hostile_requests import hostile
from chalkbeam.web.security import COOKIE
from tests.support.browser import FLAGS, chromium, lacking
from tests.support.page_run import Client, Run, busy, children, entered, memory, when_ready


@contextmanager
def screen() -> Iterator[str]:
    """Have an X server for the light; its display is empty where there is none."""
    if shutil.which("Xvfb") is None:
        yield ""
        return
    reading, writing = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-screen", "0", "1920x1080x24", "-noreset", "-nolisten", "tcp",
         "-displayfd", str(writing)],
        pass_fds=[writing], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    os.close(writing)
    with os.fdopen(reading) as told:
        number = told.readline().strip()
    yield f":{number}" if number else ""
    server.terminate()
    server.wait()


def taps(count: int) -> None:
    with screen() as display, tempfile.TemporaryDirectory() as folder:
        run = Run(Path(folder), "--page", "--no-browser", "--port", "0", display=display)
        client = entered(run.opened())
        when_ready(client)
        news = threading.Condition()
        heard: dict[str, float] = {}

        def told(number: str, at: float) -> None:
            with news:
                heard[number] = at
                news.notify_all()

        client.watch(told)
        time.sleep(3.0)
        took: dict[str, list[float]] = {"steps": [], "moves": []}
        plan = ["on", *["right", "up", "left", "down"] * 3, "back"]
        light, server = run.process.pid, run.server()
        before = busy(light), busy(server)
        rest, load = at_once(light, server), os.getloadavg()[0]
        begun_all = time.perf_counter()
        for index in range(count):
            button = plan[index % len(plan)]
            seen = client.state()["number"]
            begun = time.perf_counter()
            status = client.tap(button, seen)
            assert status == 200, status
            with news:
                assert news.wait_for(lambda since=begun: max(heard.values(), default=0) > since, 10)
                took["steps" if button in ("on", "back") else "moves"].append(
                    max(heard.values()) - begun
                )
                heard.clear()
            time.sleep(0.25)
        whole = time.perf_counter() - begun_all
        spent = [
            1e3 * (busy(pid) - was - idle * whole) / count
            for pid, was, idle in zip((light, server), before, rest, strict=True)
        ]
        every = sorted(1000 * each for kind in took.values() for each in kind)
        where = "an X display" if display else "the dummy driver"
        print(f"tap to frame shown and told, {len(every)} taps, light on {where}; "
              f"the machine's load {load:.1f}, then {os.getloadavg()[0]:.1f}:")  # fmt: skip
        for kind, seconds in took.items():
            if seconds:
                ms = sorted(1000 * each for each in seconds)
                print(f"  {kind:6} {len(ms):4}  median {statistics.median(ms):6.1f}  "
                      f"95% {ms[int(0.95 * len(ms))]:6.1f}  worst {ms[-1]:6.1f} ms")  # fmt: skip
        print(f"  all         median {statistics.median(every):6.1f}  worst {every[-1]:6.1f} ms")
        print("  of the processor a tap takes {:.1f} ms in the light's process, {:.1f} ms in "
              "the server's".format(*spent))  # fmt: skip
        run.end()


def at_once(*pids: int) -> list[float]:
    """Return what processes take of a core while nothing is tapped."""
    before = [busy(pid) for pid in pids]
    time.sleep(4.0)
    return [(busy(pid) - was) / 4.0 for pid, was in zip(pids, before, strict=True)]


def calm(run: Run) -> None:
    """Wait until a run has been got ready: for eight seconds it and its children do little."""

    def work() -> float:
        return sum(map(busy, (run.process.pid, *children(run.process.pid))))

    quiet = 0
    while quiet < 8:
        before = work()
        time.sleep(1.0)
        ready = len(children(run.process.pid)) > 0  # the artwork has been looked at
        quiet = quiet + 1 if ready and work() - before < 0.1 else 0


def at_rest(run: Run, seconds: float) -> dict[str, tuple[float, float]]:
    """Return memory, MB, and load, % of a core, of each process of a run."""
    kinds = {b"calibration.worker": "decoders", b"resource_tracker": "tracker", b"spawn": "server"}
    pids = [run.process.pid, *children(run.process.pid)]
    lines = [Path(f"/proc/{pid}/cmdline").read_bytes() for pid in pids]
    names = [
        next((kind for mark, kind in kinds.items() if mark in line), "light") for line in lines
    ]
    before = [busy(pid) for pid in pids]
    time.sleep(seconds)
    load = [100 * (busy(pid) - was) / seconds for pid, was in zip(pids, before, strict=True)]
    return dict(zip(names, zip(map(memory, pids), load, strict=True), strict=True))


def rest(seconds: float = 20.0) -> None:
    with tempfile.TemporaryDirectory() as folder:
        run = Run(Path(folder), "--no-page", "--record", str(Path(folder) / "plain.db"))
        calm(run)
        alone = at_rest(run, seconds)
        run.end()
        run = Run(Path(folder), "--page", "--no-browser", "--port", "0")
        client = entered(run.opened())
        when_ready(client)
        for path in ("/", "/press", "/press/state"):  # what a shift opens
            assert client.send("GET", path)[0] == 200
        Client(client.port, secret=client.secret).watch(lambda number, at: None)
        calm(run)
        paged = at_rest(run, seconds)
        run.end()
    print("at rest, a browser watching:")
    for name, (share, percent) in paged.items():
        before = "{:6.1f} MB {:.2f} %".format(*alone[name]) if name in alone else "-"
        print(f"  {name:9} {share:6.1f} MB  {percent:.2f} % of a core; without a page {before}")
    more = sum(share for share, _ in paged.values()) - sum(share for share, _ in alone.values())
    print(f"  the page takes {more:.0f} MB more than the run alone")


def paint() -> None:
    if lacking():
        print(f"first paint: not measured, {lacking()}")
        return
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        run = Run(Path(folder), "--page", "--no-browser", "--port", "0")
        client = entered(run.opened())
        when_ready(client)
        here = f"http://127.0.0.1:{client.port}"
        browser = driver.chromium.launch(executable_path=chromium(), args=list(FLAGS))
        for path in ("/", "/press", "/devices"):
            first, size = [], 0
            for _ in range(5):
                context = browser.new_context(viewport={"width": 1024, "height": 768})
                context.add_cookies([{"name": COOKIE, "value": client.secret, "url": here}])
                page = context.new_page()
                devtools = context.new_cdp_session(page)
                devtools.send("Network.enable")
                devtools.send("Network.emulateNetworkConditions", {
                    "offline": False, "latency": 20, "downloadThroughput": 10e6 / 8,
                    "uploadThroughput": 5e6 / 8})  # fmt: skip
                devtools.send("Emulation.setCPUThrottlingRate", {"rate": 4})
                got: list[float] = []
                devtools.on("Network.loadingFinished", lambda e, got=got: got.append(
                    e["encodedDataLength"]))  # fmt: skip
                page.goto(here + path)
                page.wait_for_timeout(1500)
                entry = "performance.getEntriesByName('first-contentful-paint')[0].startTime"
                first.append(page.evaluate(entry))
                size = sum(got)
                context.close()
            print(f"{path:10} first paint {statistics.median(first):5.0f} ms (median of 5, "
                  f"processor a fourth, 10 Mbit/s, 20 ms), {size / 1000:.0f} kB")  # fmt: skip
        browser.close()
        run.end()


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--taps", type=int, default=200)
    options.add_argument("--hostile", type=int, default=10_000)
    options.add_argument("--only", choices=["taps", "rest", "paint", "hostile"])
    options.add_argument("--first", action="store_true", help="before other programs (root)")
    asked = options.parse_args()
    if asked.first:
        os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(10))
    for name, measure in (
        ("taps", lambda: taps(asked.taps)), ("rest", rest), ("paint", paint),
        ("hostile", lambda: hostile(asked.hostile)),
    ):  # fmt: skip
        if asked.only in (None, name):
            measure()


if __name__ == "__main__":
    main()
