"""The page: from tap to light, memory and load at rest, first paint, hostile requests.

Tap to light is the real thing: `chalkbeam run --page` with its window (on $DISPLAY, else under the
dummy driver) and its server, a client that taps over HTTP and another that watches. What is timed
ends when the watcher is told, which is after the frame is up: the light is a little sooner.

    python -m benchmarks page [--taps 200] [--hostile 10000] [--only taps|rest|paint|hostile]
"""

from __future__ import annotations

import argparse
import http.client
import json
import logging
import os
import random
import re
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from contextlib import closing
from pathlib import Path

from calibration.rig.file import save
from chalkbeam.simulator.tern_harbour import write_sample
from chalkbeam.web.doors import Right
from chalkbeam.web.security import COOKIE, token_of
from chalkbeam.web.server import PageServer, WebSettings, doors
from chalkbeam.web.workshop import Workshop
from tests.support.browser import FLAGS, chromium, lacking
from tests.support.rigs import demo_rig

ROOT = Path(__file__).parents[1]


class Run:
    """`chalkbeam run` on the demo's rig, with its page or without; of the sample order if no other.

    Attributes
    ----------
    process : subprocess.Popen
        The light's.
    """

    def __init__(self, folder: Path, *options: str, sheet: Path | None = None) -> None:
        chalkbeam = [sys.executable, "-m", "chalkbeam"]
        driver = {} if os.environ.get("DISPLAY") else {"SDL_VIDEODRIVER": "dummy"}
        env = os.environ | driver | {
            "SDL_AUDIODRIVER": "dummy", "XDG_DATA_HOME": str(folder / "data"),
            "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "src")]),
        }  # fmt: skip
        if sheet is None:
            sheet = write_sample(folder / "tern-harbour")
        save(demo_rig(), folder / "rig.json")
        self.process = subprocess.Popen(
            [*chalkbeam, "run", str(sheet), "--rig", str(folder / "rig.json"),
             "--window", *options],
            env=env, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        )  # fmt: skip

    def opened(self) -> str:
        """Return the address that the run prints."""
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if found := re.search(r"http\S+", line):
                return found[0]
        raise RuntimeError("the run ended before there was a page")

    def end(self) -> None:
        """End it."""
        self.process.kill()
        self.process.wait()
        assert self.process.stdout is not None
        self.process.stdout.close()


