"""Safari's engine for tests of the page: Debian's WebKitGTK, driven as the W3C's WebDriver says.

Packages `webkit2gtk-driver` (which brings a small browser) and `xvfb`. The protocol, of which a
dozen commands are wanted, is W3C WebDriver Level 1, https://www.w3.org/TR/webdriver1/.
"""

from __future__ import annotations

import http.client
import json
import os
import shutil
import socket
import subprocess
import time
from contextlib import closing, contextmanager
from pathlib import Path

ELEMENT = "element-6066-11e4-a52e-4f735466cecf"
"""What the standard calls an element in an answer (its section 11)."""


def browser() -> str | None:
    """Return where the browser is that comes with the driver."""
    found = sorted(Path("/usr/lib").glob("*/webkit2gtk-*/MiniBrowser"))
    return str(found[-1]) if found else None


def lacking() -> str:
    """Return why there is no such engine; empty if there is one."""
    if shutil.which("WebKitWebDriver") is None or browser() is None:
        return "there is no WebKit (Debian: apt-get install webkit2gtk-driver)"
    return "" if shutil.which("Xvfb") else "there is no Xvfb (Debian: apt-get install xvfb)"


class Webkit:
    """A browser that does what it is told.

    Parameters
    ----------
    port : int
        Of its driver.
    """

    def __init__(self, port: int, display: str) -> None:
        self._port, self._session, self.display = port, "", display
        wanted = {
            "browserName": "MiniBrowser",
            "webkitgtk:browserOptions": {"binary": browser(), "args": ["--automation"]},
        }
        made = self._ask("POST", "/session", {"capabilities": {"alwaysMatch": wanted}})
        self._session = f"/session/{made['sessionId']}"
        self.version = made["capabilities"]["browserVersion"]

    def _ask(self, method: str, path: str, sent: dict | None = None):
        with closing(http.client.HTTPConnection("127.0.0.1", self._port, timeout=60)) as made:
            body = None if sent is None else json.dumps(sent)
            made.request(method, self._session + path, body, {"content-type": "application/json"})
            answer = json.loads(made.getresponse().read())["value"]
        if isinstance(answer, dict) and "error" in answer:
            raise AssertionError(f"{path}: {answer['error']}: {answer['message']}")
        return answer

    def open(self, address: str) -> None:
        """Go to an address."""
        self._ask("POST", "/url", {"url": address})

    def size(self, width: int, height: int) -> None:
        """Make the window so large, px."""
        self._ask("POST", "/window/rect", {"width": width, "height": height})

    def run(self, script: str, *arguments):
        """Return what a script's function body returns."""
        return self._ask("POST", "/execute/sync", {"script": script, "args": list(arguments)})

    def until(self, script: str, *arguments, seconds: float = 30.0):
        """Wait until a script returns something that counts; return it."""
        end = time.monotonic() + seconds
        while not (found := self.run(script, *arguments)):
            shown = "return document.body.innerText"
            assert time.monotonic() < end, (script, arguments, self.run(shown))
            time.sleep(0.1)
        return found

    def tap(self, selector: str) -> None:
        """Tap an element as a finger does: it must be in view, and nothing over it."""
        self.until("return !!document.querySelector(arguments[0])", selector)
        found = self._ask("POST", "/element", {"using": "css selector", "value": selector})
        self._ask("POST", f"/element/{found[ELEMENT]}/click", {})

    def type(self, selector: str, text: str) -> None:
        """Type into an element."""
        found = self._ask("POST", "/element", {"using": "css selector", "value": selector})
        self._ask("POST", f"/element/{found[ELEMENT]}/value", {"text": text})

    def cookie(self, name: str, value: str) -> None:
        """Give the browser a cookie of the page that is open."""
        self._ask("POST", "/cookie", {"cookie": {"name": name, "value": value, "path": "/"}})

    def end(self) -> None:
        """Close it."""
        self._ask("DELETE", "")


@contextmanager
def opened():
    """Have such a browser on a screen that nobody sees."""
    reading, writing = os.pipe()
    screen = subprocess.Popen(
        ["Xvfb", "-screen", "0", "1280x1024x24", "-nolisten", "tcp", "-displayfd", str(writing)],
        pass_fds=[writing], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    os.close(writing)
    with os.fdopen(reading) as told:
        number = told.readline().strip()
    with socket.socket() as tried:
        tried.bind(("127.0.0.1", 0))
        port = tried.getsockname()[1]
    quiet = os.environ | {"DISPLAY": f":{number}", "WEBKIT_DISABLE_COMPOSITING_MODE": "1"}
    driver = subprocess.Popen(
        ["WebKitWebDriver", f"--port={port}"], env=quiet,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        for _ in range(100):
            with socket.socket() as tried:
                if tried.connect_ex(("127.0.0.1", port)) == 0:
                    break
            time.sleep(0.1)
        made = Webkit(port, f":{number}")
        yield made
        made.end()
    finally:
        for process in (driver, screen):
            process.terminate()
            process.wait()
