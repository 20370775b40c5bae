"""`chalkbeam run` with its page, as processes of their own, and a browser without a picture."""

from __future__ import annotations

import http.client
import json
import os
import re
import subprocess
import sys
import threading
import time
from contextlib import closing
from pathlib import Path

from calibration.rig.file import save
from chalkbeam.simulator.tern_harbour import write_sample
from chalkbeam.web.security import COOKIE, token_of
from tests.support.rigs import demo_rig

ROOT = Path(__file__).parents[2]


class Run:
    """`chalkbeam run` on the demo's rig, with its page or without; of the sample order if no other.

    Its light fills an X `display` of 1920 by 1080; without one it is in a window that nobody sees.

    Attributes
    ----------
    process : subprocess.Popen
        The light's.
    """

    def __init__(
        self, folder: Path, *options: str, sheet: Path | None = None, display: str = ""
    ) -> None:
        chalkbeam = [sys.executable, "-m", "chalkbeam"]
        driver = {"SDL_VIDEODRIVER": "dummy"}
        if display:
            driver = {"SDL_VIDEODRIVER": "x11", "DISPLAY": display}
        env = os.environ | driver | {
            "SDL_AUDIODRIVER": "dummy", "XDG_DATA_HOME": str(folder / "data"),
            "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "src")]),
        }  # fmt: skip
        if sheet is None:
            sheet = write_sample(folder / "tern-harbour")
        save(demo_rig(), folder / "rig.json")
        self.process = subprocess.Popen(
            [*chalkbeam, "run", str(sheet), "--rig", str(folder / "rig.json"),
             *([] if display else ["--window"]), *options],
            env=env, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        )  # fmt: skip

    def opened(self) -> str:
        """Return the address that the run prints."""
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if found := re.search(r"http\S+", line):
                return found[0]
        raise RuntimeError("the run ended before there was a page")

    def server(self) -> int:
        """Return the process of its page's server (Linux)."""
        (found,) = (
            pid for pid in children(self.process.pid)
            if b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes()
        )  # fmt: skip
        return found

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


def memory(pid: int) -> float:
    """Return a process's own share of memory, MB (Linux: its Pss)."""
    text = Path(f"/proc/{pid}/smaps_rollup").read_text()
    return int(re.search(r"Pss:\s+(\d+)", text)[1]) / 1024


def busy(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def children(pid: int) -> list[int]:
    return [int(each) for each in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