class Client:
    """A paired browser without a picture."""

    def __init__(self, port: int, key: str = "", secret: str = "") -> None:
        self.port, self.secret = port, secret
        if key:
            answer = self.send("POST", "/pair", f"code={key}", "application/x-www-form-urlencoded")
            cookie = answer[1]["set-cookie"]
            self.secret = re.search(rf"{COOKIE}=([^;]+)", cookie)[1]

    def headers(self) -> dict[str, str]:
        """Return what a browser of this device sends."""
        here = f"127.0.0.1:{self.port}"
        return {"host": here, "origin": f"http://{here}", "cookie": f"{COOKIE}={self.secret}",
                "x-token": token_of(self.secret)}  # fmt: skip

    def send(self, method: str, path: str, body: str = "", kind: str = "application/json"):
        """Return status, headers and body of an answer."""
        with closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)) as made:
            made.request(method, path, body, self.headers() | {"content-type": kind})
            answer = made.getresponse()
            return answer.status, answer.headers, answer.read()

    def state(self) -> dict:
        """Return what the page at the press shows."""
        return json.loads(self.send("GET", "/press/state")[2])

    def tap(self, button: str, seen: str) -> int:
        """Tap a button; return the status."""
        sent = {"id": os.urandom(8).hex(), "button": button, "seen": seen}
        return self.send("POST", "/press/tap", json.dumps(sent))[0]

    def watch(self, told) -> None:
        """Call `told(number, time)` at each event, in a thread."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=600)
        connection.request("GET", "/press/events", headers=self.headers())
        answer = connection.getresponse()

        def read() -> None:
            while line := answer.readline():
                if line.startswith(b"data: "):
                    at = time.perf_counter()
                    told(json.loads(line[6:])["number"], at)

        threading.Thread(target=read, daemon=True).start()


def when_ready(client: Client) -> dict:
    while not (state := client.state()).get("ready"):
        time.sleep(0.3)
    return state


def entered(address: str) -> Client:
    port, key = re.search(r":(\d+)/pair#key=(\S+)", address).groups()
    return Client(int(port), key)


def taps(count: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        run = Run(Path(folder), "--page", "--no-browser", "--port", "0")
        client = entered(run.opened())
        when_ready(client)
        news = threading.Condition()
        heard: dict[str, float] = {}

        def told(number: str, at: float) -> None:
            with news:
                heard[number] = at
                news.notify_all()

        client.watch(told)
        time.sleep(1.0)
        took: dict[str, list[float]] = {"steps": [], "moves": []}
        plan = ["on", *["right", "up", "left", "down"] * 3, "back"]
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
        every = sorted(1000 * each for kind in took.values() for each in kind)
        where = os.environ.get("DISPLAY") or "the dummy driver"
        print(f"tap to frame shown and told, {len(every)} taps, window on {where}:")
        for kind, seconds in took.items():
            if seconds:
                ms = sorted(1000 * each for each in seconds)
                print(f"  {kind:6} {len(ms):4}  median {statistics.median(ms):6.1f}  "
                      f"95% {ms[int(0.95 * len(ms))]:6.1f}  worst {ms[-1]:6.1f} ms")  # fmt: skip
        print(f"  all         median {statistics.median(every):6.1f}  worst {every[-1]:6.1f} ms")
        run.end()


def memory(pid: int) -> float:
    """Return a process's own share of memory, MB (Linux: its Pss)."""
    text = Path(f"/proc/{pid}/smaps_rollup").read_text()
    return int(re.search(r"Pss:\s+(\d+)", text)[1]) / 1024


def busy(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def children(pid: int) -> list[int]:
    return [int(each) for each in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


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


class Faults(logging.Handler):
    """Collects whatever is logged as an error."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.said: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        """Keep what is logged."""
        self.said.append(self.format(record))


def hostile(count: int, seed: int = 7) -> None:
    rng = random.Random(seed)
    faults = Faults()
    logging.getLogger().addHandler(faults)
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder)
        server = PageServer(Workshop(data, data / "record.db", data / "orders"), WebSettings(0))
        server.start()
        port = server.settings.port
        secret = server.app.state.devices.add("tester", Right.SET_UP)
        open_paths = {"/pair", "/static/"}
        seen: Counter[str] = Counter()
        leaked: list[str] = []
        begun = time.perf_counter()
        for _ in range(count):
            paired = rng.random() < 0.4
            path, sent = request(rng, port, secret if paired else "")
            status = answer_to(port, sent)
            seen[f"{'paired' if paired else 'stranger'} {status}"] += 1
            public = any(path.partition("?")[0].startswith(each) for each in open_paths)
            if not paired and not public and status not in (0, 400, 401, 403, 405, 413, 421, 431):
                leaked.append(f"{status} {path!r}")
        took = time.perf_counter() - begun
        alive = answer_to(port, b"GET / HTTP/1.1\r\nhost: 127.0.0.1:%d\r\n\r\n" % port)
        server.stop()
    print(f"{count} hostile requests in {took:.0f} s: {len(faults.said)} tracebacks or warnings, "
          f"{len(leaked)} answers to strangers beyond the pairing page; "
          f"alive after: {alive == 401}")  # fmt: skip
    print("  " + ", ".join(f"{name}: {each}" for name, each in sorted(seen.items())))
    for each in [*faults.said[:3], *leaked[:5]]:
        print("  !", each)


def request(rng: random.Random, port: int, secret: str) -> tuple[str, bytes]:
    """Return the path and the bytes of a request that no browser sends."""
    known = [re.sub(r"\{.*?\}", lambda _: junk(rng, 6), door.path) for door in doors()]
    path = rng.choice([
        *known, *known, "/" + junk(rng, 30), "/%2e%2e/%2e%2e/etc/passwd", "/static/../server.py",
        "//evil.example/", "/pair?code=" + junk(rng, 10), "/\x00", "/" + "a" * 3000, "*",
        "/press/art/..%2f",
        "http://evil.example/", "/devices/%ff%fe/forget",
    ])  # fmt: skip
    method = rng.choice(["GET", "POST", "POST", "PUT", "DELETE", "HEAD", "OPTIONS", "BREW", "get"])
    kind, body = rng.choice([
        ("application/x-www-form-urlencoded", junk(rng, 200).encode("utf-8", "surrogatepass")),
        ("application/x-www-form-urlencoded", b"code=" + bytes(rng.randbytes(40)) + b"&token=x"),
        ("application/json", b'{"id":' + b"[" * rng.randrange(3000)),
        ("application/json", json.dumps({"id": junk(rng, 9), "button": rng.choice(["on", 1, None]),
                                         "seen": junk(rng, 5)}).encode("utf-8", "surrogatepass")),
        ("multipart/form-data; boundary=b", b"--b\r\nContent-Disposition: form-data; name=\"f\"; "
         b"filename=\"../../x\"\r\n\r\n" + rng.randbytes(300) + b"\r\n--b--\r\n"),
        ("multipart/form-data; boundary=b", rng.randbytes(500)),
        ("multipart/form-data", b"--b"),
        ("text/xml", b"<!DOCTYPE x [<!ENTITY e SYSTEM 'file:///etc/passwd'>]><x>&e;</x>"),
        ("", b"x" * rng.choice([0, 10, 70_000, 300_000])),
    ])  # fmt: skip
    here = f"127.0.0.1:{port}"
    host = rng.choice([here] * 6 + ["evil.example", "", "127.0.0.1", f"{here}.evil.example"])
    origin = rng.choice([f"http://{here}"] * 4 + ["http://evil.example", "null", "", None])
    cookie = f"{COOKIE}={secret}" if secret else f"{COOKIE}={junk(rng, 43)}"
    length = rng.choice([len(body)] * 6 + [len(body) + 5, 10**12, -1, "x"])
    lines = [f"{method} {path} HTTP/1.1", f"host: {host}", f"cookie: {cookie}",
             f"content-type: {kind}", f"content-length: {length}", "connection: close",
             f"x-token: {token_of(secret) if secret and rng.random() < 0.7 else junk(rng, 20)}",
             f"accept: {rng.choice(['text/html', '*/*', ''])}"]  # fmt: skip
    if origin is not None:
        lines.append(f"origin: {origin}")
    if rng.random() < 0.05:
        lines.append("transfer-encoding: chunked")
    if rng.random() < 0.03:
        lines.append(f"x-long: {'y' * 40_000}")
    head = "\r\n".join(lines) + "\r\n\r\n"
    return path, head.encode("utf-8", "surrogatepass") + body


def junk(rng: random.Random, most: int) -> str:
    letters = "abc019./\\%&=;'\"<>{}$ \t_-~äß…\u202e\U0001f454"
    return "".join(rng.choice(letters) for _ in range(rng.randrange(most + 1)))


def answer_to(port: int, sent: bytes) -> int:
    """Return the status of the answer; 0 if the connection was just closed."""
    with socket.create_connection(("127.0.0.1", port), timeout=10) as made:
        try:
            made.sendall(sent)
            made.shutdown(socket.SHUT_WR)
            got = made.recv(64)
        except OSError:
            return 0
    found = re.match(rb"HTTP/1\.1 (\d+)", got)
    return int(found[1]) if found else 0


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--taps", type=int, default=200)
    options.add_argument("--hostile", type=int, default=10_000)
    options.add_argument("--only", choices=["taps", "rest", "paint", "hostile"])
    asked = options.parse_args()
    for name, measure in (
        ("taps", lambda: taps(asked.taps)), ("rest", rest), ("paint", paint),
        ("hostile", lambda: hostile(asked.hostile)),
    ):  # fmt: skip
        if asked.only in (None, name):
            measure()


if __name__ == "__main__":
    main()
